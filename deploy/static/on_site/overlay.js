// What was recorded since the page was made, laid over it: in the order of work, on the list of
// visits, and above the form of a step that is already filled in.
import { listen } from "./channel.js";
import { isOnPhoneOnly, ofPerson } from "./store.js";
import { clockOffset } from "./clock.js";
import { beginStopped, shutIfStopped, stopAmong, stopsWork, WORDS } from "./stopped.js";
import { clockOf, hasArrived, nameOf, stateOf } from "./words.js";

const DONE = "Done on this phone";
const RENEWED_AFTER_MS = 90 * 1000;
const OPENED = Date.now();
const ENDS = ["stop-work", "leave", "handover"];
const SETTLED_BY_SAFE_ANSWERS = ["arrival", "pre-start-check"];

export async function beginOverlay(person) {
  beginStopped();
  const show = async () => {
    const items = (await ofPerson(person)).filter((item) => item.state !== "given-up" && !hasArrived(item));
    onVisitLinks(items);
    const visit = document.body.dataset.visit;
    const here = items.filter((item) => item.visit === visit);
    if (!visit) return;
    onOrderOfWork(here);
    onForms(here);
    onMissing(here);
    shutIfStopped(here);
  };
  listen((message) => {
    if (message.what === "queue") show();
    if (message.what === "renewed" && message.path === location.pathname) offerNewer();
    if (message.what === "office" && message.kind === "here") tellAge();
  });
  await Promise.all([tellAge(), show()]);
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
  return "On this phone only: " + listed(waiting) + "." + refusedOf(waiting);
}

function refusedOf(items) {
  const count = items.filter((item) => item.state === "refused").length;
  if (!count) return "";
  return (count > 1 ? ` ${count} were` : " One was") + " refused: see “On this phone”.";
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
    tellState(row, here);
    if (!here.length && !place.querySelector("[data-phone-line]")) return;
    say(lineAt(place, "step"), wordsOf(here), worstOf(here));
  });
  showNext(rows, items);
  showEnds(rows, items);
}

/** Arrival and an empty loft are one page and one record, yet two rows. */
const stepsOf = (item) => (item.kind === "arrival" ? ["arrival", "loft"] : [item.step]);

/** The office's words for a row, or what this phone makes of it since. */
function tellState(row, here) {
  const place = row.querySelector(".work-state");
  row.dataset.office ??= place.textContent;
  row.dataset.was ??= ["done", "begun", "left", "open"].find((each) => row.classList.contains("work-" + each));
  const taken = here.filter((item) => item.state !== "refused");
  const words = taken.length && row.dataset.was !== "done" ? madeOf(row, taken) : row.dataset.office;
  if (place.textContent !== words) place.textContent = words;
  const begun = here.length > 0 && row.dataset.was === "open";
  row.classList.toggle("work-open", row.dataset.was === "open" && !begun);
  row.classList.toggle("work-begun", row.dataset.was === "begun" || begun);
}

function madeOf(row, items) {
  if (row.dataset.points) {
    const missing = lackingPhotos(row, items);
    return missing.length ? "Begun: " + missing.join(", ") + " still missing" : DONE;
  }
  if (row.dataset.wanted) {
    const more = lackingReadings(row, items);
    return more > 0 ? "Begun: " + more + " more wanted" : DONE;
  }
  const last = items[items.length - 1];
  if (last.body && last.body.outcome === "not_done") return "Left undone, told on this phone";
  return last.type === "photo" || settles(last, row.dataset.step) ? DONE : "Begun: not as it should be yet";
}

/** The big button leads to the first row that nobody has done, here or at the office. */
function showNext(rows, items) {
  const action = document.querySelector("#action-bar .button-big");
  const records = items.filter((item) => item.type === "record" && item.state !== "refused");
  if (!action || !items.length) return;
  const isDone = (row) =>
    row.classList.contains("work-done") ||
    (row.dataset.points && !lackingPhotos(row, items).length) ||
    (Number(row.dataset.wanted) > 0 && lackingReadings(row, records) <= 0) ||
    records.some((item) => settles(item, row.dataset.step));
  const isOver = records.some((item) => item.kind === "leave");
  const isStopped = Boolean(stopAmong(items));
  const isOpen = (row) => !isDone(row) && (!isStopped || row.dataset.step === "leave");
  const next = isOver ? null : rows.find((row) => isOpen(row) && row.querySelector("a.work-row"));
  rows.forEach((row) => row.classList.toggle("work-next", row === next));
  if (isOver) {
    action.href = "/on-site/";
    action.textContent = "Back to your visits";
  }
  if (!next) return;
  action.href = next.querySelector("a.work-row").href;
  action.textContent = next.dataset.call || next.querySelector(".work-title").textContent;
}

