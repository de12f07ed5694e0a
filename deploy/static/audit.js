// The auditor's secret is made on the auditor's own device; only its SHA-256 is sent. It stays on the
// device until the draw, or until the round is given up.
(() => {
  "use strict";
  const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const shelf = (commitment) => `eavesbook-secret-${commitment}`;
  const kept = (commitment) => {
    try { return localStorage.getItem(shelf(commitment)); } catch { return null; }
  };
  const field = document.getElementById("id_nonce_commitment");

  function show(secret) {
    document.querySelector("[data-secret-text]").textContent = secret;
    document.querySelector("[data-secret]").hidden = false;
  }

  const button = document.querySelector("[data-make-secret]");
  if (button && window.crypto && crypto.subtle) {
    button.addEventListener("click", async () => {
      const secret = crypto.getRandomValues(new Uint8Array(32));
      const commitment = hex(new Uint8Array(await crypto.subtle.digest("SHA-256", secret)));
      try {
        if (field.value) localStorage.removeItem(shelf(field.value)); // another one takes its place
        localStorage.setItem(shelf(commitment), hex(secret));
      } catch { /* shown anyway */ }
      field.value = commitment;
      show(hex(secret));
    });
    const again = field.value && kept(field.value); // the form came back to be mended
    if (again) show(again);
  } else if (button) { // no cryptography without an encrypted connection: it is made elsewhere
    button.hidden = true;
    const own = document.querySelector("[data-own-secret]");
    if (own) own.open = true;
  }

  const commitment = document.querySelector("[data-commitment-shown]");
  if (commitment) {
    const secret = kept(commitment.dataset.commitmentShown);
    const draw = document.querySelector("[data-draw]");
    if (commitment.hasAttribute("data-secret-done")) {
      try { localStorage.removeItem(shelf(commitment.dataset.commitmentShown)); } catch { /* no shelf */ }
    } else {
      const told = document.querySelector(secret ? "[data-secret-here]" : "[data-secret-elsewhere]");
      if (told) told.hidden = false;
      if (draw && secret) document.getElementById("id_nonce_hex").value = secret;
    }
  }

  // Of the fields of a round only those that its plan goes by are shown.
  const plan = document.getElementById("id_plan");
  const parts = document.querySelectorAll("[data-of-plan]");
  if (plan && parts.length) {
    const choose = () => parts.forEach((part) => { part.hidden = part.dataset.ofPlan !== plan.value; });
    plan.addEventListener("change", choose);
    choose();
  }
})();
