// The round in one page: all tubs are carried along, so that it goes on where nothing answers. Each stop is first kept
// on the phone (kept.js), then sent; the plain form does the same without script.

import { all, cookie, drop, hear, isAway, keep, mine, parsed, send, token, watch } from "./kept.js";

const DOUBLE_TAP_MS = 450; // the second tap of a double tap must not fall on the next tub
const CARRY_AGAIN_MS = 20_000; // another phone may walk the same round
const END_WAITS_MS = 4_000;

const form = document.getElementById("stop");
const undoPlace = document.getElementById("undo");
const before = document.getElementById("before");
const faults = document.getElementById("faults");
const well = form.querySelector('[name="well"]');
const rows = new Map(); // what each sent token wrote
const doneHere = new Set();
let tubs = [];
let at = Number(form.dataset.tub);
let stage = form.elements.stage.value; // empty for a line that is kept by the cup
let eye = chosenAlready();
let tapped = { name: "", when: -Infinity };
let carriedAt = -Infinity;
let asked = 0;
let busy = false;

const part = (name) => document.querySelector(`[data-stop="${name}"]`);
const urlOf = (number) => `${form.dataset.at}${number}/`;
const here = () => tubs.find((tub) => tub.number === at);

function made(kind, text, className = "") {
  return Object.assign(document.createElement(kind), { textContent: text, className });
}

function chosenAlready() {
  const shown = form.querySelector('input[type="hidden"][name="eye"]');
  const value = shown ? shown.value : "";
  if (shown) shown.remove();
  return value;
}

async function carry() {
  if (performance.now() - carriedAt < CARRY_AGAIN_MS) return;
  carriedAt = performance.now();
  try {
    const answer = await fetch(`${form.dataset.at}carried/`, { headers: { Accept: "application/json" } });
    hear(answer);
    if (!answer.ok || answer.redirected) return;
    tubs = (await answer.json()).tubs;
  } catch {
    carriedAt = -Infinity;
    return;
  }
  const waiting = (await all()).filter((entry) => mine(entry) && entry.isStop).map((entry) => entry.tub);
  for (const tub of tubs) tub.done ||= doneHere.has(tub.number) || waiting.includes(tub.number);
  form.dataset.carried = tubs.length;
  progress();
}

function progress() {
  if (!tubs.length) return;
  part("progress").textContent = `${tubs.filter((tub) => tub.done).length} of ${tubs.length} done`;
  const back = tubs[tubs.findIndex((tub) => tub.number === at) - 1];
  part("back").href = back ? urlOf(back.number) : part("back").href;
  part("back").hidden = !back;
}

function show(number, remember = true) {
  at = number;
  const tub = here();
  if (remember) history.pushState({ tub: number }, "", urlOf(number));
  document.title = document.title.replace(/tub \d+/, `tub ${number}`);
  form.reset();
  for (const chip of form.querySelectorAll('[name="seen"]')) chip.checked = false;
  for (const name of ["died", "note"]) form.elements[name].value = "";
  form.action = urlOf(number);
  form.elements.token.value = token();
  stage = tub.byHead ? "young" : "";
  part("number").textContent = number;
  part("name").innerHTML = tub.name; // escaped by the page that gave it
  part("shelf").textContent = tub.shelf;
  document.getElementById("eye").hidden = part("ways").hidden = part("died").hidden = !tub.byHead;
  document.getElementById("more").open = false;
  part("done").hidden = !tub.done;
  faults.replaceChildren();
  choose("");
  sayStage();
  progress();
  scrollTo(0, 0);
}

function sayStage() {
  const tub = here();
  part("said").textContent = tub ? tub.said[stage || "cups"] : "";
  const other = stage === "young" ? "adults" : "young";
  part("stage").textContent = stage === "adults" ? "Adults" : "Young";
  part("other").textContent = `${other} instead`;
  part("other").href = `?stage=${other}`;
  part("ways").href = `/tubs/${at}/count/?stage=${stage}`;
  form.elements.stage.value = stage;
}

function choose(value) {
  eye = value;
  for (const tile of form.querySelectorAll('button[name="eye"]')) {
    tile.classList.toggle("chosen", tile.value === eye);
    tile.setAttribute("aria-pressed", tile.value === eye);
  }
  well.hidden = well.disabled = Boolean(eye);
  asked += 1;
  before.replaceChildren();
  if (eye) preview(asked);
}

async function preview(turn) {
  const sent = new FormData();
  for (const [name, value] of [["stage", stage], ["eye", eye]]) sent.append(name, value);
  let found = null;
  try {
    const headers = { "X-CSRFToken": cookie("csrftoken") };
    const answer = await fetch(urlOf(at), { method: "POST", body: sent, headers });
    hear(answer);
    found = parsed(await answer.text()).querySelector("#preview, #reply .fault");
  } catch {
    found = null;
  }
  if (turn !== asked) return;
  const later = "What the book then relies on is worked out when it has this.";
  before.replaceChildren(found ? document.importNode(found, true) : made("p", later, "soft"));
}

function typed(by) {
  const seen = [...form.querySelectorAll('[name="seen"]:checked')].map((one) => one.value);
  const [died, note, photo] = [form.elements.died.value, form.elements.note.value, form.elements.photo.files[0]];
  const words = [
    eye && `${eye} ${stage}`, ...seen, died && `${died} dead`, note && `“${note}”`, photo && "a photo",
  ].filter(Boolean);
  if (!words.length && by.name !== "well") return null;
  const fields = [["stage", stage], ["eye", eye], ["died", died], ["note", note], [by.name, "1"]];
  fields.push(...seen.map((flag) => ["seen", flag]));
  return { fields, photo: photo || null, words: words.join(", ") || "looked, all well" };
}

