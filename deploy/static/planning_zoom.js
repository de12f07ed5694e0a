// How long an hour is drawn: as many days as are shown fit the width, or wider, by steps. A phone
// or a planner who likes room keeps its own choice.

const STEPS = [1, 1.5, 2, 3];
const KEPT = "planning-zoom";

export function listenToZoom() {
  const place = document.getElementById("span-zoom");
  if (!place) return;
  place.hidden = false;
  let at = Math.max(0, STEPS.indexOf(Number(read())));
  const draw = () => {
    document.getElementById("board").style.setProperty("--zoom", STEPS[at]);
    place.querySelector("[data-zoom='narrower']").disabled = at === 0;
    place.querySelector("[data-zoom='wider']").disabled = at === STEPS.length - 1;
  };
  place.addEventListener("click", ({ target }) => {
    const way = target.closest("[data-zoom]")?.dataset.zoom;
    if (!way) return;
    at = Math.min(STEPS.length - 1, Math.max(0, at + (way === "wider" ? 1 : -1)));
    keep(STEPS[at]);
    draw();
  });
  draw();
}

function read() {
  try {
    return localStorage.getItem(KEPT) || 1;
  } catch {
    return 1;
  }
}

function keep(zoom) {
  try {
    localStorage.setItem(KEPT, zoom);
  } catch {
    // Not kept: the page shows it all the same.
  }
}
