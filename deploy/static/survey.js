// The survey form: rows are added and numbered, and what is typed is kept on the device until
// the office has it.
(() => {
  "use strict";
  const form = document.getElementById("survey-form");
  if (!form) return;
  const shelf = `eavesbook-survey-${form.dataset.survey}`;

  const renumber = (part) => {
    part.querySelectorAll("[data-part-number]").forEach((mark, at) => { mark.textContent = at + 1; });
  };

  const addRow = (part) => {
    const total = part.querySelector("[name$='-TOTAL_FORMS']");
    const text = part.querySelector("[data-part-empty]").innerHTML.replaceAll("__prefix__", total.value);
    const rows = part.querySelector("[data-part-rows]");
    rows.insertAdjacentHTML("beforeend", text);
    total.value = Number(total.value) + 1;
    renumber(part);
    return rows.lastElementChild;
  };

  form.querySelectorAll("[data-part]").forEach((part) => {
    part.querySelector("[data-part-add]").addEventListener("click", () => {
      const row = addRow(part);
      row.querySelector("input:not([type=hidden]), select, textarea").focus();
      form.dispatchEvent(new Event("part-changed"));
    });
    part.addEventListener("change", (event) => {
      if (!event.target.name.endsWith("-DELETE")) return;
      event.target.closest("[data-part-row]").classList.toggle("part-leaving", event.target.checked);
    });
  });

  const keep = () => {
    const fields = [...new FormData(form).entries()].filter(([name]) => name !== "csrfmiddlewaretoken");
    try { localStorage.setItem(shelf, JSON.stringify({ version: form.dataset.version, fields })); } catch { /* full */ }
  };

  const giveBack = (fields) => {
    const wanted = new Map(fields);
    form.querySelectorAll("[data-part]").forEach((part) => {
      const total = part.querySelector("[name$='-TOTAL_FORMS']");
      while (Number(total.value) < Number(wanted.get(total.name) || 0)) addRow(part);
    });
    [...form.elements].forEach((field) => {
      if (!field.name || field.type === "hidden" || field.type === "submit") return;
      if (field.type === "checkbox") field.checked = wanted.has(field.name);
      else if (wanted.has(field.name)) field.value = wanted.get(field.name);
    });
    form.dispatchEvent(new Event("part-changed"));
  };

  let kept = null;
  try { kept = JSON.parse(localStorage.getItem(shelf)); } catch { /* not ours */ }
  if (kept && kept.version === form.dataset.version && !form.querySelector(".errors")) giveBack(kept.fields);
  else if (kept && kept.version !== form.dataset.version) localStorage.removeItem(shelf);
  form.addEventListener("input", keep);
  form.addEventListener("change", keep);
})();