function isSecondTap(name) {
  const second = name === tapped.name && performance.now() - tapped.when < DOUBLE_TAP_MS;
  tapped = { name, when: performance.now() };
  return second;
}

async function taken(event) {
  event.preventDefault();
  const by = event.submitter || form.querySelector('[name="save"]');
  if (busy || isSecondTap(by.name + by.value)) return;
  if (by.name === "eye") return choose(by.value === eye ? "" : by.value);
  const what = typed(by);
  if (!form.elements.died.validity.valid) return fault("‘Dead, picked out’ is not a whole number. Write one such as 3.");
  if (!what) return fault("Nothing was tapped. Tap ‘Looked, all well’, a size class, or what was seen.");
  busy = true;
  try {
    const entry = await keep({ url: urlOf(at), tub: at, isStop: true, token: form.elements.token.value, ...what });
    await onwards(entry);
  } catch {
    plainly(by); // this browser keeps nothing, so the form is sent as without script
  } finally {
    busy = false;
  }
}

function fault(sentence) {
  const said = made("p", sentence, "fault");
  said.setAttribute("role", "alert");
  faults.replaceChildren(said);
  said.scrollIntoView({ block: "center" });
}

function plainly(by) {
  for (const [name, value] of [[by.name, by.value], ["eye", eye]]) {
    form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
  }
  form.submit();
}

async function onwards(entry) {
  if (here()) here().done = true;
  doneHere.add(at);
  offerUndo(entry);
  const sent = send();
  const next = following();
  if (next) return show(next.number);
  await Promise.race([sent, new Promise((done) => setTimeout(done, END_WAITS_MS))]);
  if (following()) return show(following().number); // the list of tubs came meanwhile
  const left = (await all()).filter((one) => mine(one) && !one.refused).length;
  if (!left) return location.assign(tubs.length ? `${form.dataset.at}list/` : form.dataset.at);
  const rest = tubs.length ? "All tubs of the round are done." : "This page had not got the list of tubs yet.";
  form.replaceChildren(made("p", `${rest} What was typed is kept on this phone and sent when the book answers.`, "note"));
}

function following() {
  const place = tubs.findIndex((tub) => tub.number === at);
  const round = [...tubs.slice(place + 1), ...tubs.slice(0, Math.max(place, 0))];
  return round.find((tub) => !tub.done) || null;
}

function offerUndo(entry) {
  const line = made("div", "", "row apart note");
  const button = made("button", "Undo", "quiet");
  button.type = "button";
  button.addEventListener("click", () => takeBack(entry), { once: true });
  line.append(made("span", `Tub ${entry.tub}: ${entry.words}.`), button);
  undoPlace.replaceChildren(line);
}

async function takeBack(entry) {
  if (!(await drop(entry.id))) {
    await send();
    if (!rows.has(entry.token)) return location.assign(`/tubs/${entry.tub}/`); // its row is only known there
    await takeBackRow(entry.tub, rows.get(entry.token));
  }
  returnTo(entry.tub);
}

async function takeBackRow(number, row) {
  const url = `${form.dataset.correct}${number}/correct/`;
  await keep({ url, tub: number, fields: [["entry", row]], photo: null, words: "taken back" });
  send();
}

function returnTo(number) {
  undoPlace.replaceChildren();
  doneHere.delete(number);
  const tub = tubs.find((one) => one.number === number);
  if (!tub) return location.assign(urlOf(number));
  tub.done = false;
  return show(number);
}

watch((entry, got) => {
  if (got.kind === "done" && got.entry) rows.set(entry.token, got.entry);
  if (got.kind === "done") carry();
  const said = (got.said || []).map((one) => made("p", one.text, one.kind === "success" ? "note" : "warn"));
  if (said.length) document.getElementById("told").replaceChildren(...said);
});
document.addEventListener("kept", () => { part("ways").hidden = isAway() || stage === ""; });

form.addEventListener("submit", taken);
undoPlace.addEventListener("submit", async (event) => {
  const number = Number(event.target.action.match(/\/(\d+)\/correct/)[1]);
  event.preventDefault();
  await takeBackRow(number, event.target.elements.entry.value);
  returnTo(number);
});
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-stop]");
  if (!link || !tubs.length || !["back", "skip", "other"].includes(link.dataset.stop)) return;
  event.preventDefault();
  if (isSecondTap(link.dataset.stop)) return;
  if (link.dataset.stop === "other") {
    stage = stage === "young" ? "adults" : "young";
    choose("");
    sayStage();
  } else if (link.dataset.stop === "back") {
    show(Number(link.href.match(/(\d+)\/$/)[1]));
  } else if (following()) {
    show(following().number);
  } else if (!isAway()) {
    location.assign(`${form.dataset.at}list/`);
  }
});
addEventListener("popstate", (event) => {
  const number = event.state ? event.state.tub : Number(location.pathname.match(/(\d+)\/$/)?.[1]);
  if (tubs.some((tub) => tub.number === number)) show(number, false);
});

// The panel of what is kept stands under the form, where it moves no button from under a thumb.
form.after(document.getElementById("kept"));
if (eye) well.hidden = well.disabled = true;
history.replaceState({ tub: at }, "", urlOf(at) + location.search);
carry();
addEventListener("online", carry);
document.addEventListener("visibilitychange", () => document.hidden || carry());
