// What was recorded since the page was made, laid over it: in the order of work, on the list of
// visits, and above the form of a step that is already filled in.
import { listen } from "./channel.js";
import { isOnPhoneOnly, ofPerson } from "./store.js";
import { clockOffset } from "./clock.js";
import { clockOf, hasArrived, nameOf, stateOf } from "./words.js";

const RENEWED_AFTER_MS = 90 * 1000;
const OPENED = Date.now();
const ENDS = ["stop-work", "leave", "handover"];
const SETTLED_BY_SAFE_ANSWERS = ["arrival", "pre-start-check"];

export function beginOverlay(person) {
  const show = async () => {
    const items = (await ofPerson(person)).filter((item) => item.state !== "given-up" && !hasArrived(item));
    onVisitLinks(items);
    const visit = document.body.dataset.visit;
    const here = items.filter((item) => item.visit === visit);
    if (!visit) return;
    onOrderOfWork(here);
    onForms(here);
  };
  listen((message) => {
    if (message.what === "queue") show();
    if (message.what === "renewed" && message.path === location.pathname) offerNewer();
    if (message.what === "office" && message.kind === "here") tellAge();
  });
  show();
  tellAge();
}

/** A line that says something of this phone, made once at its place. */
function lineAt(place, name, where = "append") {
  let line = place.querySelector(":scope > [data-phone-line=" + name + "]");
  if (!line) {
    line = document.createElement("p");
    line.className = "phone-line";
    line.dataset.phoneLine = name;
    place[where](line);
  }
  return line;
}

function say(line, words, state = "waiting") {
  if (line.textContent !== words) line.textContent = words;
  line.dataset.state = state;
  line.hidden = !words;
}

const worstOf = (items) =>
  items.some((item) => item.state === "refused") ? "refused"
    : items.some((item) => item.state !== "safe") ? "waiting" : "safe";

/** "On this phone only: Pre-start check, 2 photos", or that it has reached the office since. */
function wordsOf(items) {
  if (!items.length) return "";
  const waiting = items.filter(isOnPhoneOnly);
  if (!waiting.length) return "At the office since: " + listed(items);
  const refused = waiting.some((item) => item.state === "refused") ? " One was refused: see “On this phone”." : "";
  return "On this phone only: " + listed(waiting) + "." + refused;
}

function listed(items) {
  const records = items.filter((item) => item.type === "record");
  const names = new Map();
  records.forEach((item) => names.set(item.words, (names.get(item.words) || 0) + 1));
  const words = [...names].map(([name, count]) => (count > 1 ? count + " × " + name : name));
  const photos = items.length - records.length;
  if (photos) words.push(photos + (photos > 1 ? " photos" : " photo"));
  return words.join(", ");
}

function onVisitLinks(items) {
  document.querySelectorAll(".visit-link[href]").forEach((link) => {
    const found = /^\/on-site\/visits\/(\d+)\/$/.exec(new URL(link.href).pathname);
    const here = found ? items.filter((item) => item.visit === found[1] && isOnPhoneOnly(item)) : [];
    const old = link.querySelector("[data-phone-line]");
    if (!here.length && !old) return;
    say(lineAt(link, "visit"), wordsOf(here), worstOf(here));
  });
}

function onOrderOfWork(items) {
  const rows = Array.from(document.querySelectorAll(".work > li[data-step]"));
  if (!rows.length) return;
  rows.forEach((row) => {
    const here = items.filter((item) => stepsOf(item).includes(row.dataset.step));
    const place = row.querySelector(".work-words");
    if (!here.length && !place.querySelector("[data-phone-line]")) return;
    say(lineAt(place, "step"), wordsOf(here), worstOf(here));
    if (row.classList.contains("work-open") && here.length) row.classList.replace("work-open", "work-begun");
  });
  showNext(rows, items);
  showEnds(items);
}

/** Arrival and an empty loft are one page and one record, yet two rows. */
const stepsOf = (item) => (item.kind === "arrival" ? ["arrival", "loft"] : [item.step]);

/** The big button leads to the first row that nobody has done, here or at the office. */
function showNext(rows, items) {
  const action = document.querySelector("#action-bar .button-big");
  const records = items.filter((item) => item.type === "record" && item.state !== "refused");
  if (!action || !items.length) return;
  const isDone = (row) =>
    row.classList.contains("work-done") || photosDone(row, items) || measured(row, records) ||
    records.some((item) => settles(item, row.dataset.step));
  const isStopped = records.some(stopsWork);
  const isOver = isStopped || records.some((item) => item.kind === "leave");
  if (isStopped) freeze(rows);
  const next = isOver ? null : rows.find((row) => !isDone(row) && row.querySelector("a.work-row"));
  rows.forEach((row) => row.classList.toggle("work-next", row === next));
  if (isOver) {
    action.href = "/on-site/";
    action.textContent = "Back to your visits";
  }
  if (!next) return;
  action.href = next.querySelector("a.work-row").href;
  action.textContent = next.dataset.call || next.querySelector(".work-title").textContent;
}

