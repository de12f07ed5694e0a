// What other people change: htmx asks every few seconds and the server answers with an event when
// a row on this page is no longer as it was drawn. Rows wait while something is in hand, so that
// nothing jumps under it; what changed is outlined and said.
import { drawAgain, rowOfCrew } from "./planning_board.js";
import { inHand } from "./planning_move.js";
import { say } from "./planning_say.js";

const OUTLINED_MS = 12000;
let waiting = null;

export function listenToNews() {
  document.body.addEventListener("planning:changed", (event) => take(event.detail));
  document.addEventListener("planning:hand-empty", () => {
    if (waiting) setTimeout(() => !inHand() && waiting && take(waiting), 300);
  });
}

async function take({ crews, needs, news }) {
  if (inHand()) {
    waiting = { crews, needs, news };
    return;
  }
  waiting = null;
  if (needs) window.htmx.trigger("#needs", "planning:needs");
  const before = versions(crews);
  await drawAgain(crews);
  const changed = outline(crews, before);
  if (changed.size || crews.length) window.htmx.trigger("#day-map", "planning:map");
  const told = news.filter(({ visit }) => changed.has(visit) || before.has(visit));
  const fresh = told.filter(({ visit, version }) => before.get(visit) !== version);
  if (fresh.length) say(fresh.map(({ words }) => words).join(" "));
  fresh.forEach(({ visit, words }) => explain(visit, words));
}

/** Which version of each visit the rows show. */
function versions(crews) {
  const found = new Map();
  crews.map(rowOfCrew).filter(Boolean).forEach((row) => {
    row.querySelectorAll("[data-visit]").forEach((link) => {
      found.set(Number(link.dataset.visit), Number(link.dataset.version));
    });
  });
  return found;
}

function outline(crews, before) {
  const changed = new Set();
  versions(crews).forEach((version, visit) => {
    if (before.get(visit) === version) return;
    changed.add(visit);
    const block = document.getElementById(`visit-${visit}`).closest(".block");
    block.classList.add("block-changed");
    setTimeout(() => block.classList.remove("block-changed"), OUTLINED_MS);
  });
  return changed;
}

function explain(visit, words) {
  const link = document.getElementById(`visit-${visit}`);
  if (link) link.title = words;
}
