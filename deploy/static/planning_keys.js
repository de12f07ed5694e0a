// By keyboard: the space bar picks up the visit that has the focus; arrows, Page Up and Page Down
// move it; Enter or the space bar puts it down; Escape leaves it. The buttons of the moving bar do
// the same for whoever presses instead of dragging.
import { needInHand, visitInHand } from "./planning_board.js";
import { drop, inHand, leave, nudge, pickUp } from "./planning_move.js";

const NUDGES = {
  ArrowLeft: "earlier",
  ArrowRight: "later",
  ArrowUp: "crew-up",
  ArrowDown: "crew-down",
  PageUp: "day-before",
  PageDown: "day-after",
};

export function listenToKeys() {
  document.addEventListener("keydown", press);
  document.addEventListener("click", choose);
}

function press(event) {
  if (!inHand()) return begin(event);
  const onButton = event.target.closest?.("#moving-bar button");
  if (event.key === "Escape") leave();
  else if (event.key === "Enter" && !onButton) drop();
  else if (event.key === " " && !onButton) drop();
  else if (event.shiftKey && event.key === "ArrowLeft") nudge("day-before");
  else if (event.shiftKey && event.key === "ArrowRight") nudge("day-after");
  else if (NUDGES[event.key]) nudge(NUDGES[event.key]);
  else return;
  event.preventDefault();
  event.stopPropagation();
}

function begin(event) {
  const link = event.target.closest?.(".block > a");
  if (event.key !== " " || !link || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  pickUp(visitInHand(link));
}

function choose(event) {
  const act = event.target.closest("[data-moves]");
  if (act) return { drop, leave: () => leave() }[act.dataset.moves]?.() ?? nudge(act.dataset.moves);
  const picker = event.target.closest("[data-picks]");
  if (!picker) return;
  const card = document.getElementById(picker.dataset.picks);
  if (!card) return;
  const taken = pickUp(card.matches(".need") ? needInHand(card) : visitInHand(card));
  if (taken) document.querySelector('[data-moves="drop"]').focus({ preventScroll: true });
}
