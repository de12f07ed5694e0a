// Reading a drawn job by keyboard. The page works without it; it moves the selection among things
// that a finding can be about, shows their place on the drawing, and opens the form for one.
import { beginZoom, isZoomed, zoomPair } from "./audit_reading_zoom.js";
import { circle, planOf, square } from "./on_site/drawing.js";

const KEPT = "eavesbook-reading-keys";
const PARTS = ["verdict", "readings", "pairs", "times", "history", "findings"];
const CALM = matchMedia("(prefers-reduced-motion: reduce)");
const keysDialog = document.getElementById("keys");
const keysOn = keysDialog.querySelector("[data-keys-on]");
const form = document.querySelector("[data-finding-form]");
const things = () => [...document.querySelectorAll("[data-thing]")];
let chosen = null;

// ---- Choosing a thing ---------------------------------------------------------------------
function choose(thing, { focus = true } = {}) {
  if (!thing) return;
  chosen?.classList.remove("thing-chosen");
  chosen = thing;
  thing.classList.add("thing-chosen");
  if (focus) {
    thing.focus({ preventScroll: true });
    thing.scrollIntoView({ block: "center", behavior: CALM.matches ? "instant" : "smooth" });
  }
  showPlace(thing);
}

function step(by, fits = () => true) {
  const all = things().filter(fits);
  const here = chosen ? things().indexOf(chosen) : -1;
  const ordered = by > 0 ? all : all.reverse();
  const found = ordered.find((thing) => by * (things().indexOf(thing) - here) > 0);
  choose(found || ordered[0]);
}

function jump(number) {
  const part = document.getElementById(PARTS[number - 1]);
  const first = part?.querySelector("[data-thing]");
  if (first) choose(first, { focus: false });
  part?.scrollIntoView({ behavior: "instant" });
  const target = first || part?.querySelector("h2");
  if (target) {
    if (!target.hasAttribute("tabindex")) target.tabIndex = -1;
    target.focus({ preventScroll: true });
  }
}

// ---- Its place on the drawing -------------------------------------------------------------
function showPlace(thing) {
  const svg = document.querySelector("[data-reading-drawing] svg");
  const plan = svg && planOf(svg);
  if (!plan) return;
  svg.querySelectorAll(".reading-here, .reading-here-wash").forEach((old) => old.remove());
  const placed = thing.closest("[data-x], [data-point]") || sameThing(thing);
  if (placed?.dataset.x !== undefined) {
    const at = plan.toSheet(Number(placed.dataset.x), Number(placed.dataset.y));
    circle(svg, at, 9, "reading-here-wash");
    circle(svg, at, 9, "reading-here");
  } else if (placed?.dataset.point) {
    const plate = [...svg.querySelectorAll(".eb-photos text")].find(
      (text) => text.textContent === placed.dataset.point,
    );
    if (!plate) return;
    const box = plate.getBBox();
    square(svg, [box.x + box.width / 2, box.y + box.height / 2], 13, "reading-here");
  }
}

/** The row or picture that a time is of. */
function sameThing(thing) {
  const key = thing.dataset.thing.replace(/^time:/, "");
  const of = key !== thing.dataset.thing && document.querySelector(`[data-thing="${key}"]`);
  return of ? of.closest("[data-x], [data-point]") : null;
}

// ---- The form of a finding ----------------------------------------------------------------
function find(key) {
  if (!form) return;
  const about = form.elements.concerns;
  if ([...about.options].some((option) => option.value === key)) about.value = key;
  form.classList.add("form-docked");
  form.querySelector("[data-form-away]").hidden = false;
  form.querySelector("[data-form-keys]").hidden = !keysOn.checked;
  (form.querySelector("[name=severity]:checked") || form.elements.text).focus();
}

