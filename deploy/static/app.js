// The little that the browser must do by itself on every page. No page depends on it to be read
// or sent: dialogs fall back to :target, the filter form to its button.
"use strict";

(function () {
  // Confirm dialogs: a link to the dialog opens it as a modal; "Leave it" closes it.
  document.addEventListener("click", function (event) {
    const opener = event.target.closest("[data-opens]");
    if (opener) {
      const dialog = document.getElementById(opener.dataset.opens);
      if (dialog && dialog.showModal) {
        event.preventDefault();
        dialog.showModal();
      }
      return;
    }
    const closer = event.target.closest("[data-closes]");
    if (closer && closer.closest("dialog[open]")) {
      event.preventDefault();
      closer.closest("dialog").close();
      return;
    }
    const print = event.target.closest("[data-prints]");
    if (print) {
      event.preventDefault();
      window.print();
      return;
    }
    // On a demonstration's sign-in page, pressing a person fills the form in.
    const person = event.target.closest("[data-fills]");
    if (person) {
      document.querySelector("[name=login]").value = person.dataset.fills;
      document.querySelector("[name=password]").value = person.dataset.password;
      document.querySelector("main button[type=submit]").focus();
      return;
    }
    // The person's menu closes when the page beside it is pressed.
    document.querySelectorAll("details.person[open]").forEach(function (menu) {
      if (!menu.contains(event.target)) menu.removeAttribute("open");
    });
  });

  document.addEventListener("keydown", function (event) {
    if (event.key !== "Escape") return;
    document.querySelectorAll("details.person[open]").forEach(function (menu) {
      menu.removeAttribute("open");
      menu.querySelector("summary").focus();
    });
  });

  // On paper nothing is folded away.
  window.addEventListener("beforeprint", function () {
    document.querySelectorAll("details[data-print-open]").forEach(function (fold) {
      fold.open = true;
    });
  });

  // A part of the page that asks how far something is may be told to load the page again. Until the
  // new page is there it asks no more: every answer would begin the loading anew. Nor does it load
  // the page again under somebody who is on the way to another: that would bring them back. Where
  // that way led to a file, this page stays, and is told the next time it asks.
  const GONE_AFTER_MS = 10000;
  let isLeaving = false;
  let onTheirWay = 0;
  window.addEventListener("beforeunload", function () {
    onTheirWay = Date.now();
  });
  document.addEventListener("htmx:beforeOnLoad", function (event) {
    if (event.detail.xhr.getResponseHeader("HX-Refresh") !== "true") return;
    if (Date.now() - onTheirWay < GONE_AFTER_MS) event.preventDefault();
    else isLeaving = true;
  });
  document.addEventListener("htmx:beforeRequest", function (event) {
    if (isLeaving) event.preventDefault();
  });

  // The session ended under an open page: what was typed stays in it, and goes along with the token
  // of the new sign-in once another tab has made one.
  function newestToken() {
    const kept = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
    return kept ? kept[1] : "";
  }
  document.addEventListener("submit", function (event) {
    const field = event.target.querySelector("[name=csrfmiddlewaretoken]");
    if (field) field.value = newestToken() || field.value;
  }, true);
  document.addEventListener("htmx:configRequest", function (event) {
    const token = newestToken();
    const sent = event.detail.parameters;
    if (token) event.detail.headers["X-CSRFToken"] = token;
    if (token && sent.csrfmiddlewaretoken) sent.csrfmiddlewaretoken = token;
  });
  document.addEventListener("htmx:responseError", function (event) {
    const place = document.getElementById("messages");
    if (event.detail.xhr.status !== 401 || !place || place.querySelector("[data-signed-out]")) return;
    const said = document.createElement("p");
    said.className = "message message-error";
    said.dataset.signedOut = "";
    const way = document.createElement("a");
    way.href = "/account/sign-in/";
    way.target = "_blank";
    way.textContent = "Sign in again in another tab";
    said.append("You are signed out, so nothing was sent. What you typed is still here. ", way, ", then send it once more.");
    place.replaceChildren(said);
    place.scrollIntoView({ block: "center" });
  });

  document.addEventListener("htmx:afterOnLoad", function (event) {
    const said = document.querySelector("#messages [data-signed-out]");
    if (said && event.detail.xhr.status < 400) said.remove();
  });

  // Signal: said in words in the head of every on-site page.
  function tellConnection() {
    document.querySelectorAll("[data-connection]").forEach(function (place) {
      place.dataset.connection = navigator.onLine ? "online" : "offline";
    });
  }

  function settle() {
    tellConnection();
    // The current place of a sideways-scrolling navigation is brought into sight.
    document.querySelectorAll(".nav").forEach(function (nav) {
      const current = nav.querySelector("[aria-current]");
      if (current) nav.scrollLeft = current.offsetLeft - (nav.clientWidth - current.offsetWidth) / 2;
    });
    // A dialog that comes back refused stands open in the page; it is laid over it as before.
    const refused = document.querySelector("dialog.dialog[open]");
    if (refused && refused.showModal) {
      refused.close();
      refused.showModal();
    }
    const errors = document.querySelector("[data-focus]");
    if (errors) errors.focus();
  }

  window.addEventListener("online", tellConnection);
  window.addEventListener("offline", tellConnection);
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", settle);
  else settle();
})();
