// How the state of a record or photo is said, the same everywhere.

export function clockOf(iso) {
  return new Date(iso).toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
}

export function sizeOf(bytes) {
  if (!bytes) return "";
  if (bytes < 1000) return bytes + " B";
  if (bytes < 1e6) return Math.round(bytes / 1000) + " kB";
  if (bytes < 1e9) return (bytes / 1e6).toFixed(1) + " MB";
  return (bytes / 1e9).toFixed(1) + " GB";
}

export function stateOf(item) {
  if (item.state === "safe") {
    const again = item.repeat ? " (it was there before)" : "";
    return "Stored at the office " + clockOf(item.stored_at) + again;
  }
  if (item.state === "refused") return "Refused: " + item.reason;
  if (item.state === "given-up") return "Given up: " + item.given_up_reason;
  if (item.state === "sending" && item.type === "photo" && item.size) {
    const share = Math.floor((100 * (item.sent_bytes || 0)) / item.size);
    return "On this phone only. Sending, " + share + " %";
  }
  if (item.state === "sending") return "On this phone only. Sending";
  return "On this phone only, since " + clockOf(item.phone_at);
}

export function nameOf(item) {
  if (item.type !== "photo") {
    const depth = item.body && item.kind.startsWith("reading") ? item.body.depth_mm : undefined;
    return depth === undefined ? item.words : item.words + ", " + depth + " mm";
  }
  const moment = { before: "Before photo", after: "After photo" }[item.moment] || "Photo";
  return item.point ? moment + " " + item.point : moment;
}

/** Why a photo does not count: the very same one shows another point, or the time before. */
export function sameElsewhere(photo) {
  return "This very photo is there already, as " + nameOf(photo) + ". It proves nothing here: take a new one.";
}

/** Which home a page is about: the line above its title. */
export function whereOfPage() {
  const line = document.querySelector(".page-head .kicker");
  return line ? line.textContent.trim() : "";
}

/** Whether the office made the page at hand after this phone had heard that the item is stored. */
export function hasArrived(item) {
  const made = Date.parse(document.body.dataset.madeAt || 0);
  return item.state === "safe" && Date.parse(item.heard_at || item.stored_at) <= made;
}

const addresses = new Map();

/** An img of the small picture, or null where there is none. */
export function thumbOf(item) {
  if (!item.thumb) return null;
  if (!addresses.has(item.id)) addresses.set(item.id, URL.createObjectURL(item.thumb));
  const image = document.createElement("img");
  image.className = "phone-thumb";
  image.src = addresses.get(item.id);
  image.alt = nameOf(item) + ", as taken";
  return image;
}
