// Forms that are filled in without signal: stored on the phone first, then sent. The plain form
// still works where this script does not run.
import { listen, tell } from "./channel.js";
import { newKey } from "./hash.js";
import { askToPersist, sendNow } from "./keeping.js";
import { add, change, get } from "./store.js";
import { whereOfPage } from "./words.js";

const WAITS_FOR_OFFICE_MS = 2500;

export async function beginForms(person) {
  document.addEventListener("submit", (event) => {
    const form = event.target.closest("form[data-record]");
    if (!form) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    record(form, person);
  }, true);
  await fillAgain(person);
}

async function record(form, person) {
  if (form.dataset.busy) return;
  const problems = problemsOf(form);
  if (problems.length) return showProblems(form, "Not saved yet", problems, "");
  form.dataset.busy = "yes";
  try {
    const id = await keep(form, person);
    if (form.hasAttribute("data-stay")) return readyForNext(form, id);
    form.dataset.item = id;
    const settled = untilSettled(id);
    sendNow();
    await shown(form, await settled);
  } catch (error) {
    console.error(error);
    form.submit(); // this phone cannot store it: the office is asked in the old way
  } finally {
    delete form.dataset.busy;
  }
}

/** Stores the form as a new item, or as the mended one that it shows; gives its id. */
async function keep(form, person) {
  const fields = fieldsOf(form);
  const again = form.dataset.item && (await get(form.dataset.item));
  const item = {
    type: "record",
    person,
    visit: form.dataset.visit,
    kind: form.dataset.record,
    step: form.dataset.step || form.dataset.record,
    words: form.dataset.words || form.dataset.record,
    endpoint: form.dataset.endpoint,
    wrap: form.dataset.wrap || "",
    where: whereOfPage(),
    page: location.pathname,
    fields,
    body: jsonOf(form),
    unsafe: unsafeIn(form),
    phone_at: new Date().toISOString(),
    reason: "",
    errors: [],
  };
  if (again && again.state !== "safe" && again.state !== "given-up") {
    await change(again.id, { ...item, phone_at: again.phone_at, state: "waiting", next_try_at: 0 });
    return again.id;
  }
  const id = newKey();
  await add({ ...item, id });
  askToPersist();
  return id;
}

/** "" when every answer is safe, "stops" when one of them stops work, else "first": put it right. */
function unsafeIn(form) {
  const answers = Array.from(form.querySelectorAll("[data-unsafe]:checked"));
  if (answers.some((answer) => answer.dataset.unsafe === "stops")) return "stops";
  return answers.length ? "first" : "";
}

/** The item once the office has answered, or as it stands when that takes too long. */
function untilSettled(id) {
  return new Promise((resolve) => {
    const look = async () => {
      stop();
      clearTimeout(late);
      resolve(await get(id));
    };
    const late = setTimeout(look, WAITS_FOR_OFFICE_MS);
    const stop = listen((message) => {
      const answered = message.id === id && (message.state === "safe" || message.state === "refused");
      const silent = message.what === "office" && message.kind !== "here";
      if (answered || silent) look();
    });
  });
}

async function shown(form, item) {
  if (item.state === "refused") return showRefusal(form, item);
  location.assign(form.dataset.next || "/on-site/visits/" + form.dataset.visit + "/");
}

/** A form that stays is empty again at once: what becomes of the record is told beside it. */
async function readyForNext(form, id) {
  delete form.dataset.item;
  form.reset();
  if (location.search) history.replaceState(null, "", location.pathname);
  form.dispatchEvent(new CustomEvent("record-stored", { bubbles: true }));
  tell("stored", { id });
  sendNow();
}

// ---- What a form says, as the office takes it ---------------------------------------------

const isSent = (field) =>
  field.name && field.name !== "csrfmiddlewaretoken" && field.type !== "file" &&
  field.type !== "submit" && field.type !== "button" && !field.disabled &&
  !field.closest("[data-not-sent]") && !["client_key", "phone_at"].includes(field.name);

/** Names and values, to fill the form in again. */
function fieldsOf(form) {
  return Array.from(new FormData(form).entries()).filter(
    ([name, value]) => typeof value === "string" && name !== "csrfmiddlewaretoken" &&
      name !== "client_key" && name !== "phone_at"
  );
}

