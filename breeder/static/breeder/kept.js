// What was typed on this phone is kept here until the book has it: first kept, then sent, so that nothing typed is lost.
// IndexedDB and fetch also work on the plain http of a home network, where a service worker does not exist.

const BASE = "underbark";
const STORE = "kept";
const AGAIN_AFTER_MS = 10_000;
const ANSWER_WITHIN_MS = 15_000;
const PHOTO_WITHIN_MS = 90_000;
const MOST_PHOTO_BYTES = 18_000_000; // as the book takes; of a larger one it gets just enough to say so
const JUMP_MS = 5_000; // a phone's clock that changes by more was set anew

export const panel = document.getElementById("kept");
export const user = panel ? panel.dataset.user : "";
const book = panel ? panel.dataset.book : ""; // the demo and the real book may be served at one address
const page = token(); // times within one page are measured by its own steady clock as well
const dropped = new Set();
export const held = new Set(); // of these a form awaits the answer itself
const watchers = [];
let opened = null;
let sending = null;
let again = false;
let underway = null;
let state = ""; // why nothing goes out at the moment: "away", "login" or "busy"
let ahead = null; // how far the server's clock is ahead of this phone's, in ms, as its last answer told

export function token() {
  const bytes = crypto.getRandomValues(new Uint8Array(18));
  return btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_");
}

export function cookie(name) {
  const found = document.cookie.split("; ").find((one) => one.startsWith(`${name}=`));
  return found ? decodeURIComponent(found.slice(name.length + 1)) : "";
}

function store() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(BASE, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "id", autoIncrement: true });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

async function within(mode, act) {
  const work = (await store()).transaction(STORE, mode, { durability: "strict" });
  return new Promise((done, failed) => {
    const asked = act(work.objectStore(STORE));
    work.oncomplete = () => done(asked.result);
    work.onabort = work.onerror = () => failed(work.error);
  });
}

export const all = () => within("readonly", (kept) => kept.getAll());
export const watch = (tell) => watchers.push(tell);
export const isAway = () => state === "away";
export const mine = (entry) => entry.who === user && entry.book === book;

export function stamped(entry) {
  const now = Date.now();
  const typedAt = ahead === null ? null : (now + ahead) / 1000;
  return { token: token(), ...entry, who: user, book, page, ticks: performance.now(), typed: now, typedAt };
}

// entry: {url, fields: [[name, value]], photo, words, tub}. Rejects where this browser keeps nothing (private windows).
export async function keep(entry) {
  const kept = stamped(entry);
  kept.id = await within("readwrite", (store) => store.add(kept));
  paint();
  return kept;
}

// Throws a kept entry away, unless it is on its way; returns whether it was still here.
export async function drop(id) {
  if (underway === id || !(await all()).some((entry) => entry.id === id) || underway === id) return false;
  dropped.add(id);
  await within("readwrite", (kept) => kept.delete(id));
  paint();
  return true;
}

function age(entry) {
  const byCalendar = Date.now() - entry.typed;
  const steady = entry.page === page ? performance.now() - entry.ticks : 0;
  return Math.max(0, byCalendar, steady) / 1000;
}

export async function post(entry, when) {
  const sent = new FormData();
  for (const [name, value] of entry.fields) sent.append(name, value);
  if (entry.photo) sent.append("photo", entry.photo.slice(0, MOST_PHOTO_BYTES + 1), entry.photo.name || "photo.jpg");
  for (const [name, value] of Object.entries({ token: entry.token, kept_by: entry.who, age_s: age(entry) })) sent.append(name, value);
  if (entry.typedAt !== null) sent.append("typed_at", entry.typedAt);
  const late = new AbortController();
  const timer = setTimeout(() => late.abort(), entry.photo ? PHOTO_WITHIN_MS : ANSWER_WITHIN_MS);
  try {
    const headers = { "X-Kept": when, "X-CSRFToken": cookie("csrftoken") };
    const answer = await fetch(entry.url, { method: "POST", body: sent, headers, signal: late.signal });
    return await outcome(answer);
  } catch {
    return { kind: "away" };
  } finally {
    clearTimeout(timer);
  }
}

async function outcome(answer) {
  hear(answer);
  const text = await answer.text();
  const isJson = (answer.headers.get("content-type") || "").includes("json");
  if (answer.ok) return isJson ? { kind: "done", ...JSON.parse(text) } : { kind: "page", html: text };
  if (answer.status === 401 || answer.status === 403) return { kind: "login" };
  if (answer.status === 409) return { kind: "other" };
  if (answer.status >= 500) return { kind: "busy" };
  return { kind: "refused", html: text, sentences: sentencesOf(text) };
}

// Learns from an answer how the server's clock stands to this phone's.
export function hear(answer) {
  const told = Date.parse(answer.headers.get("date") || "");
  const least = told - Date.now(); // the header tells whole seconds, so the greatest of these is the nearest
  if (told && (ahead === null || least > ahead || least < ahead - JUMP_MS)) ahead = least;
}

