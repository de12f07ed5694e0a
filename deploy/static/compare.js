// Before and after on one stage: zoom and pan of both together, a slider, flipping, keys, swipe.
// The page works without it; it only joins what is there. Keys act while the comparison has focus.

const MOST = 8;
const STEP = 1.5;
const SWIPE_PX = 60;
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

/** What outlives a step to the next point: how the photos are shown. */
const look = { mode: "side", face: "after", slide: 50 };

export function begin(root) {
  const part = root.querySelector("[data-compare]:not([data-ready])");
  if (!part) return;
  part.dataset.ready = "";
  const stage = part.querySelector("[data-compare-stage]");
  const slider = part.querySelector("[data-compare-slider]");
  const range = slider.querySelector("input");
  const state = part.querySelector("[data-zoom-state]");
  const view = { scale: 1, x: 0, y: 0 }; // x, y: shift in shares of the frame's width and height

  part.querySelector("[data-compare-tools]").hidden = false;
  part.querySelector("[data-compare-keys]").hidden = false;
  stage.tabIndex = 0;
  stage.setAttribute("role", "group");
  stage.setAttribute("aria-label", "Before and after. Arrow keys for the next point, plus and minus to zoom.");

  function draw() {
    view.scale = clamp(view.scale, 1, MOST);
    view.x = clamp(view.x, 1 - view.scale, 0);
    view.y = clamp(view.y, 1 - view.scale, 0);
    part.querySelectorAll(".compare-frame img").forEach((image) => {
      image.style.transform =
        `translate(${100 * view.x}%, ${100 * view.y}%) scale(${view.scale})`;
    });
    stage.toggleAttribute("data-zoomed", view.scale > 1);
    state.textContent = Math.round(100 * view.scale) + "%";
    stage.dataset.mode = look.mode;
    stage.dataset.face = look.face;
    slider.hidden = look.mode !== "slide";
    range.value = String(look.slide);
    const after = part.querySelector('[data-shot="after"]');
    after.style.clipPath = look.mode === "slide" ? `inset(0 0 0 ${100 - look.slide}%)` : "none";
    part.querySelectorAll("[data-mode-button]").forEach((button) => {
      button.setAttribute("aria-pressed", String(button.dataset.modeButton === look.mode));
    });
  }

  /** Zooms by a factor about a place given in shares of the frame. */
  function zoom(factor, atX = 0.5, atY = 0.5) {
    const scale = clamp(view.scale * factor, 1, MOST);
    const grown = scale / view.scale;
    view.x = atX - (atX - view.x) * grown;
    view.y = atY - (atY - view.y) * grown;
    view.scale = scale;
    draw();
  }

  function fit() {
    Object.assign(view, { scale: 1, x: 0, y: 0 });
    draw();
  }

  function go(way) {
    const link = part.querySelector(`.compare-steps a[rel="${way}"]`);
    if (link) show(link.href, true);
  }

  function flip(face) {
    look.mode = "flip";
    look.face = face;
    draw();
  }

  // ---- Keys ------------------------------------------------------------------------------
  part.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target === range) return;
    const acts = {
      ArrowRight: () => go("next"), ArrowLeft: () => go("prev"),
      "+": () => zoom(STEP), "=": () => zoom(STEP), "-": () => zoom(1 / STEP), 0: fit,
      b: () => flip("before"), a: () => flip("after"),
      s: () => { look.mode = look.mode === "slide" ? "side" : "slide"; draw(); },
    };
    const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });

  part.addEventListener("click", (event) => {
    const mode = event.target.closest("[data-mode-button]");
    const button = event.target.closest("[data-zoom]");
    const link = event.target.closest("a.compare-point, .compare-steps a");
    if (mode) { look.mode = mode.dataset.modeButton; draw(); }
    if (button) ({ in: () => zoom(STEP), out: () => zoom(1 / STEP), fit })[button.dataset.zoom]();
    if (link && !event.ctrlKey && !event.metaKey && !event.shiftKey) {
      event.preventDefault();
      show(link.href, false);
    }
  });
  range.addEventListener("input", () => { look.slide = Number(range.value); draw(); });

  // ---- Fingers and mouse -----------------------------------------------------------------
  const down = new Map();
  let began = null;
  let apart = 0;

  function shares(event) {
    const box = (event.target.closest(".compare-frame") || stage).getBoundingClientRect();
    return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height, box];
  }

  stage.addEventListener("pointerdown", (event) => {
    down.set(event.pointerId, event);
    if (down.size === 1) {
      began = { x: event.clientX, y: event.clientY, viewX: view.x, viewY: view.y, box: shares(event)[2] };
      if (view.scale > 1) stage.setPointerCapture(event.pointerId);
    } else {
      began = null;
      apart = distance();
    }
  });
  stage.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) return;
    down.set(event.pointerId, event);
    if (down.size === 2) {
      const now = distance();
      if (apart) zoom(now / apart);
      apart = now;
    } else if (began && view.scale > 1) {
      view.x = began.viewX + (event.clientX - began.x) / began.box.width;
      view.y = began.viewY + (event.clientY - began.y) / began.box.height;
      draw();
    } else if (began && look.mode === "slide") {
      look.slide = clamp(100 * (1 - shares(event)[0]), 0, 100);
      draw();
    }
  });
  for (const name of ["pointerup", "pointercancel"]) {
    stage.addEventListener(name, (event) => {
      const from = began;
      down.delete(event.pointerId);
      began = null;
      if (!from || name === "pointercancel" || view.scale > 1 || look.mode === "slide") return;
      const [dx, dy] = [event.clientX - from.x, event.clientY - from.y];
      if (Math.abs(dx) > SWIPE_PX && Math.abs(dx) > 2 * Math.abs(dy)) go(dx < 0 ? "next" : "prev");
    });
  }
  const distance = () => {
    const [one, two] = [...down.values()];
    return Math.hypot(one.clientX - two.clientX, one.clientY - two.clientY);
  };
  stage.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && view.scale === 1) return; // the page scrolls
    event.preventDefault();
    const [x, y] = shares(event);
    zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, x, y);
  }, { passive: false });
  stage.addEventListener("dblclick", (event) => {
    const [x, y] = shares(event);
    if (view.scale > 1) fit(); else zoom(2.5, x, y);
  });

  draw();
}

/** Another point in the same place, and in the history; a plain visit where that fails. */
async function show(address, onStage, remember = true) {
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" } });
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const next = page.querySelector("[data-compare]");
    if (!answer.ok || answer.redirected || !next) throw new Error("not a comparison");
    document.querySelector("[data-compare]").replaceWith(next);
    if (remember) history.pushState({}, "", address);
  } catch {
    location.assign(address);
    return;
  }
  begin(document);
  const target = onStage ? "[data-compare-stage]" : ".compare-point[aria-current]";
  document.querySelector(target).focus({ preventScroll: true });
}

/** The arrows step from point to point before anything has focus; characters need it. */
function stepWithoutFocus(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.shiftKey) return;
  if (event.target !== document.body) return;
  const way = { ArrowRight: "next", ArrowLeft: "prev" }[event.key];
  const link = way && document.querySelector(`.compare-steps a[rel="${way}"]`);
  if (link) show(link.href, true);
}

if (document.querySelector("[data-compare]")) {
  addEventListener("keydown", stepWithoutFocus);
  addEventListener("popstate", () => show(location.href, true, false));
  begin(document);
}