export function jsonOf(form) {
  const body = {};
  for (const field of Array.from(form.elements).filter(isSent)) {
    const group = field.closest("[data-into]");
    const place = group ? (body[group.dataset.into] ??= {}) : body;
    const name = field.dataset.apiName || field.name;
    if (field.closest("[data-list]")) {
      place[name] ??= [];
      if (chosen(field)) place[name].push(field.value);
    } else {
      const value = valueOf(field);
      if (value !== undefined) place[name] = value;
    }
  }
  return body;
}

const chosen = (field) =>
  field.type === "checkbox" || field.type === "radio" ? field.checked : field.value !== "";

function valueOf(field) {
  if (field.type === "checkbox") return field.checked;
  if (field.type === "radio" && !field.checked) return undefined;
  if (field.hasAttribute("data-json")) return field.value ? JSON.parse(field.value) : undefined;
  if (field.closest("[data-yes-no]")) return field.value === "yes";
  if (field.type === "number" || field.hasAttribute("data-number")) {
    return field.value.trim() === "" ? undefined : Number(field.value);
  }
  return field.value;
}

// ---- What is missing, and a refusal, shown where it was made -------------------------------

/** What whoever knows the page has against the form: [{field, message}]. */
function problemsOf(form) {
  clearRefusal(form);
  const asked = new CustomEvent("record-checking", {
    bubbles: true, detail: { body: jsonOf(form), problems: [] },
  });
  form.dispatchEvent(asked);
  return asked.detail.problems;
}

export function showRefusal(form, item) {
  const kept = "It stays on this phone. Mend it and send it again, or see it under “On this phone”.";
  showProblems(form, "The office did not take it", item.errors || [], item.reason, kept);
}

function showProblems(form, heading, errors, reason, ...more) {
  clearRefusal(form);
  const box = document.createElement("div");
  box.className = "errors js-refusal";
  box.setAttribute("role", "alert");
  box.tabIndex = -1;
  const title = document.createElement("h2");
  title.textContent = heading;
  const words = reason ? [reason] : [...new Set(errors.map((error) => error.message))];
  box.append(title, ...[...words, ...more].map((text) => {
    const line = document.createElement("p");
    line.textContent = text;
    return line;
  }));
  form.prepend(box);
  for (const error of errors) markField(form, error);
  box.focus();
  box.scrollIntoView({ block: "center" });
}

function markField(form, error) {
  const name = String(error.field || "").split(/[.[\]]+/).filter(Boolean).pop();
  const field = name && form.elements[name];
  const first = field instanceof RadioNodeList ? field[0] : field;
  if (!first || first.type === "hidden") return;
  const words = document.createElement("p");
  words.className = "field-error js-refusal";
  words.id = "refusal-" + name;
  words.textContent = [error.message, error.remedy].filter(Boolean).join(" ");
  first.setAttribute("aria-invalid", "true");
  first.setAttribute("aria-describedby", words.id);
  (first.closest(".field, fieldset") || first).append(words);
}

function clearRefusal(form) {
  form.querySelectorAll(".js-refusal").forEach((old) => old.remove());
  form.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
}

/** `?edit=<id>`: the form as it was filled in, to be mended and sent again. */
async function fillAgain(person) {
  const id = new URLSearchParams(location.search).get("edit");
  const item = id && (await get(id));
  if (!item || item.person !== person || item.state === "safe") return;
  const form = document.querySelector('form[data-record="' + item.kind + '"]');
  if (!form) return;
  fill(form, item.fields);
  form.dataset.item = item.id;
  if (item.state === "refused") showRefusal(form, item);
}

function fill(form, fields) {
  const told = new Map();
  fields.forEach(([name, value]) => told.set(name, [...(told.get(name) || []), value]));
  for (const field of Array.from(form.elements).filter(isSent)) {
    const values = told.get(field.name) || [];
    if (field.type === "checkbox" || field.type === "radio") field.checked = values.includes(field.value);
    else field.value = values.length ? values.shift() : "";
    field.dispatchEvent(new Event("change", { bubbles: true }));
  }
}
