// A photo goes from the camera into the queue at once, its bytes and their SHA-256 with it; the
// small picture to show is made after that.
import { newKey, sha256Hex } from "./hash.js";
import { askToPersist, sendNow } from "./keeping.js";
import { add, change, ofPerson } from "./store.js";
import { sameElsewhere, whereOfPage } from "./words.js";

const THUMB_PX = 320;
const CHOOSES_AT_MOST_MS = 120_000;

let keeping = 0;
let chooses_until = 0;

/** Whether the camera or a file chooser is open: then no part of the page may be taken anew. */
export const isChoosing = () => Date.now() < chooses_until;

export function beginPhotos(person) {
  window.addEventListener("beforeunload", (event) => {
    if (keeping) event.preventDefault(); // a photo that is not in the queue yet would be lost
  });
  document.addEventListener("click", (event) => {
    if (event.target.type !== "file" || !placeOf(event.target)) return;
    chooses_until = Date.now() + CHOOSES_AT_MOST_MS;
    listenTo(event.target, person);
  }, true);
  document.addEventListener("change", (event) => {
    if (event.target.type === "file" && !("listens" in event.target.dataset)) take(event.target, person);
  });
}

/** The input tells what was chosen by itself: it may have left the page while the camera was open. */
function listenTo(input, person) {
  if ("listens" in input.dataset) return;
  input.dataset.listens = "";
  const place = placeOf(input);
  input.addEventListener("change", () => take(input, person, place));
  input.addEventListener("cancel", () => { chooses_until = 0; });
}

function placeOf(input) {
  const points = input.closest("[data-photos]");
  const point = input.closest("[data-point]");
  return points && point ? { points, point } : null;
}

function take(input, person, place = placeOf(input)) {
  chooses_until = 0;
  if (!place) return;
  const files = Array.from(input.files);
  input.value = "";
  keepAll(files, place.points, place.point, person);
}

let last = Promise.resolve();

/** One after the other: what is chosen twice in a hurry is known the second time. */
function keepAll(files, points, point, person) {
  const row = showUnkept(point, null, "Keeping it on this phone");
  keeping += files.length;
  const work = () => keepEach(files, points, point, person);
  last = last.then(work, work).finally(() => row.remove());
}

async function keepEach(files, points, point, person) {
  for (const file of files) {
    try {
      await keep(file, points, point, person);
    } catch (error) {
      console.error(error);
      showUnkept(point, file, "This phone could not keep it. Make room on the phone, then take it again.");
    } finally {
      keeping -= 1;
    }
  }
  sendNow();
}

async function keep(file, points, point, person) {
  if (!file.size) return showUnkept(point, null, file.name + " is empty. Take the photo again.");
  const buffer = await file.arrayBuffer();
  const item = {
    id: newKey(),
    type: "photo",
    person,
    visit: points.dataset.visit,
    kind: "photo",
    step: points.dataset.step || points.dataset.moment,
    words: "Photo",
    moment: points.dataset.moment,
    point: point.dataset.point,
    where: whereOfPage(),
    page: location.pathname,
    phone_at: new Date().toISOString(),
    taken_at: file.lastModified ? new Date(file.lastModified).toISOString() : "",
    filename: file.name,
    filetype: file.type,
    size: file.size,
    sha256: await sha256Hex(buffer),
    more: moreOf(point),
  };
  const same = await sameAs(item);
  if (same) {
    const isHere = same.moment === item.moment && same.point === item.point;
    const words = isHere ? " is this very photo again. It is kept once." : ": " + sameElsewhere(same);
    return showUnkept(point, null, file.name + words);
  }
  const bytes = new Blob([buffer], { type: file.type });
  await add(item, bytes);
  askToPersist();
  smallPicture(bytes).then((thumb) => thumb && change(item.id, { thumb }));
}

/** The photo of this visit in the queue that has the same bytes. */
async function sameAs(item) {
  const isSame = (other) =>
    other.type === "photo" && item.sha256 && other.sha256 === item.sha256 &&
    other.visit === item.visit && !["given-up", "refused"].includes(other.state);
  return (await ofPerson(item.person)).find(isSame);
}

function moreOf(point) {
  const fields = point.querySelectorAll("[data-photo-field][name]");
  return Object.fromEntries(Array.from(fields, (field) => [field.name, field.value]));
}

/** A JPEG of at most THUMB_PX, or null where the browser can't read the format. */
async function smallPicture(bytes) {
  try {
    const picture = await createImageBitmap(bytes, { resizeWidth: THUMB_PX, resizeQuality: "medium" });
    const canvas = document.createElement("canvas");
    canvas.width = picture.width;
    canvas.height = picture.height;
    canvas.getContext("2d").drawImage(picture, 0, 0);
    picture.close();
    return await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.7));
  } catch {
    return null;
  }
}

/** A row beside the queue's own; with a file, the way to rescue it. */
function showUnkept(point, file, why) {
  const row = document.createElement("li");
  if (!why.startsWith("Keeping")) row.className = "sending-failed";
  row.dataset.unkept = "";
  const words = document.createElement("p");
  words.textContent = why;
  row.append(words);
  if (file) {
    const save = document.createElement("a");
    save.className = "button";
    save.href = URL.createObjectURL(file);
    save.download = file.name;
    save.textContent = "Save it on the phone";
    row.append(save);
  }
  point.querySelector(".sending").append(row);
  return row;
}
