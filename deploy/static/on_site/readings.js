// On the page of readings: what the readings come to with those that are on this phone only, where
// to measure next, and the office's own page once they have arrived.
import { listen } from "./channel.js";
import { drawWanted, planOf, square } from "./drawing.js";
import { refreshPage } from "./points.js";
import { isOnPhoneOnly, isUnsent, ofPerson } from "./store.js";
import { areaAt, assess } from "./verdict.js";
import { hasArrived, stateOf } from "./words.js";

const KINDS = ["reading", "reading-correction"];
const MARKS = { meets: "Meets", short: "Short", unproven: "Unproven" };
const MOST_LISTED = 4;

export async function beginReadings(person) {
  if (!document.getElementById("readings")) return;
  const visit = document.body.dataset.visit;
  const mine = async () =>
    (await ofPerson(person)).filter((item) => item.visit === visit && KINDS.includes(item.kind));

  async function show() {
    const rules = rulesOfPage();
    const here = (await mine()).filter((item) => item.state !== "given-up" && !hasArrived(item));
    listReadings(here, rules);
    if (!rules) return;
    const verdict = here.length ? assess(rules, together(rules, here)) : null;
    showVerdict(verdict, rules);
    const frame = document.querySelector("[data-touch-drawing]");
    if (frame) frame.classList.toggle("drawing-of-phone", Boolean(verdict));
    if (verdict) showPlaces(stillWanted(rules, together(rules, here), here, verdict), here);
  }

  document.addEventListener("record-checking", (event) => checkPlace(event, rulesOfPage()));
  listen(async (message) => {
    if (message.what === "queue" && message.state === "safe" && (await isOfThisPage(message.id))) {
      if (!(await mine()).some(isUnsent) && window.htmx && !isTyping()) await refreshPage("readings", isTyping);
    }
    if (message.what === "queue" || message.what === "stored") show();
  });
  const isOfThisPage = async (id) => (await mine()).some((item) => item.id === id);
  document.addEventListener("htmx:afterSettle", () => show());
  await show();
}

/** What only a page with the drawing can say of a reading: where to touch. */
function checkPlace(event, rules) {
  const { body, problems } = event.detail;
  if (!event.target.matches(".reading-form")) return;
  const isPlaced = Number.isFinite(body.x_mm) && Number.isFinite(body.y_mm);
  if (isPlaced && (!rules || body.area || areaAt(rules, body.x_mm, body.y_mm))) return;
  const message = isPlaced
    ? "That place does not lie in the loft. Touch the drawing again."
    : "Touch the drawing where you measured.";
  const others = problems.filter((each) => each.field !== "x_mm" && each.field !== "y_mm");
  event.detail.problems = [{ field: "x_mm", message }, ...others];
}

/** A place chosen or a depth typed is never wiped away by a newer page. */
function isTyping() {
  const form = document.querySelector(".reading-form");
  return Boolean(form && ["x_mm", "depth_mm"].some((name) => form.elements[name] && form.elements[name].value));
}

function rulesOfPage() {
  const block = document.getElementById("depth-rules");
  return block ? JSON.parse(block.textContent) : null;
}

/** Stored readings and those of this phone, corrected ones left out. */
export function together(rules, items) {
  const bodies = items.map((item) => ({ allowance: "", ...item.body, key: item.id }));
  const known = new Set(rules.readings.map((reading) => reading.key));
  const fresh = bodies.filter((body) => !known.has(body.key) && Number.isFinite(body.depth_mm));
  const replaced = new Set(fresh.map((body) => Number(body.replaces)).filter(Boolean));
  const stored = rules.readings.filter((reading) => !replaced.has(reading.id));
  return [...stored, ...fresh].map((each) => ({
    ...each,
    area: each.area || areaAt(rules, each.x_mm, each.y_mm),
  }));
}

function part(name, tag, make) {
  let found = document.querySelector("[data-" + name + "]");
  if (!found) {
    found = document.createElement(tag);
    found.setAttribute("data-" + name, "");
    make(found);
  }
  return found;
}

function listReadings(items, rules) {
  const list = part("phone-readings", "ul", (made) => {
    const form = document.querySelector(".reading-form");
    if (form) form.after(made);
  });
  list.className = "stored-readings phone-readings";
  list.replaceChildren(...items.map((item) => rowOf(item, rules)));
  list.hidden = !items.length;
}

