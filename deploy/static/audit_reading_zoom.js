// A pair of photos over the whole window, with the zoom, slider and keys of the comparison.
import { begin } from "./compare.js";

const dialog = document.getElementById("zoom");
const template = document.getElementById("zoom-stage");
let shown = null;
let told = () => {};

export const isZoomed = () => dialog.open;
const pairs = () => [...document.querySelectorAll(".pair")].filter(hasPictures);
const hasPictures = (pair) => pair.querySelector("[data-display]");

/** Shows the pair of an article; its neighbours follow by the arrow keys. */
export function zoomPair(pair) {
  if (!pair || !hasPictures(pair)) return;
  shown = pair;
  told(pair);
  const stage = template.content.cloneNode(true);
  stage.querySelector("[data-zoom-name]").textContent = pair.getAttribute("aria-label");
  for (const word of ["before", "after"]) fill(stage, pair, word);
  fillGauge(stage.querySelector("[data-zoom-gauge]"), pair.querySelector("[data-gauge]"));
  dialog.replaceChildren(stage);
  if (!dialog.open) dialog.showModal();
  begin(dialog);
  dialog.querySelector("[data-compare-stage]").focus();
}

function fill(stage, pair, word) {
  const frame = stage.querySelector(`[data-shot="${word}"] .compare-frame`);
  const shot = pair.querySelector(`[data-shot-of="${word}"][data-display]`);
  if (!shot) {
    const none = document.createElement("p");
    none.className = "compare-none";
    none.textContent = `No ${word} photo`;
    return frame.append(none);
  }
  // The small picture is there at once; the large one takes its place when it has come.
  const image = document.createElement("img");
  const large = new Image();
  image.src = shot.querySelector("img")?.currentSrc || shot.dataset.display;
  large.src = shot.dataset.display;
  large.decode().then(() => { image.src = large.src; }, () => { image.src = large.src; });
  image.alt = shot.querySelector("img")?.alt || "";
  image.draggable = false;
  return frame.append(image);
}

/** The gauge beside the photos, with the depth that was recorded; not where none was found. */
function fillGauge(place, gauge) {
  const image = gauge?.querySelector("img");
  if (!image) return;
  place.hidden = false;
  place.querySelector("img").src = image.src;
  const told = gauge.querySelector("figcaption").textContent.trim();
  place.querySelector("figcaption").textContent = `Recorded nearest to this point: ${told}`;
}

function neighbour(by) {
  const all = pairs();
  zoomPair(all[(all.indexOf(shown) + by + all.length) % all.length]);
}

/** chosen: is told which pair is shown. */
export function beginZoom(chosen) {
  told = chosen;
  dialog.addEventListener("keydown", (event) => {
    const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!by || event.target.matches("input[type=range]")) return;
    event.preventDefault();
    event.stopPropagation();
    neighbour(by);
  }, true);
  dialog.addEventListener("click", (event) => {
    if (event.target.closest("[data-zoom-close]")) dialog.close();
  });
  // The browser tells it a moment later: whoever has begun a finding by then keeps the focus there.
  dialog.addEventListener("close", () => {
    if (!shown || document.activeElement?.closest("[data-finding-form]")) return;
    shown.focus({ preventScroll: true });
    shown.scrollIntoView({ block: "nearest", behavior: "instant" });
  });
}
