// Reading a drawn job by keyboard. The page works without it; it moves the selection among things
// that a finding can be about, shows their place on the drawing, and opens the form for one.
import { fetchAhead, isAhead, markRead, show, tellNotConfirmed } from "./audit_ahead.js";
import { beginZoom, isZoomed, zoomPair } from "./audit_reading_zoom.js";
import { beginSheet, pairBy, seeScreen, toggleSeen, unseen } from "./audit_sheet.js";
import { circle, planOf, square } from "./on_site/drawing.js";

const KEPT = "eavesbook-reading-keys";
const PARTS = ["pairs", "verdict", "readings", "times", "history", "findings"];
const keysDialog = document.getElementById("keys");
const keysOn = keysDialog.querySelector("[data-keys-on]");
const isShown = (thing) => thing.checkVisibility(); // not one that is folded away
const things = () => [...document.querySelectorAll("[data-thing]")].filter(isShown);
let chosen = null;
let form = null;
let toldUnseen = false;

// ---- Choosing a thing ---------------------------------------------------------------------
function choose(thing, { focus = true } = {}) {
  if (!thing) return;
  chosen?.classList.remove("thing-chosen");
  chosen = thing;
  thing.classList.add("thing-chosen");
  if (focus) {
    thing.focus({ preventScroll: true });
    thing.scrollIntoView({ block: "nearest", behavior: "instant" });
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
  const first = [...(part?.querySelectorAll("[data-thing]") || [])].find(isShown);
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
  const first = offerWordings();
  (first || classOf() || form.elements.text).focus();
}

const classOf = () => form.querySelector("[name=severity]:checked");
const offered = () => [...form.querySelectorAll("[data-wording]:not([hidden])")];

const thingOf = (key) => document.querySelector(`[data-thing="${CSS.escape(key)}"]`);

/** What speaks most against a pair, in the machine's words. */
function offerDoubt(pair) {
  const offer = form.querySelector("[data-of-doubt]");
  const reason = pair?.querySelector("[data-reason]")?.dataset.reason || "";
  const joined = /^\w+: /.test(reason) ? "," : ":";
  offer.hidden = !reason;
  offer.dataset.wording = `{place}${joined} ${reason.charAt(0).toLowerCase()}${reason.slice(1)}`;
  offer.querySelector("[data-said]").textContent = reason;
}

/** The ready words that fit the thing the finding is about and what is to be seen there, numbered.
    Gives back the first. */
function offerWordings() {
  const kinds = JSON.parse(document.getElementById("kinds-of-wordings").textContent);
  const about = kinds[form.elements.concerns.value.split(":")[0]];
  const thing = thingOf(form.elements.concerns.value);
  const pair = thing?.closest(".pair");
  form.querySelectorAll("[data-about]").forEach((one) => {
    one.hidden = one.dataset.about !== about || !["", pair?.dataset.shows].includes(one.dataset.fits);
  });
  offerDoubt(thing === pair ? pair : null);
  offered().forEach((one, at) => { one.querySelector("[data-key]").textContent = at + 1; });
  const isTyped = form.elements.text.value.trim();
  form.querySelector("[data-wordings]").hidden = Boolean(isTyped) || !offered().length;
  return isTyped ? null : offered()[0];
}

/** Puts ready words in, with the class they suggest; both can be changed. */
function take(wording) {
  const about = form.elements.concerns;
  const key = about.value;
  const named = thingOf(key)?.dataset.name;
  const place = (named || about.selectedOptions[0].textContent).replace(/^Pair /, "");
  form.elements.text.value = wording.dataset.wording.replace("{place}", place);
  form.querySelector(`[name=severity][value="${wording.dataset.class}"]`).checked = true;
  form.querySelector("[data-wordings]").hidden = true;
  classOf().focus();
}

/** In the form no key of the page acts: a number takes ready words, then the class; anything else
    is typed. */
function inForm(event) {
  const onWording = event.target.closest("[data-wording]");
  const onClass = event.target.matches("[name=severity]");
  if (event.key.length > 1 || event.key === " " || !(onWording || onClass)) return;
  const wording = onWording && offered()[Number(event.key) - 1];
  const chosenClass = onClass && form.querySelectorAll("[name=severity]")[Number(event.key) - 1];
  const isNumber = onWording && /^[0-9]$/.test(event.key);
  if (isNumber || chosenClass) event.preventDefault();
  if (chosenClass) chosenClass.checked = true;
  if (wording) take(wording);
  else if (isNumber) (event.key === "0" ? classOf() : onWording).focus();
  else if (chosenClass && form.elements.text.value.trim()) chosenClass.focus();
  else form.elements.text.focus();
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
  form.querySelector("[data-wordings]").hidden = true;
  putAway();
});

// ---- From job to job ------------------------------------------------------------------------
function say(words) {
  const said = document.createElement("p");
  said.className = "message message-warning";
  said.textContent = words;
  document.getElementById("messages").replaceChildren(said);
}

/** Nothing half typed is left behind: its form comes back to the front instead. */
function mayLeave() {
  if (!form?.elements.text.value.trim()) return true;
  say("A finding is half typed. Keep it (Ctrl Enter) or clear its words, then go on.");
  find(form.elements.concerns.value);
  form.elements.text.focus();
  return false;
}

