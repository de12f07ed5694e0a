// The sheet about one visit: its reasons, what moving it would cost, where else it could lie.
// Pressing a visit opens it; without a script the same link leads to the visit's own page.
import { board, span } from "./planning_board.js";
import { inHand } from "./planning_move.js";
import { clearNotes } from "./planning_say.js";

let opener = null;

export function listenToSheet() {
  document.addEventListener("click", (event) => {
    const link = event.target.closest(".block > a");
    if (link && !event.defaultPrevented && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      if (!inHand()) open(link);
    }
    if (event.target.closest("[data-shuts], #planning-sheet [data-picks]")) shut();
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !inHand() && !sheet().hidden) shut();
  });
  document.addEventListener("focusin", (event) => spotOf(event.target, true));
  document.addEventListener("focusout", (event) => spotOf(event.target, false));
  document.addEventListener("pointerover", (event) => spotOf(event.target, true));
  document.addEventListener("pointerout", (event) => spotOf(event.target, false));
}

const sheet = () => document.getElementById("planning-sheet");

async function open(link) {
  opener = link.id;
  const address = board().dataset.sheet.replace("/0/", `/${link.dataset.visit}/`);
  await window.htmx.ajax("GET", `${address}?${span()}`, { target: "#planning-sheet", swap: "innerHTML" });
  clearNotes();
  sheet().hidden = false;
  sheet().focus({ preventScroll: true });
}

function shut() {
  sheet().hidden = true;
  document.getElementById(opener)?.focus({ preventScroll: true });
}

/** The stop of the map that a link of the list is about. */
function spotOf(target, on) {
  const key = target.closest?.("[data-spot]")?.dataset.spot;
  if (!key) return;
  document.querySelectorAll(`.js-spot-${key}`).forEach((spot) => spot.classList.toggle("map-spot-here", on));
}
