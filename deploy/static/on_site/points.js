// On the page of photo points: the photos of this phone with where they are, and the office's own
// list once everything has arrived.
import { listen } from "./channel.js";
import { isChoosing } from "./photos.js";
import { isUnsent, ofPerson } from "./store.js";
import { hasArrived, stateOf, thumbOf } from "./words.js";

const LOOKS_AGAIN_MS = 2500;
const MOST_LOOKS = 10;

export async function beginPoints(person) {
  const list = () => document.querySelector("[data-photos]");
  if (!list()) return;
  let looks = 0;
  let timer = null;
  const mine = async () => {
    const { visit, moment } = list().dataset;
    return (await ofPerson(person)).filter(
      (item) => item.type === "photo" && item.visit === visit && item.moment === moment
    );
  };

  async function show() {
    const items = await mine();
    document.querySelectorAll("[data-photos] [data-point]").forEach((point) => {
      fillPoint(point, items.filter((item) => item.point === point.dataset.point && isShown(item)));
    });
    tellMissing(items);
  }

  const isBusy = () => isChoosing() || Boolean(document.querySelector("[data-photos] [data-unkept]"));
  const isShown = (item) => item.state !== "given-up" && !hasArrived(item);

  /** The office's list when nothing waits; again while the office still looks at a photo. */
  function refreshSoon(ms) {
    clearTimeout(timer);
    timer = setTimeout(async () => {
      if (isBusy()) return refreshSoon(LOOKS_AGAIN_MS);
      if (!window.htmx || !list() || (await mine()).some(isUnsent)) return;
      await refreshPage("photo-points", isBusy);
      show();
      if (list() && list().hasAttribute("data-waiting") && looks++ < MOST_LOOKS) refreshSoon(LOOKS_AGAIN_MS);
    }, ms);
  }

  listen((message) => {
    if (message.what !== "queue") return;
    show();
    if (message.state === "safe") refreshSoon(600);
  });
  if (list().hasAttribute("data-waiting")) refreshSoon(LOOKS_AGAIN_MS);
  await show();
}

/**
 * Takes a part of this page anew from the office, and the bar at the bottom with it; not when
 * somebody is busy with it by the time the answer comes.
 */
export async function refreshPage(id, isBusy) {
  const answered = (event) => {
    event.detail.shouldSwap &&= !isBusy();
    if (!event.detail.shouldSwap) return;
    const made = /data-made-at="([^"]+)"/.exec(event.detail.xhr.responseText || "");
    if (made) document.body.dataset.madeAt = made[1];
  };
  document.addEventListener("htmx:beforeSwap", answered, { once: true });
  try {
    await window.htmx.ajax("GET", location.pathname, {
      target: "#" + id, select: "#" + id, swap: "outerHTML", selectOOB: "#action-bar",
    });
  } finally {
    document.removeEventListener("htmx:beforeSwap", answered);
  }
}

function fillPoint(point, items) {
  const rows = point.querySelector(".sending");
  rows.querySelectorAll("li:not([data-unkept])").forEach((row) => {
    if (!items.some((item) => item.id === row.dataset.item)) row.remove();
  });
  for (const item of items) {
    let row = rows.querySelector('[data-item="' + item.id + '"]');
    if (!row) {
      row = document.createElement("li");
      row.dataset.item = item.id;
      const words = document.createElement("p");
      words.className = "phone-words";
      row.append(words);
      rows.append(row);
    }
    const thumb = thumbOf(item);
    if (thumb && !row.querySelector("img")) row.prepend(thumb);
    row.dataset.state = item.state;
    row.querySelector(".phone-words").textContent = stateOf(item);
  }
  if (items.some((item) => item.state !== "refused")) point.classList.add("point-done");
}

/** The bar at the bottom counts photos of this phone as taken. */
function tellMissing(items) {
  const action = document.querySelector("#action-bar .button-big");
  const points = Array.from(document.querySelectorAll("[data-photos] [data-point]"));
  const wanted = points.filter((point) => point.dataset.point);
  if (!action || !wanted.length || !items.some((item) => !hasArrived(item))) return;
  const missing = wanted.filter((point) => !point.classList.contains("point-done")).length;
  action.textContent = missing ? "Back: " + missing + (missing > 1 ? " points" : " point") + " missing" : "Go on";
}