function rowOf(item, rules) {
  const row = document.createElement("li");
  row.dataset.state = item.state;
  const words = document.createElement("span");
  const depth = document.createElement("strong");
  depth.textContent = item.body.depth_mm + " mm ";
  const place = document.createElement("span");
  place.className = "small";
  const area = item.body.area || (rules ? areaAt(rules, item.body.x_mm, item.body.y_mm) : "");
  const at = Number.isFinite(item.body.x_mm)
    ? "x " + Math.round(item.body.x_mm) + ", y " + Math.round(item.body.y_mm) : "";
  const outside = rules && at && !area ? "outside the loft: touch the drawing again" : "";
  place.textContent = [area || outside, at, stateOf(item)].filter(Boolean).join(" · ");
  words.append(depth, place);
  row.append(words);
  if (isOnPhoneOnly(item)) {
    const mend = document.createElement("a");
    mend.className = "button button-small button-plain";
    mend.href = item.page + "?edit=" + item.id;
    mend.textContent = "Change";
    row.append(mend);
  }
  return row;
}

function showVerdict(verdict, rules) {
  const box = part("live-verdict", "section", (made) => {
    const list = document.querySelector("[data-phone-readings]");
    if (list) list.before(made);
  });
  box.hidden = !verdict;
  document.querySelectorAll(".verdict-box:not([data-live-verdict])").forEach((office) => {
    office.hidden = Boolean(verdict);
  });
  if (!verdict) return;
  box.className = "verdict-box stack";
  box.setAttribute("aria-labelledby", "live-verdict-title");
  const title = document.createElement("h2");
  title.id = "live-verdict-title";
  title.textContent = "So far, with those on this phone";
  const mark = document.createElement("p");
  mark.className = "mark-big";
  const inner = document.createElement("span");
  inner.className = "mark mark-" + verdict.verdict;
  const word = document.createElement("span");
  word.className = "mark-word";
  word.textContent = MARKS[verdict.verdict];
  inner.append(word);
  mark.append(inner);
  const lines = [`Reckoned on this phone against ${rules.min_depth_mm} mm. The office judges.`];
  if (verdict.verdict === "short" && verdict.deficit_mm > 0) {
    lines.push(`${Math.round(verdict.deficit_mm)} mm short at the thinnest place. Add wool there now, then measure again.`);
  }
  box.replaceChildren(title, mark, ...[...lines, ...verdict.missing].map(paragraph));
}

function paragraph(text) {
  const made = document.createElement("p");
  made.textContent = text;
  return made;
}

/** The office's own places less those measured since, if that is enough; else the phone's. */
function stillWanted(rules, readings, items, verdict) {
  const frame = document.querySelector("[data-touch-drawing]");
  const left = JSON.parse((frame && frame.dataset.wanted) || "[]");
  for (const { body } of items.filter((item) => item.kind === "reading")) {
    const gaps = left.map((place) => Math.hypot(place.x - body.x_mm, place.y - body.y_mm));
    if (gaps.length) left.splice(gaps.indexOf(Math.min(...gaps)), 1);
  }
  const measured = left.map((place) => ({
    area: place.area, x_mm: place.x, y_mm: place.y, depth_mm: rules.min_depth_mm, allowance: "",
  }));
  const isEnough = assess(rules, [...readings, ...measured]).wanted.length === 0;
  return isEnough && left.length <= verdict.wanted.length ? left : verdict.wanted;
}

/** Rings for what is still wanted, squares for what is on this phone, and the list of places. */
function showPlaces(wanted, items) {
  const svg = document.querySelector("[data-touch-drawing] svg");
  const plan = svg && planOf(svg);
  if (!plan) return;
  drawWanted(svg, plan, wanted);
  svg.querySelectorAll(".touch-kept").forEach((old) => old.remove());
  items.filter((item) => Number.isFinite(item.body.x_mm)).forEach((item) => {
    square(svg, plan.toSheet(item.body.x_mm, item.body.y_mm), 5, "touch-kept");
  });
  const list = document.querySelector(".wanted");
  if (list) list.replaceChildren(...wanted.slice(0, MOST_LISTED).map(wantedRow));
  const action = document.querySelector("#action-bar .button-big");
  if (action) action.textContent = wanted.length ? "Back: " + wanted.length + " more wanted" : "Go on";
}

function wantedRow(place) {
  const row = document.createElement("li");
  const link = document.createElement("a");
  link.className = "button";
  link.href = "#step-form";
  Object.assign(link.dataset, { place: "", x: place.x, y: place.y, area: place.area });
  link.textContent =
    `${place.area}: ${(place.x / 1000).toFixed(2)} m from the left, ` +
    `${(place.y / 1000).toFixed(2)} m from the bottom`;
  row.append(link);
  return row;
}
