// The contact sheet of a drawn job: from pair to pair by the arrows, what was seen, screen by
// screen. What was seen is kept at the office, for this reader alone: it proves nothing.
import { send } from "./audit_ahead.js";

const sheet = () => document.querySelector("[data-sheet]");
export const pairs = () => [...document.querySelectorAll("[data-sheet] .pair")];
let waiting = null; // what is to be kept; one request at a time, so that the last one stands
let sending = false;
const isSeen = (pair) => pair.classList.contains("pair-is-seen");

export const unseen = () => pairs().filter((pair) => !isSeen(pair));

function tell() {
  const all = pairs();
  const seen = all.filter(isSeen);
  const told = document.querySelector("[data-seen-told]");
  told.hidden = !seen.length;
  told.textContent = `${seen.length} of ${all.length} points seen`;
}

function keep() {
  waiting = [sheet().dataset.keepsSeen, pairs().filter(isSeen).map((pair) => pair.dataset.point)];
  if (!sending) sendKept();
}

/** What cannot be kept now goes with the next: nothing is asked of the reader. */
async function sendKept() {
  sending = true;
  while (waiting) {
    const [url, points] = waiting;
    waiting = null;
    try {
      await send("PUT", url, JSON.stringify({ points }), { "Content-Type": "application/json" });
    } catch { break; }
  }
  sending = false;
}

function mark(pair, seen) {
  pair.classList.toggle("pair-is-seen", seen);
  pair.querySelector(".pair-seen").hidden = !seen;
}

/** One pair is seen, or is not after all. Gives back the next one that is not. */
export function toggleSeen(pair) {
  mark(pair, !isSeen(pair));
  tell();
  keep();
  const all = pairs();
  return isSeen(pair) ? all.slice(all.indexOf(pair) + 1).find((each) => !isSeen(each)) : null;
}

/** Whether its pictures are; one that is taller than the screen once it begins at the top. */
function isOnScreen(pair) {
  const box = pair.querySelector(".pair-shots").getBoundingClientRect();
  const top = document.querySelector("[data-reading-bar]").getBoundingClientRect().bottom;
  if (box.height > innerHeight - top) return box.top < innerHeight / 3 && box.bottom > top;
  return box.bottom <= innerHeight + 2 && box.top >= Math.max(0, top) - box.height / 2;
}

/** The pairs on the screen are seen; the first of the next ones comes to its top, and is given
    back; after the last pair nothing does. False where no pair is on the screen, so that the key
    does what it does anywhere. */
export function seeScreen() {
  const here = pairs().filter(isOnScreen);
  if (!here.length) return false;
  here.forEach((pair) => mark(pair, true));
  tell();
  keep();
  const all = pairs();
  const next = all[all.indexOf(here.at(-1)) + 1];
  next?.scrollIntoView({ block: "start", behavior: "instant" });
  return next;
}

/** The pair that an arrow key leads to: beside it in reading order, above or below by place. */
export function pairBy(key, from) {
  const all = pairs();
  const at = all.indexOf(from);
  if (at < 0) return all[0];
  if (key === "ArrowRight" || key === "ArrowLeft") return all[at + (key === "ArrowRight" ? 1 : -1)];
  const box = from.getBoundingClientRect();
  const down = key === "ArrowDown" ? 1 : -1;
  const beyond = all.map((pair) => [pair, pair.getBoundingClientRect()])
    .filter(([, other]) => down * (other.top - box.top) > 2);
  const score = ([, other]) => Math.abs(other.top - box.top) * 4 + Math.abs(other.left - box.left);
  return beyond.sort((one, two) => score(one) - score(two))[0]?.[0];
}

/** A gauge that the machine did not find leaves words in its place. */
function tellNoGauge(image) {
  const words = document.createElement("span");
  words.className = "soft";
  words.textContent = "No gauge found: look in the photo";
  image.replaceWith(words);
}

export function beginSheet() {
  document.querySelectorAll("[data-gauge-image]").forEach((image) => {
    if (image.complete && !image.naturalWidth && image.currentSrc) tellNoGauge(image);
    else image.addEventListener("error", () => tellNoGauge(image), { once: true });
  });
  const labels = JSON.parse(document.getElementById("points-seen").textContent);
  if (!labels.length) return;
  pairs().forEach((pair) => mark(pair, labels.includes(pair.dataset.point)));
  tell();
}