function goTo(url) {
  if (!mayLeave()) return;
  if (!isAhead(url)) return location.assign(url);
  show(url);
  beginPage();
}

/** Marks as read and shows the next job at once where that is at hand; else the page is sent. */
function readAndOn(event) {
  const sent = event.target.closest("[data-mark-read]");
  if (!sent) return;
  const left = unseen().length;
  const next = document.querySelector("[data-next-unread]")?.href;
  if (!mayLeave()) event.preventDefault();
  else if (left && !toldUnseen && document.querySelector(".pair-is-seen")) {
    event.preventDefault();
    toldUnseen = true;
    say(`${left} point${left === 1 ? " is" : "s are"} not seen yet. Press again to mark the job as read all the same.`);
  } else if (next && isAhead(next)) {
    event.preventDefault();
    markRead(sent, document.querySelector("[data-reading-head] h1").textContent.split(",")[0]);
    show(next);
    beginPage();
  }
}
document.addEventListener("submit", readAndOn);

// ---- Keys ---------------------------------------------------------------------------------
const press = (selector) => document.querySelector(selector)?.click();
const isDoubted = (thing) => thing.matches(".js-doubted-pair, .needs-hand:not([data-thing^='time:photo:'])");
const chosenPair = () => chosen?.closest(".pair");

function seen() {
  const pair = chosenPair() || pairBy("", null);
  if (!pair) return;
  const next = toggleSeen(pair);
  choose(next || pair);
}

/** The first pair of the next screen is chosen, so that the arrows lead on from there; after the
    last one the verdict, beside the drawing with the readings. */
function seeAndOn() {
  const next = seeScreen();
  if (next) choose(next);
  else if (next !== false) jump(PARTS.indexOf("verdict") + 1);
  return next;
}

const ACTS = {
  j: () => step(1), k: () => step(-1), w: () => step(1, isDoubted),
  v: seen, z: () => zoomPair(chosenPair() || document.querySelector(".pair")),
  f: () => find(chosen?.dataset.thing || ""),
  n: () => press('.reading-steps a[rel="next"]'), p: () => press('.reading-steps a[rel="prev"]'),
  u: () => press("[data-next-unread]"), m: () => press("[data-mark-read] button"),
  "?": () => keysDialog.showModal(),
};

function isTyping(target) {
  return target.closest("textarea, select, input:not([type=radio], [type=checkbox])");
}

/** Keys that already have a meaning where the focus is: act only on the page and on its things. */
function onThings(event) {
  if (event.target.closest("a, button, summary, input, label")) return null;
  if (event.key === " ") return event.shiftKey ? null : seeAndOn;
  if (event.key === "Enter" && chosenPair()) return () => zoomPair(chosenPair());
  if (!/^Arrow/.test(event.key)) return null;
  if (chosenPair()) return () => choose(pairBy(event.key, chosenPair()));
  const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (by && event.target.matches("[data-thing]")) return () => step(by);
  return event.key === "ArrowRight" && !chosen ? () => choose(pairBy("", null)) : null;
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
  const act = /^[1-6]$/.test(event.key) ? () => jump(Number(event.key)) : ACTS[event.key] || onThings(event);
  if (act && act() !== false) event.preventDefault();
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("[data-find]");
  const onDrawing = event.target.closest("[data-show-point]");
  const thing = event.target.closest("[data-thing]");
  const onward = event.target.closest(".reading-steps a[rel], [data-next-unread]");
  if (thing) choose(thing, { focus: false });
  if (onward && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
    event.preventDefault();
    goTo(onward.href);
  } else if (link && form) {
    event.preventDefault();
    find(link.dataset.find);
  } else if (event.target.closest("[data-wording]")) take(event.target.closest("[data-wording]"));
  else if (onDrawing && matchMedia("(min-width: 60rem)").matches) {
    event.preventDefault();
    document.getElementById("drawing").scrollIntoView({ block: "start", behavior: "instant" });
  } else if (event.target.closest("[data-zoom-open]")) {
    event.preventDefault();
    zoomPair(event.target.closest(".pair"));
  } else if (event.target.closest("[data-show-keys]")) keysDialog.showModal();
  else if (event.target.closest("[data-form-away]")) putAway();
});

// What is typed and not kept is not left behind unasked.
addEventListener("beforeunload", (event) => {
  if (form?.elements.text.value.trim() && !leaving) event.preventDefault();
});
let leaving = false;
document.addEventListener("submit", (event) => { leaving = event.target === form; });
document.addEventListener("htmx:afterRequest", () => { leaving = false; });

// ---- Beginning ----------------------------------------------------------------------------
/** Of each job that is shown, whether the browser loaded it or it was at hand. */
function beginPage() {
  form = document.querySelector("[data-finding-form]");
  chosen = null;
  toldUnseen = false;
  document.querySelector("[data-show-keys]").hidden = false;
  beginSheet();
  fetchAhead();
}
try { keysOn.checked = localStorage.getItem(KEPT) !== "off"; } catch { /* they act */ }
const tell = () => document.body.classList.toggle("reading-keyed", keysOn.checked);
keysOn.addEventListener("change", () => {
  try { localStorage.setItem(KEPT, keysOn.checked ? "on" : "off"); } catch { /* for this page */ }
  tell();
});
tell();
beginZoom((pair) => choose(pair, { focus: false }));
beginPage();
tellNotConfirmed();
