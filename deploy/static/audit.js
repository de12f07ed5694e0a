// The auditor's secret is made on the auditor's own device; only its SHA-256 is sent.
(() => {
  "use strict";
  const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const shelf = (commitment) => `eavesbook-secret-${commitment}`;

  const button = document.querySelector("[data-make-secret]");
  if (button && window.crypto && crypto.subtle) {
    button.addEventListener("click", async () => {
      const secret = crypto.getRandomValues(new Uint8Array(32));
      const commitment = hex(new Uint8Array(await crypto.subtle.digest("SHA-256", secret)));
      document.getElementById("id_nonce_commitment").value = commitment;
      document.querySelector("[data-secret-text]").textContent = hex(secret);
      document.querySelector("[data-secret]").hidden = false;
      try { localStorage.setItem(shelf(commitment), hex(secret)); } catch { /* shown anyway */ }
    });
  } else if (button) {
    button.hidden = true;
  }

  const draw = document.querySelector("[data-draw]");
  if (draw) {
    const kept = localStorage.getItem(shelf(draw.dataset.commitment));
    if (kept) document.getElementById("id_nonce_hex").value = kept;
  }
})();