/** A row of photos names the points it still lacks in data-points. */
function photosDone(row, items) {
  const lacking = (row.dataset.points || "").split(" ").filter(Boolean);
  const taken = items.filter(
    (item) => item.type === "photo" && item.moment === row.dataset.step && item.state !== "refused"
  );
  return lacking.length > 0 && lacking.every((label) => taken.some((item) => item.point === label));
}

/** A check or an arrival with an unsafe answer is told, yet the next step has to wait for it. */
function settles(item, step) {
  if (item.kind === "reading" || !stepsOf(item).includes(step)) return false;
  return !(item.unsafe && SETTLED_BY_SAFE_ANSWERS.includes(item.kind) && step !== "arrival");
}

/** As at the office: an unsafe answer to a question of danger stops work as much as saying so. */
const stopsWork = (item) => item.kind === "stop-work" || item.unsafe === "stops";

/** Nothing more is laid or recorded on a visit that is stopped; it can only be left. */
function freeze(rows) {
  rows.filter((row) => row.dataset.step !== "leave").forEach((row) => {
    const link = row.querySelector("a.work-row");
    if (link) link.removeAttribute("href");
  });
}

/** The row of readings names how many are still wanted in data-wanted. */
function measured(row, records) {
  const wanted = Number(row.dataset.wanted || 0);
  return wanted > 0 && records.filter((item) => item.kind === "reading").length >= wanted;
}

/** Work stopped, left or handed over on this phone: the office may not know yet. */
function showEnds(items) {
  const main = document.getElementById("main");
  const waiting = items.filter(isOnPhoneOnly);
  const end = waiting.find(stopsWork) || waiting.find((item) => ENDS.includes(item.kind));
  const line = lineAt(main, "end", "prepend");
  if (!end) return say(line, "");
  const words = {
    "pre-start-check": "What you found stops the work. The office does not know yet: ring them, and keep everybody out of the loft.",
    "stop-work": "You stopped the work. The office does not know yet: ring them, and keep everybody out of the loft.",
    leave: "You have left this visit. The office does not know yet.",
    handover: "Handed over and signed on this phone. The office does not have it yet: keep this phone safe.",
  }[end.kind];
  say(line, words, end.state === "refused" ? "refused" : "waiting");
}

/** Above a step's form: it was filled in before, with the way to change that. */
function onForms(items) {
  document.querySelectorAll("form[data-record]:not([data-stay])").forEach((form) => {
    const before = items.find((item) => item.kind === form.dataset.record && sameStep(item, form));
    const editing = new URLSearchParams(location.search).has("edit") || form.dataset.item;
    const line = form.previousElementSibling;
    if (line && line.dataset.phoneLine === "form") line.remove();
    if (!before || editing) return;
    const told = document.createElement("p");
    told.className = "phone-line";
    told.dataset.phoneLine = "form";
    told.dataset.state = before.state;
    told.append(nameOf(before) + ": " + stateOf(before) + ". ");
    if (isOnPhoneOnly(before)) {
      const change = document.createElement("a");
      change.href = "?edit=" + before.id;
      change.className = "tall-link";
      change.textContent = "Change it";
      told.append(change);
    }
    form.before(told);
  });
}

const sameStep = (item, form) => item.step === (form.dataset.step || form.dataset.record);

/** A kept copy of a page says of when it is. */
async function tellAge() {
  const made = Date.parse(document.body.dataset.madeAt || "");
  const place = document.querySelector("[data-page-age]");
  if (!made || !place) return;
  const age = OPENED + (await clockOffset()) - made;
  if (place.dataset.offered !== undefined) return;
  place.hidden = age < RENEWED_AFTER_MS;
  if (place.hidden) return;
  place.textContent = "Kept copy of " + dayAndClock(made) + ".";
}

function dayAndClock(made) {
  const day = new Date(made);
  const today = day.toDateString() === new Date().toDateString();
  const words = day.toLocaleDateString("en-GB", { weekday: "long", day: "numeric", month: "long" });
  return (today ? "" : words + ", ") + clockOf(made);
}

/** The office's page came after the kept one was shown: it is offered, never swapped under a hand. */
function offerNewer() {
  const place = document.querySelector("[data-page-age]");
  const shownFor = performance.now();
  if (!place || place.dataset.offered || shownFor < 600) return;
  place.dataset.offered = "";
  const link = document.createElement("a");
  link.href = location.pathname + location.search;
  link.className = "tall-link";
  link.textContent = "Show the office's newer page";
  place.append(" ", link);
  place.hidden = false;
}
