// Begins what an on-site page needs. Every page can be read and sent without any of it.
import { beginBar } from "./bar.js";
import { beginClock } from "./clock.js";
import { beginDrawing } from "./drawing.js";
import { beginForms } from "./forms.js";
import { beginKeeping } from "./keeping.js";
import { beginList } from "./list.js";
import { beginNeeded } from "./needed.js";
import { beginOverlay } from "./overlay.js";
import { beginPhotos } from "./photos.js";
import { beginPoints } from "./points.js";
import { beginPosition } from "./position.js";
import { beginReadings } from "./readings.js";
import { beginSignatures } from "./signature.js";

document.documentElement.classList.add("scripted");

// The phone's clock beside a form that is sent in the plain way.
document.addEventListener("submit", (event) => {
  const field = event.target.matches("[data-phone-clock]") && event.target.elements.phone_at;
  if (field) field.value = new Date().toISOString();
}, true);

// A refused form (422) that htmx sent is shown in its place like any other answer.
document.addEventListener("htmx:beforeSwap", (event) => {
  if (event.detail.xhr.status === 422) {
    event.detail.shouldSwap = true;
    event.detail.isError = false;
  }
});

const person = document.body.dataset.person || "";
beginSignatures();
beginPosition();
beginDrawing();
let shown = [];
if (person && "indexedDB" in window) {
  beginNeeded();
  beginPhotos(person);
  shown = [
    beginForms(person),
    beginBar(person),
    beginClock(),
    beginOverlay(person),
    beginPoints(person),
    beginReadings(person),
    beginList(person),
  ];
  beginKeeping(person);
}
// What this phone adds to the page has its place: nothing moves under a finger from here on.
Promise.allSettled(shown).then(() => {
  document.documentElement.dataset.ready = "yes";
  performance.mark("ready"); // benchmarks/on_site_load.py reads it
});
