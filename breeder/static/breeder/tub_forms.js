// A tub's own forms: kept first, then sent at once; without an answer they stay kept and the form is ready for more.

import { showReply } from "./reply.js";
import { drop, held, keep, panel, parsed, post, stamped, stands, token } from "./kept.js";

async function tapped(event) {
  const form = event.target;
  if (!form.dataset?.keep || event.defaultPrevented) return;
  event.preventDefault();
  if (form.dataset.underway) return; // a double tap
  form.dataset.underway = "1";
  const by = event.submitter;
  try {
    await (by && by.name === "show" ? ask(form, by) : hand(form, by));
  } finally {
    delete form.dataset.underway;
  }
}

function filledIn(form, by) {
  const values = [...new FormData(form)].filter(([name]) => !["csrfmiddlewaretoken", "token"].includes(name));
  const photo = values.map(([, value]) => value).find((value) => value instanceof File && value.size) || null;
  const fields = values.filter(([, value]) => typeof value === "string");
  const words = [...form.elements].filter((one) => one.type !== "hidden" && one.value && one.name && one.type !== "submit")
    .filter((one) => !["radio", "checkbox"].includes(one.type) || one.checked)
    .map((one) => (one.labels?.[0] && one.type !== "text" && one.checked ? one.labels[0].textContent.trim() : one.value));
  if (by?.name) fields.push([by.name, by.value]);
  const url = new URL(form.getAttribute("action"), location).pathname;
  const said = words.filter((word) => !word.includes("fakepath")).join(", ") || "looked, all well";
  return { url, tub: Number(form.dataset.keep), fields, photo, words: said, token: form.elements.token.value };
}

async function hand(form, by) {
  let entry;
  try {
    entry = await keep(filledIn(form, by));
  } catch {
    return plainly(form, by);
  }
  held.add(entry.id);
  const got = await post(entry, "now");
  if (got.kind === "done" || got.kind === "page" || got.kind === "refused") await drop(entry.id);
  held.delete(entry.id);
  if (got.kind === "done") return goTo(got.answer);
  if (got.html) return showInstead(got.html);
  return stays(form, got.kind);
}

// What a count would make is worked out by the book; where that does not answer the count is kept as it is.
async function ask(form, by) {
  const entry = filledIn(form, by);
  const got = await post(stamped(entry), "now");
  if (got.html) return showInstead(got.html);
  const fields = [...entry.fields.filter(([name]) => name !== "show"), ["save", "1"]];
  await keep({ ...entry, fields });
  return stays(form, got.kind);
}

// The page that is open already is loaded anew: it has something to say.
function goTo(address) {
  if (new URL(address, location).href === location.href.split("#")[0]) {
    history.scrollRestoration = "manual";
    return location.reload();
  }
  return location.assign(address);
}

function stays(form, kind) {
  form.reset();
  form.elements.token.value = token();
  return stands(kind).then(() => panel.scrollIntoView({ block: "center" }));
}

function plainly(form, by) {
  if (by?.name) form.append(Object.assign(document.createElement("input"), { type: "hidden", name: by.name, value: by.value }));
  form.submit();
}

function showInstead(html) {
  const main = document.querySelector("main");
  main.replaceChildren(...document.importNode(parsed(html).querySelector("main"), true).childNodes);
  main.querySelector("#kept")?.replaceWith(panel);
  if (!showReply()) (main.querySelector(".fault, .wrong") || main).scrollIntoView({ block: "center" });
}

if (panel) document.addEventListener("submit", tapped);
