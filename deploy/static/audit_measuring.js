// Measuring again: a touch on the drawing leads to the nearest place, and tells where it was.
import { circle, planOf } from "./on_site/drawing.js";

const NEAR_MM = 600;
const svg = document.querySelector("[data-measure-drawing] svg");
const form = document.querySelector("[data-measure-form]");
const plan = svg && planOf(svg);

function mark(x, y) {
  svg.querySelectorAll(".touch-here").forEach((old) => old.remove());
  circle(svg, plan.toSheet(x, y), 9, "touch-here");
}

function nearest(x, y) {
  const places = [...form.querySelectorAll(".measure-row")].map((row) => ({
    row, away: Math.hypot(Number(row.dataset.x) - x, Number(row.dataset.y) - y),
  }));
  return places.sort((one, two) => one.away - two.away)[0];
}

if (plan && form) {
  svg.addEventListener("click", (event) => {
    const point = new DOMPoint(event.clientX, event.clientY);
    const at = point.matrixTransform(svg.getScreenCTM().inverse());
    const [x, y] = plan.toMm(at.x, at.y);
    const found = nearest(x, y);
    const field = (name) => found?.row.querySelector(`input[name^="${name}_"]`);
    if (!field("depth")) return;
    if (found.away <= NEAR_MM) {
      field("x").value = Math.round(x);
      field("y").value = Math.round(y);
    }
    mark(Number(found.row.dataset.x), Number(found.row.dataset.y));
    const folded = found.row.querySelector("details");
    if (folded) folded.open = true;
    field("depth").focus({ preventScroll: true });
    found.row.scrollIntoView({ block: "center" });
  });
  form.addEventListener("focusin", (event) => {
    const row = event.target.closest(".measure-row");
    if (row) mark(Number(row.dataset.x), Number(row.dataset.y));
  });
}
