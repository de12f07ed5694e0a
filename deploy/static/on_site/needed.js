// What the office would refuse for missing words or marks, said at once: without signal its refusal
// comes when the crew is far from the loft. Forms say what they need in their attributes.

export function beginNeeded() {
  sayItOurselves();
  document.addEventListener("htmx:afterSettle", sayItOurselves);
  document.addEventListener("record-checking", (event) => {
    const form = event.target;
    event.detail.problems.push(
      ...invalid(form), ...answersMissing(form), ...wordsMissing(form), ...blanks(form), ...marksMissing(form)
    );
  });
}

/** The browser's own words would lie behind the bar at the bottom. */
function sayItOurselves() {
  document.querySelectorAll("form[data-record]").forEach((form) => { form.noValidate = true; });
}

/** Whether one of "name=value|name=value" is so in the form; nothing named is always so. */
function holds(form, conditions) {
  return !conditions || conditions.split("|").some((condition) => {
    const [name, value] = condition.split("=");
    return form.elements[name] && form.elements[name].value === value;
  });
}

/** What the browser knows to be wrong, once for each name. */
function invalid(form) {
  const wrong = Array.from(form.elements).filter((field) => field.willValidate && !field.validity.valid);
  return [...new Map(wrong.map((field) => [field.name, field])).values()].map((field) => {
    if (field.type === "radio") return { field: field.name, message: "“" + nameOf(field) + "” is not answered." };
    const what = field.validity.valueMissing ? "is missing." : "is not right: " + field.validationMessage;
    return { field: field.name, message: "“" + nameOf(field) + "” " + what };
  });
}

/** Questions to be answered: `data-asked-when` on the fieldset. */
function answersMissing(form) {
  return Array.from(form.querySelectorAll("fieldset[data-asked-when]"))
    .filter((asked) => holds(form, asked.dataset.askedWhen) && !asked.querySelector("input:checked"))
    .map((asked) => ({ field: asked.querySelector("input").name, message: "“" + nameOf(asked.querySelector("input")) + "” is not answered." }));
}

/** Fields that an answer makes necessary: `data-needed-when` and `data-needed-said` on the field. */
function wordsMissing(form) {
  return Array.from(form.querySelectorAll("[data-needed-when]"))
    .filter((field) => holds(form, field.dataset.neededWhen) && !field.value.trim() && field.validity.valid)
    .map((field) => ({ field: field.name, message: field.dataset.neededSaid }));
}

/** Blanks pass for words in the browser, not at the office. */
function blanks(form) {
  return Array.from(form.querySelectorAll("textarea[required], input[type=text][required]"))
    .filter((field) => field.value && !field.value.trim())
    .map((field) => ({ field: field.name, message: "“" + nameOf(field) + "” is missing." }));
}

/** Lists: at least one (`data-mark-one` says so), or each value that `data-must-mark` names. */
function marksMissing(form) {
  return Array.from(form.querySelectorAll("fieldset[data-list]")).flatMap((list) => {
    const boxes = Array.from(list.querySelectorAll("input[type=checkbox]"));
    const name = boxes.length ? boxes[0].name : "";
    const must = (list.dataset.mustMark || "").split(" ").filter(Boolean);
    const open = boxes.filter((box) => must.includes(box.value) && !box.checked);
    if (open.length) return [{ field: name, message: "Not marked yet: " + textOf(open[0].closest("label"), "span") }];
    const none = "markOne" in list.dataset && !boxes.some((box) => box.checked);
    return none ? [{ field: name, message: list.dataset.markOne }] : [];
  });
}

/** What the page calls a field: the legend of its group, or its label without "if any". */
function nameOf(field) {
  const called = field.closest("fieldset")?.querySelector("legend") || field.labels[0];
  return called ? called.firstChild.textContent.trim() : field.name;
}

const textOf = (part, selector) => part.querySelector(selector).textContent.trim();
