// The page "On this phone": everything that waits, was refused or is safe, with its size; sent
// again, changed, given up with a reason, or saved to a file as the last resort.
import { listen } from "./channel.js";
import { zipOf } from "./export.js";
import { sendNow, storageState } from "./keeping.js";
import { all, change, isOnPhoneOnly, isUnsent, ofPerson } from "./store.js";
import { clockOf, nameOf, sizeOf, stateOf, thumbOf } from "./words.js";

const GROUPS = [
  { name: "refused", has: (item) => item.state === "refused" },
  { name: "waiting", has: isUnsent },
  { name: "ended", has: (item) => !isOnPhoneOnly(item) },
];

export async function beginList(person) {
  const page = document.querySelector("[data-phone-list]");
  if (!page) return;
  let timer = null;
  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(() => show(page, person), 80);
  };
  listen((message) => {
    if (message.what === "queue") soon();
  });
  page.addEventListener("click", (event) => act(event, person));
  document.querySelector("[data-give-up]").addEventListener("submit", giveUp);
  document.querySelector("[data-save-all]").addEventListener("click", () => saveAll(person));
  document.querySelector("[data-send-now]").addEventListener("click", sendNow);
  await show(page, person);
}

async function show(page, person) {
  const items = await ofPerson(person);
  for (const group of GROUPS) {
    const section = page.querySelector('[data-group="' + group.name + '"]');
    const mine = items.filter(group.has);
    if (group.name === "ended") mine.reverse();
    section.hidden = !mine.length;
    section.querySelector("[data-count]").textContent = String(mine.length);
    fillIn(section.querySelector("ul"), mine);
  }
  const open = items.filter(isOnPhoneOnly);
  page.querySelector("[data-nothing]").hidden = open.length > 0;
  document.querySelector("[data-queue-actions]").hidden = !open.length;
  const sends = items.some(isUnsent);
  document.querySelector("[data-send-now]").hidden = !sends;
  document.querySelector("[data-back]").hidden = sends;
  const size = open.reduce((total, item) => total + (item.size || 0), 0);
  document.querySelector("[data-total]").textContent = totalWords(open.length, size);
  document.querySelector("[data-sign-out-warning]").hidden = !open.length;
  await tellOthers(page, person);
  await tellRoom(page);
}

function totalWords(count, size) {
  if (!count) return "Everything you recorded is safe at the office.";
  const bytes = size ? " (" + sizeOf(size) + ")" : "";
  return count + (count > 1 ? " things are" : " thing is") + " on this phone only" + bytes + ". Keep the phone safe until they are sent.";
}

async function tellOthers(page, person) {
  const others = (await all()).filter((item) => item.person !== person && isOnPhoneOnly(item)).length;
  const line = page.querySelector("[data-others]");
  line.hidden = !others;
  line.textContent = others === 1
    ? "One record of somebody else waits on this phone. It is sent when that person signs in here."
    : others + " records of somebody else wait on this phone. They are sent when that person signs in here.";
}

async function tellRoom(page) {
  const { used, quota, persisted } = await storageState();
  const room = quota ? sizeOf(Math.max(0, quota - used)) + " of room left on this phone. " : "";
  const kept = persisted
    ? "The browser has promised not to clear it."
    : "The browser may clear it when the phone runs full: send before that, or put this page on the home screen.";
  page.querySelector("[data-room]").textContent = room + kept;
}

function fillIn(list, items) {
  const old = new Map(Array.from(list.children, (row) => [row.dataset.item, row]));
  list.replaceChildren(...items.map((item) => {
    const row = old.get(item.id);
    const signature = [item.state, item.sent_bytes, item.reason, Boolean(item.thumb)].join(" ");
    if (row && row.dataset.signature === signature) return row;
    const made = rowOf(item);
    made.dataset.signature = signature;
    return made;
  }));
}

function rowOf(item) {
  const row = document.createElement("li");
  row.dataset.item = item.id;
  row.dataset.state = item.state;
  const thumb = thumbOf(item);
  if (thumb) row.append(thumb);
  const words = document.createElement("div");
  words.className = "phone-item";
  const name = document.createElement("strong");
  name.textContent = nameOf(item);
  const where = document.createElement("p");
  where.className = "small soft";
  where.textContent = [item.where, clockOf(item.phone_at), sizeOf(item.size)].filter(Boolean).join(" · ");
  const state = document.createElement("p");
  state.className = "phone-words";
  state.textContent = [stateOf(item), item.state === "safe" ? item.words_of_office : ""].filter(Boolean).join(". ");
  words.append(name, where, state);
  row.append(words);
  if (isOnPhoneOnly(item)) row.append(actionsOf(item));
  return row;
}

function actionsOf(item) {
  const actions = document.createElement("p");
  actions.className = "actions";
  if (item.type === "record") {
    const mend = document.createElement("a");
    mend.className = "button";
    mend.href = item.page + "?edit=" + item.id;
    mend.append("Change", heard(item));
    actions.append(mend);
  }
  if (item.state === "refused") actions.append(button("again", "Send again", item), button("give-up", "Give up", item));
  return actions;
}

function button(name, words, item) {
  const made = document.createElement("button");
  made.type = "button";
  made.dataset.act = name;
  made.append(words, heard(item));
  return made;
}

function heard(item) {
  const made = document.createElement("span");
  made.className = "only-heard";
  made.textContent = " " + nameOf(item) + ", " + clockOf(item.phone_at);
  return made;
}

async function act(event, person) {
  const pressed = event.target.closest("[data-act]");
  if (!pressed) return;
  const id = pressed.closest("[data-item]").dataset.item;
  const item = (await ofPerson(person)).find((each) => each.id === id);
  if (!item) return;
  if (pressed.dataset.act === "again") {
    await change(id, { state: "waiting", next_try_at: 0, reason: "", errors: [] });
    sendNow();
    return;
  }
  const dialog = document.getElementById("give-up");
  dialog.querySelector("[data-what]").textContent = nameOf(item) + ", " + clockOf(item.phone_at);
  dialog.querySelector("form").dataset.item = id;
  dialog.showModal();
}

async function giveUp(event) {
  event.preventDefault();
  const form = event.target;
  const reason = form.elements.reason.value.trim();
  if (!reason) return;
  const ended = { state: "given-up", given_up_reason: reason, ended_at: new Date().toISOString() };
  await change(form.dataset.item, ended);
  form.reset();
  form.closest("dialog").close();
}

async function saveAll(person) {
  const items = (await ofPerson(person)).filter(isOnPhoneOnly);
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await zipOf(items));
  link.download = "on-this-phone-" + new Date().toISOString().slice(0, 16).replace(/[T:]/g, "-") + ".zip";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}