/** In the form no key of the page acts: a number chooses the class, anything else is typed. */
function inForm(event) {
  const classes = [...form.querySelectorAll("[name=severity]")];
  const chosenClass = event.target.matches("[name=severity]") && classes[Number(event.key) - 1];
  if (chosenClass) chosenClass.checked = true;
  else if (event.key.length > 1 || event.key === " ") return;
  else if (!event.target.matches("[name=severity]")) return;
  form.elements.text.focus();
  if (chosenClass) event.preventDefault();
}

function putAway() {
  if (!form) return;
  form.classList.remove("form-docked");
  form.querySelector("[data-form-away]").hidden = true;
  chosen?.focus({ preventScroll: true });
}

document.addEventListener("htmx:afterRequest", (event) => {
  if (event.target !== form || !event.detail.successful) return;
  if (document.querySelector("[data-finding-list][data-refused]")) return;
  form.elements.text.value = "";
  putAway();
});

// ---- Keys ---------------------------------------------------------------------------------
const press = (selector) => document.querySelector(selector)?.click();
const ACTS = {
  j: () => step(1), k: () => step(-1),
  w: () => step(1, (thing) => thing.matches(".needs-hand") || thing.querySelector(".point-warning")),
  z: () => zoomPair(chosen?.closest(".pair") || document.querySelector(".pair")),
  f: () => find(chosen?.dataset.thing || ""),
  n: () => press('.reading-steps a[rel="next"]'), p: () => press('.reading-steps a[rel="prev"]'),
  u: () => press("[data-next-unread]"), m: () => press("[data-mark-read] button"),
  "?": () => keysDialog.showModal(),
};

function isTyping(target) {
  return target.closest("textarea, select, input:not([type=radio], [type=checkbox])");
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && form?.classList.contains("form-docked")) return putAway();
  if (event.key === "Enter" && (event.ctrlKey || event.metaKey) && form?.contains(event.target)) {
    event.preventDefault();
    return form.requestSubmit();
  }
  if (event.ctrlKey || event.metaKey || event.altKey || isTyping(event.target)) return;
  if (form?.contains(event.target)) return inForm(event);
  if (!keysOn.checked || isZoomed() || keysDialog.open) return;
  const act = /^[1-6]$/.test(event.key) ? () => jump(Number(event.key)) : ACTS[event.key];
  const arrow = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (act) act();
  else if (arrow && event.target.matches("[data-thing]")) step(arrow);
  else return;
  event.preventDefault();
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-find]");
  const onDrawing = event.target.closest("[data-show-point]");
  const thing = event.target.closest("[data-thing]");
  if (thing) choose(thing, { focus: false });
  if (link && form) {
    event.preventDefault();
    find(link.dataset.find);
  } else if (onDrawing && matchMedia("(min-width: 60rem)").matches) {
    event.preventDefault();
  } else if (event.target.closest("[data-zoom-open]")) {
    event.preventDefault();
    zoomPair(event.target.closest(".pair"));
  } else if (event.target.closest("[data-form-away]")) putAway();
});

// What is typed and not kept is not left behind unasked.
addEventListener("beforeunload", (event) => {
  if (form?.elements.text.value.trim() && !leaving) event.preventDefault();
});
let leaving = false;
form?.addEventListener("submit", () => { leaving = true; });
document.addEventListener("htmx:afterRequest", () => { leaving = false; });

// ---- Beginning ----------------------------------------------------------------------------
const opener = document.querySelector("[data-show-keys]");
opener.hidden = false;
opener.addEventListener("click", () => keysDialog.showModal());
try { keysOn.checked = localStorage.getItem(KEPT) !== "off"; } catch { /* they act */ }
const tell = () => document.body.classList.toggle("reading-keyed", keysOn.checked);
keysOn.addEventListener("change", () => {
  try { localStorage.setItem(KEPT, keysOn.checked ? "on" : "off"); } catch { /* for this page */ }
  tell();
});
tell();
beginZoom((pair) => choose(pair, { focus: false }));
