// Readings on the drawing: a touch becomes a place in millimetres, a place a ring.
const SVG = "http://www.w3.org/2000/svg";

/** How a drawing's sheet and the loft's millimetres belong together, or null. */
export function planOf(svg) {
  const numbers = (svg.dataset.plan || "").split(" ").map(Number);
  if (numbers.length !== 5 || numbers.some(Number.isNaN)) return null;
  const [left, top, lowX, highY, scale] = numbers;
  return {
    toMm: (x, y) => [lowX + (x - left) / scale, highY - (y - top) / scale],
    toSheet: (x, y) => [left + (x - lowX) * scale, top + (highY - y) * scale],
  };
}

export function circle(svg, at, radius, name) {
  const ring = document.createElementNS(SVG, "circle");
  ring.setAttribute("cx", at[0]);
  ring.setAttribute("cy", at[1]);
  ring.setAttribute("r", radius);
  ring.setAttribute("class", name);
  svg.append(ring);
}

export function square(svg, at, half, name) {
  const box = document.createElementNS(SVG, "rect");
  box.setAttribute("x", at[0] - half);
  box.setAttribute("y", at[1] - half);
  box.setAttribute("width", 2 * half);
  box.setAttribute("height", 2 * half);
  box.setAttribute("class", name);
  svg.append(box);
}

export function drawWanted(svg, plan, places) {
  svg.querySelectorAll(".touch-wanted").forEach((old) => old.remove());
  places.forEach((place) => circle(svg, plan.toSheet(place.x, place.y), 7, "touch-wanted"));
}

function showWanted(root) {
  root.querySelectorAll("[data-touch-drawing]:not([data-drawn])").forEach((frame) => {
    frame.dataset.drawn = "";
    const svg = frame.querySelector("svg");
    const plan = svg && planOf(svg);
    if (!plan) return;
    drawWanted(svg, plan, JSON.parse(frame.dataset.wanted || "[]"));
    const form = document.querySelector(".reading-form");
    if (form && form.elements.x_mm && form.elements.x_mm.value) mark(svg, plan, form);
  });
}

function mark(svg, plan, form) {
  unmark(svg);
  const at = plan.toSheet(Number(form.elements.x_mm.value), Number(form.elements.y_mm.value));
  circle(svg, at, 9, "touch-here");
  circle(svg, at, 3, "touch-here-wool");
}

function unmark(svg) {
  svg.querySelectorAll(".touch-here, .touch-here-wool").forEach((old) => old.remove());
}

function choose(x, y, area) {
  const form = document.querySelector(".reading-form");
  const svg = document.querySelector("[data-touch-drawing] svg");
  form.elements.x_mm.value = Math.round(x);
  form.elements.y_mm.value = Math.round(y);
  form.elements.area.value = area || "";
  form.querySelector("[data-reading-place]").textContent =
    "Place: " + (x / 1000).toFixed(2) + " m from the left, " + (y / 1000).toFixed(2) +
    " m from the bottom";
  const plan = svg && planOf(svg);
  if (plan) mark(svg, plan, form);
  form.elements.depth_mm.focus({ preventScroll: true });
  form.scrollIntoView({ block: "center" });
}

export function beginDrawing() {
  showWanted(document);
  document.addEventListener("htmx:afterSettle", () => showWanted(document));
  document.addEventListener("record-stored", (event) => {
    const form = event.target.closest(".reading-form");
    const svg = document.querySelector("[data-touch-drawing] svg");
    if (!form) return;
    if (svg) unmark(svg);
    ["x_mm", "y_mm", "area"].forEach((name) => { form.elements[name].value = ""; });
    form.querySelector("[data-reading-place]").textContent = "No place chosen yet";
  });
  document.addEventListener("click", (event) => {
    const wanted = event.target.closest("[data-place]");
    if (wanted) {
      event.preventDefault();
      choose(Number(wanted.dataset.x), Number(wanted.dataset.y), wanted.dataset.area);
      return;
    }
    const svg = event.target.closest("[data-touch-drawing] svg");
    const plan = svg && planOf(svg);
    if (!plan) return;
    const point = new DOMPoint(event.clientX, event.clientY);
    const at = point.matrixTransform(svg.getScreenCTM().inverse());
    choose(...plan.toMm(at.x, at.y), "");
  });
}