/** A row of photos names the points it still lacks in data-points; those not taken here either. */
function lackingPhotos(row, items) {
  const taken = items.filter(
    (item) => item.type === "photo" && item.moment === row.dataset.step && item.state !== "refused"
  );
  return row.dataset.points.split(" ").filter((label) => !taken.some((item) => item.point === label));
}

/** The row of readings names how many are still wanted in data-wanted. */
function lackingReadings(row, records) {
  return Number(row.dataset.wanted) - records.filter((item) => item.kind === "reading").length;
}

/** A check or an arrival with an unsafe answer is told, yet the next step has to wait for it. */
function settles(item, step) {
  if (item.kind === "reading" || item.type !== "record" || !stepsOf(item).includes(step)) return false;
  return !(item.unsafe && SETTLED_BY_SAFE_ANSWERS.includes(item.kind) && step !== "arrival");
}

const RING = "The office does not know yet: ring them" +
  (document.body.dataset.officePhone ? " on " + document.body.dataset.officePhone : "") +
  ", and keep everybody out of the loft.";
const END_WORDS = {
  "stop-work": "You stopped the work. " + RING,
  "pre-start-check": "What you found stops the work. " + RING,
  leave: "You have left this visit. The office does not know yet.",
  handover: "Handed over and signed on this phone. The office does not have it yet: keep this phone safe.",
};

/** Work stopped, left or handed over on this phone: the office may not know, or has refused it. */
function showEnds(rows, items) {
  const line = lineAt(document.getElementById("main"), "end", "prepend");
  const ends = items.filter((item) => item.type === "record" && (stopsWork(item) || ENDS.includes(item.kind)));
  const isOld = (item) =>
    item.state === "refused" && (isTold(rows, item) || ends.some((other) => other !== item &&
      other.kind === item.kind && other.seq > item.seq && other.state !== "refused"));
  const open = ends.filter((item) => isOnPhoneOnly(item) && !isOld(item));
  const end = open.find(stopsWork) || open[0];
  if (end && end.state === "refused") {
    return say(line, nameOf(end) + " was refused by the office: " + end.reason + " Open it under “On this phone”.", "refused");
  }
  if (end) return say(line, END_WORDS[end.kind]);
  say(line, stopAmong(ends) ? "The office knows. " + WORDS : "", "safe");
}

/** Whether the office's page has that step already, from a later record or another phone. */
const isTold = (rows, item) =>
  rows.some((row) => row.dataset.step === item.step && row.dataset.was === "done");

/** On the page of the handover: what is missing, less what was recorded on this phone since. */
function onMissing(items) {
  const box = document.querySelector("[data-missing]");
  const rows = box ? Array.from(box.querySelectorAll("li[data-step]")) : [];
  for (const row of rows) {
    const taken = items.filter((item) => stepsOf(item).includes(row.dataset.step) && item.state !== "refused");
    const place = row.querySelector(".work-state");
    row.dataset.office ??= place.textContent;
    const words = taken.length ? madeOf(row, taken) : row.dataset.office;
    row.hidden = words === DONE;
    if (place.textContent !== words) place.textContent = words.replace("Begun: ", "");
  }
  if (box) box.hidden = rows.every((row) => row.hidden);
  document.querySelectorAll("[data-until]").forEach((words) => {
    words.hidden = items.some((item) => item.kind === words.dataset.until && item.state !== "refused");
  });
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

/**
 * The office's page came after the kept one was shown: it is offered at the top, where nothing else
 * moves by it, and never swapped under a hand.
 */
function offerNewer() {
  const link = document.querySelector("[data-page-newer]");
  if (!link || performance.now() < 600) return;
  link.href = location.pathname + location.search;
  link.hidden = false;
}
