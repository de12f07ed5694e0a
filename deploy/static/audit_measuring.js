// Measuring again: a touch on the drawing leads to the nearest place and tells where it was; each
// depth goes through the phone's queue, and its place says whether it is on this phone only.
import { listen } from "./on_site/channel.js";
import { circle, planOf } from "./on_site/drawing.js";
import { refreshPage } from "./on_site/points.js";
import { isOnPhoneOnly, isUnsent, ofPerson } from "./on_site/store.js";
import { hasArrived, stateOf } from "./on_site/words.js";

const NEAR_MM = 600;
const PART = "places";
const drawing = () => document.querySelector("[data-measure-drawing] svg");
const rows = () => [...document.querySelectorAll(".measure-row")];

// ---- Where it was measured ----------------------------------------------------------------
function mark(x, y) {
  const svg = drawing();
  if (!svg) return;
  svg.querySelectorAll(".touch-here").forEach((old) => old.remove());
  circle(svg, planOf(svg).toSheet(x, y), 9, "touch-here");
}

function nearest(x, y) {
  const places = rows().map((row) => ({
    row, away: Math.hypot(Number(row.dataset.x) - x, Number(row.dataset.y) - y),
  }));
  return places.sort((one, two) => one.away - two.away)[0];
}

const fieldOf = (row, name) => row.querySelector(`input[name^="${name}_"]`);

function touched(event, svg) {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  const [x, y] = planOf(svg).toMm(at.x, at.y);
  const found = nearest(x, y);
  const depth = found && fieldOf(found.row, "depth");
  if (!depth || depth.form.hidden) return;
  if (found.away <= NEAR_MM) {
    fieldOf(found.row, "x").value = Math.round(x);
    fieldOf(found.row, "y").value = Math.round(y);
    mark(x, y);
  } else {
    mark(Number(found.row.dataset.x), Number(found.row.dataset.y));
  }
  const folded = found.row.querySelector("details");
  if (folded) folded.open = true;
  found.row.scrollIntoView({ block: "center" });
  depth.focus({ preventScroll: true });
}

document.addEventListener("click", (event) => {
  const svg = event.target.closest("[data-measure-drawing] svg");
  if (svg) touched(event, svg);
});

document.addEventListener("focusin", (event) => {
  const row = event.target.closest(".measure-row");
  if (!row) return;
  const [x, y] = ["x", "y"].map((name) => fieldOf(row, name)?.value || row.dataset[name]);
  mark(Number(x), Number(y));
});

// ---- What is on this phone ----------------------------------------------------------------
const person = document.body.dataset.person || "";
const visit = () => document.getElementById(PART)?.dataset.visit;
const mine = async () => (await ofPerson(person)).filter((item) => item.visit === visit());
const isEdited = (item) => new URLSearchParams(location.search).get("edit") === item.id;

async function show() {
  const items = (await mine()).filter((item) => item.state !== "given-up" && !hasArrived(item));
  for (const row of rows()) {
    const form = row.querySelector("form[data-record]");
    const item = form && items.filter((each) => each.kind === form.dataset.record).pop();
    tellState(row, item);
    if (form) form.hidden = Boolean(item) && !isEdited(item);
  }
}

function tellState(row, item) {
  const line = row.querySelector("[data-place-state]");
  line.hidden = !item;
  if (!item) return;
  const words = `${item.body.depth_mm} mm. ${stateOf(item).replace(/\.+$/, "")}.`;
  line.dataset.state = item.state === "safe" || item.state === "refused" ? item.state : "waiting";
  line.replaceChildren(words);
  if (!isOnPhoneOnly(item) || isEdited(item)) return;
  const change = document.createElement("a");
  change.href = `${location.pathname}?edit=${item.id}#${row.id}`;
  change.textContent = "Change";
  line.append(" ", change);
}

/** Once everything of this page has arrived, the office's own page shows what the installer read. */
async function compareIfDone(id) {
  const items = await mine();
  if (!items.some((item) => item.id === id) || items.some(isUnsent)) return;
  const isTyping = () => rows().some((row) => fieldOf(row, "depth")?.value);
  if (!isTyping() && window.htmx) await refreshPage(PART, isTyping);
  show();
}

if (person && "indexedDB" in window) {
  const line = document.querySelector("[data-without-signal]");
  line.hidden = !navigator.serviceWorker;
  listen((message) => {
    if (message.what === "queue" || message.what === "stored") show();
    if (message.what === "queue" && message.state === "safe") compareIfDone(message.id);
  });
  document.addEventListener("htmx:afterSettle", show);
  show();
}
