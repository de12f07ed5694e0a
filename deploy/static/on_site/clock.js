// The phone's clock against the office's: told when it is off, never trusted by itself.
import { listen } from "./channel.js";
import { note } from "./store.js";

const TOLD_FROM_MS = 2 * 60 * 1000;

export function clockWords(offset_ms) {
  const minutes = Math.round(Math.abs(offset_ms) / 60000);
  if (Math.abs(offset_ms) < TOLD_FROM_MS) return "";
  const hours = Math.floor(minutes / 60);
  const rest = minutes % 60;
  const parts = [hours ? hours + " h" : "", rest || !hours ? rest + " min" : ""].filter(Boolean);
  const way = offset_ms < 0 ? "ahead" : "behind";
  return "This phone's clock is " + parts.join(" ") + " " + way + ". The office corrects the times by that.";
}

/** Office time minus phone time, as far as this phone has learnt it. */
export async function clockOffset() {
  const learnt = await note("clock");
  return learnt ? learnt.offset_ms : 0;
}

export async function beginClock() {
  const place = document.querySelector("[data-clock-warning]");
  if (!place) return;
  const show = async () => {
    const words = clockWords(await clockOffset());
    place.textContent = words;
    place.hidden = !words;
  };
  listen((message) => {
    if (message.what === "office") show();
  });
  await show();
}