export const parsed = (html) => new DOMParser().parseFromString(html, "text/html");

function sentencesOf(html) {
  const page = parsed(html);
  const reply = [...page.querySelectorAll("#reply [data-sentence]")];
  const all = reply.length ? reply : [...page.querySelectorAll("main .fault, main .wrong p")];
  const said = all.map((sentence) => sentence.textContent.trim());
  return said.length ? said : ["The book could not take this. Open the tub and write it there."];
}

export function send() {
  again = true;
  sending ??= runAll().finally(() => { sending = null; });
  return sending;
}

async function runAll() {
  while (again) {
    again = false; // what is typed during a run asks for another
    await run();
  }
}

async function run() {
  const tried = new Set();
  for (;;) {
    const next = (await all()).find((one) => mine(one) && !one.refused && !tried.has(one.id) && !dropped.has(one.id) && !held.has(one.id));
    if (!next) break;
    tried.add(next.id);
    underway = next.id;
    const got = await post(next, "later");
    await settle(next, got);
    underway = null;
    state = ["away", "login", "busy"].includes(got.kind) ? got.kind : "";
    if (state === "away" || state === "login") break;
  }
  await paint();
}

async function settle(entry, got) {
  if (got.kind === "done" || got.kind === "page") await within("readwrite", (kept) => kept.delete(entry.id));
  if (got.kind === "refused") await within("readwrite", (kept) => kept.put({ ...entry, refused: got.sentences }));
  for (const tell of watchers) tell(entry, got);
}

const WHY = {
  away: "the book does not answer. Go on; all is sent by itself when it does.",
  login: "you were logged out. Log in, and all is sent.",
  busy: "the book had trouble. It is tried again by itself.",
};

// Says why what was typed stays here; "" when nothing is wrong.
export function stands(kind) {
  state = kind in WHY ? kind : "";
  return paint();
}

async function paint() {
  const kept = await all();
  const waiting = kept.filter((one) => mine(one) && !one.refused).length;
  const refused = kept.filter((one) => mine(one) && one.refused);
  const others = [...new Set(kept.filter((one) => !mine(one)).map(writer))];
  const said = waiting && state ? [`Kept on this phone, ${waiting} waiting: ${WHY[state]}`] : [];
  if (others.length) said.push(`More waits on this phone until its writer logs in: ${others.join(", ")}.`);
  if (refused.length) said.push(`The book could not take ${refused.length} of what was typed; it is kept here.`);
  for (const place of document.querySelectorAll("[data-kept-count]")) place.textContent = countWords(waiting, refused.length);
  document.dispatchEvent(new CustomEvent("kept", { detail: { waiting, state } }));
  if (!panel) return;
  panel.hidden = !said.length;
  part("said").textContent = said.join(" ");
  part("login").hidden = state !== "login";
  part("send").hidden = !waiting;
  part("refused").replaceChildren(...refused.map(shown));
}

const writer = (one) => (one.book === book ? one.who : `${one.who}, of another book`);

// In few words at the foot of the page, where the thumb is; the panel says the rest.
function countWords(waiting, refused) {
  const said = [];
  if (waiting) said.push(state ? `kept on this phone, ${waiting} waiting` : `${waiting} to send`);
  if (waiting && state === "login") said.push("log in below");
  if (refused) said.push(`${refused} not taken, see below`);
  return said.join(" · ");
}

const part = (name) => panel.querySelector(`[data-kept="${name}"]`);

function made(kind, text, className = "") {
  return Object.assign(document.createElement(kind), { textContent: text, className });
}

function shown(entry) {
  const row = document.createElement("li");
  const when = new Date(entry.typed).toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
  row.append(made("p", `Tub ${entry.tub}: ${entry.words}, typed ${when}.`, "strong"));
  row.append(...entry.refused.map((sentence) => made("p", sentence)));
  const acts = made("div", "", "actions");
  const again = made("button", "Send again");
  again.addEventListener("click", async () => {
    await within("readwrite", (kept) => kept.put({ ...entry, refused: null }));
    send();
  });
  const away = made("button", "Throw away", "danger");
  away.addEventListener("click", () => drop(entry.id));
  acts.append(again, Object.assign(made("a", `Open tub ${entry.tub}`, "button"), { href: `/tubs/${entry.tub}/` }), away);
  row.append(acts);
  return row;
}

async function sendWaiting() {
  if (!user) return;
  const kept = await all().catch(() => []);
  if (kept.some((one) => mine(one) && !one.refused)) send();
  else paint().catch(() => {});
}

if (panel) {
  part("send").addEventListener("click", sendWaiting);
  addEventListener("online", sendWaiting);
  addEventListener("pageshow", sendWaiting);
  document.addEventListener("visibilitychange", () => document.hidden || sendWaiting());
  setInterval(sendWaiting, AGAIN_AFTER_MS);
  sendWaiting();
}
