// The contact sheet of a drawn job: from pair to pair by the arrows, what was seen, screen by
// screen. What was seen is kept for this tab alone: it helps the reader, and proves nothing.

const page = () => document.querySelector("[data-reading-page]");
export const pairs = () => [...document.querySelectorAll("[data-sheet] .pair")];
const kept = () => `eavesbook-seen-${page().dataset.readingPage}`;
const isSeen = (pair) => pair.classList.contains("pair-is-seen");

export const unseen = () => pairs().filter((pair) => !isSeen(pair));

function tell() {
  const all = pairs();
  const seen = all.filter(isSeen);
  const told = document.querySelector("[data-seen-told]");
  told.hidden = !seen.length;
  told.textContent = `${seen.length} of ${all.length} points seen`;
  try {
    sessionStorage.setItem(kept(), JSON.stringify(seen.map((pair) => pair.dataset.point)));
  } catch { /* for this page alone */ }
}

function mark(pair, seen) {
  pair.classList.toggle("pair-is-seen", seen);
  pair.querySelector(".pair-seen").hidden = !seen;
}

/** One pair is seen, or is not after all. Gives back the next one that is not. */
export function toggleSeen(pair) {
  mark(pair, !isSeen(pair));
  tell();
  const all = pairs();
  return isSeen(pair) ? all.slice(all.indexOf(pair) + 1).find((each) => !isSeen(each)) : null;
}

function isOnScreen(pair) {
  const box = pair.querySelector(".pair-shots").getBoundingClientRect();
  const top = document.querySelector("[data-reading-bar]").getBoundingClientRect().bottom;
  return box.bottom <= innerHeight + 2 && box.top >= Math.max(0, top) - box.height / 2;
}

/** The pairs on the screen are seen; the first of the next ones comes to its top. False where no
    pair is on the screen, so that the key does what it does anywhere. */
export function seeScreen() {
  const here = pairs().filter(isOnScreen);
  if (!here.length) return false;
  here.forEach((pair) => mark(pair, true));
  tell();
  const all = pairs();
  const next = all[all.indexOf(here.at(-1)) + 1];
  const target = next || document.getElementById("verdict");
  target?.scrollIntoView({ block: "start", behavior: "instant" });
  return true;
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
  let labels = [];
  try { labels = JSON.parse(sessionStorage.getItem(kept()) || "[]"); } catch { /* none are */ }
  if (!labels.length) return;
  pairs().forEach((pair) => mark(pair, labels.includes(pair.dataset.point)));
  tell();
}
