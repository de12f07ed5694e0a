// By mouse: press and drag. By finger: hold for a moment, then drag; a finger that moves at once
// scrolls as ever. A press without a drag opens the visit, as a link does.
import {
  QUARTER, needInHand, rowOf, stepAt, trackAt, visitInHand,
} from "./planning_board.js";
import { drop, inHand, leave, moveTo, pickUp } from "./planning_move.js";

const HOLD_MS = 380;
const SLACK_PX = 6;
const EDGE_PX = 48;
let press = null; // { thing, x, y, grip, touch, timer, dragging, id }

export function listenToPointer() {
  document.addEventListener("pointerdown", begin);
  document.addEventListener("pointermove", move);
  document.addEventListener("pointerup", end);
  document.addEventListener("pointercancel", cancel);
  document.addEventListener("click", swallow, true);
  // A held finger must not scroll: only a listener that may say no can stop that.
  document.addEventListener("touchmove", hold, { passive: false });
  document.addEventListener("contextmenu", (event) => {
    if (press?.touch) event.preventDefault();
  });
  document.addEventListener("dragstart", (event) => {
    if (event.target.closest?.(".block, .need")) event.preventDefault();
  });
}

function begin(event) {
  if (event.button !== 0 || !event.isPrimary) return;
  const link = event.target.closest(".block > a");
  const card = event.target.closest(".need");
  const control = event.target.closest("a, button, summary, input, select");
  if (!link && (!card || control)) return;
  const thing = link ? visitInHand(link) : needInHand(card);
  press = {
    thing,
    x: event.clientX,
    y: event.clientY,
    grip: link ? stepAt(link.closest(".track"), event.clientX) - thing.from.step : 0,
    touch: event.pointerType !== "mouse",
    dragging: false,
    id: event.pointerId,
  };
  if (press.touch) press.timer = setTimeout(lift, HOLD_MS);
}

function lift() {
  if (!press || press.dragging) return;
  if (!pickUp(press.thing, { byHand: true })) return forget();
  press.dragging = true;
  document.body.classList.add("is-dragging");
  if (press.touch) navigator.vibrate?.(12);
}

function move(event) {
  if (!press || event.pointerId !== press.id) return;
  const far = Math.hypot(event.clientX - press.x, event.clientY - press.y) > SLACK_PX;
  if (!press.dragging) {
    if (!far) return;
    if (press.touch) return forget(); // it scrolls
    lift();
    if (!press) return;
  }
  event.preventDefault();
  follow(event.clientX, event.clientY);
}

function follow(x, y) {
  scrollAtEdge(x, y);
  const track = trackAt(x, y);
  if (!track || !inHand()) return;
  const step = Math.round((stepAt(track, x) - press.grip) / QUARTER) * QUARTER;
  moveTo({ crew: Number(rowOf(track).dataset.crew), day: track.dataset.day, step });
}

function scrollAtEdge(x, y) {
  const frame = document.querySelector(".board-frame");
  const box = frame.getBoundingClientRect();
  if (x > box.right - EDGE_PX) frame.scrollLeft += 16;
  if (x < box.left + EDGE_PX) frame.scrollLeft -= 16;
  if (y > Math.min(box.bottom, window.innerHeight) - EDGE_PX) frame.scrollTop += 12;
  if (y < box.top + EDGE_PX) frame.scrollTop -= 12;
  if (y > window.innerHeight - EDGE_PX) window.scrollBy(0, 12);
  if (y < EDGE_PX) window.scrollBy(0, -12);
}

async function end(event) {
  if (!press || event.pointerId !== press.id) return;
  const dragged = press.dragging;
  const over = trackAt(event.clientX, event.clientY);
  forget();
  if (!dragged) return;
  swallowing = true;
  setTimeout(() => (swallowing = false), 0);
  if (over) await drop();
  else leave();
}

function cancel() {
  const dragged = press?.dragging;
  forget();
  if (dragged) leave();
}

function hold(event) {
  if (press?.dragging && event.cancelable) event.preventDefault();
}

function forget() {
  clearTimeout(press?.timer);
  press = null;
  document.body.classList.remove("is-dragging");
}

// The click that a browser makes of the end of a drag is not a click.
let swallowing = false;
function swallow(event) {
  if (!swallowing) return;
  swallowing = false;
  event.preventDefault();
  event.stopPropagation();
}
