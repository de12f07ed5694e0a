// What the installer's phone must do by itself: send photos one by one and say which are stored,
// turn a touch on the drawing into a place, draw a signature, tell the phone's own time.
// Every page also works without it.
"use strict";

(function () {
  document.documentElement.classList.add("scripted");

  const SVG = "http://www.w3.org/2000/svg";

  // ---- The phone's clock: sent beside each record, kept as the phone's word. -------------
  document.addEventListener("submit", stampClock, true);
  function stampClock(event) {
    const field = event.target.matches("[data-phone-clock]") && event.target.elements.phone_at;
    if (field) field.value = new Date().toISOString();
  }

  // A refused form (422) is shown in its place like any other answer.
  document.addEventListener("htmx:beforeSwap", function (event) {
    if (event.detail.xhr.status === 422) {
      event.detail.shouldSwap = true;
      event.detail.isError = false;
    }
  });

  // ---- Photos: two at a time; stored only when the office has said so. --------------------
  const AT_ONCE = 2;
  const queue = [];
  let running = 0;
  let unsent = 0;

  function tellWaiting() {
    document.querySelectorAll(".connection-waiting").forEach(function (place) {
      place.dataset.waiting = String(unsent);
      place.textContent = unsent ? unsent + " to send" : "all sent";
    });
  }

  window.addEventListener("beforeunload", function (event) {
    if (unsent) event.preventDefault();
  });

  document.addEventListener("change", function (event) {
    const input = event.target;
    const points = input.closest && input.closest("[data-photo-api]");
    if (!points || input.type !== "file") return;
    const point = input.closest("[data-point]");
    Array.from(input.files).forEach(function (file) {
      add(points, point, file);
    });
    input.value = "";
  });

  function add(points, point, file) {
    const row = document.createElement("li");
    const words = document.createElement("span");
    const bar = document.createElement("progress");
    bar.max = 1;
    bar.value = 0;
    bar.setAttribute("aria-label", "Sending " + file.name);
    row.append(words, bar);
    point.querySelector(".sending").append(row);
    const sending = {
      row: row, words: words, bar: bar, file: file, key: newKey(),
      url: points.dataset.photoApi, visit: points.dataset.visit, moment: points.dataset.moment,
      point: point.dataset.point,
      token: point.querySelector("[name=csrfmiddlewaretoken]").value
    };
    unsent += 1;
    waitIn(sending);
  }

  function newKey() {
    if (crypto.randomUUID) return crypto.randomUUID();
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
    return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
  }

  function waitIn(sending) {
    sending.words.textContent = sending.file.name + ": waiting, only on this phone";
    queue.push(sending);
    tellWaiting();
    next();
  }

  function next() {
    while (running < AT_ONCE && queue.length) send(queue.shift());
  }

  function send(sending) {
    running += 1;
    const body = new FormData();
    body.append("visit", sending.visit);
    body.append("moment", sending.moment);
    body.append("point_label", sending.point);
    body.append("client_key", sending.key);
    if (sending.file.lastModified) {
      body.append("phone_taken_at", new Date(sending.file.lastModified).toISOString());
    }
    body.append("file", sending.file, sending.file.name);
    const request = new XMLHttpRequest();
    request.open("POST", sending.url);
    request.setRequestHeader("X-CSRFToken", sending.token);
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.upload.addEventListener("progress", function (event) {
      if (!event.lengthComputable) return;
      sending.bar.value = event.loaded / event.total;
      const share = Math.round((100 * event.loaded) / event.total);
      sending.words.textContent = sending.file.name + ": sending, " + share + " %";
    });
    request.addEventListener("load", function () { answered(sending, request); });
    request.addEventListener("error", function () { failed(sending, "No connection."); });
    request.addEventListener("timeout", function () { failed(sending, "No answer."); });
    request.send(body);
  }

  function answered(sending, request) {
    const answer = request.response;
    if (request.status === 201 || request.status === 200) return kept(sending, answer, request.status);
    if (request.status === 400 || request.status === 409) {
      return refused(sending, (answer && answer.detail) || "It was refused.");
    }
    if (request.status === 403 || request.status === 401) {
      return failed(sending, "You are signed out. Sign in again in another tab, then try again.");
    }
    return failed(sending, "The office could not take it (" + request.status + ").");
  }

  function kept(sending, photo, status) {
    const at = new Date(photo.received_at);
    const clock = at.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });
    const again = status === 200 ? " (it was there before)" : "";
    sending.bar.remove();
    sending.words.textContent = sending.file.name + ": stored at the office " + clock + again;
    settle();
  }

  function refused(sending, why) {
    sending.bar.remove();
    sending.words.className = "sending-failed";
    sending.words.textContent = sending.file.name + ": not stored. " + why;
    settle();
  }

  function failed(sending, why) {
    running -= 1;
    sending.bar.value = 0;
    sending.words.textContent = sending.file.name + ": not stored yet, only on this phone. " + why;
    const again = document.createElement("button");
    again.type = "button";
    again.className = "button";
    again.textContent = "Try again";
    again.addEventListener("click", function () {
      again.remove();
      waitIn(sending);
    });
    sending.row.append(again);
    next();
  }

  function settle() {
    running -= 1;
    unsent -= 1;
    tellWaiting();
    next();
    if (!unsent && !document.querySelector(".sending-failed")) refreshPoints(800);
  }

  // The list as the office has it, small copies included; again while photos are looked at.
  let looks = 0;
  function refreshPoints(wait) {
    setTimeout(function () {
      if (unsent || !window.htmx || !document.getElementById("photo-points")) return;
      window.htmx
        .ajax("GET", location.pathname, {
          target: "#photo-points", select: "#photo-points", swap: "outerHTML"
        })
        .then(function () {
          refreshAction();
          const waiting = document.querySelector("#photo-points[data-waiting]");
          if (waiting && looks++ < 10) refreshPoints(2500);
        });
    }, wait);
  }

  function refreshAction() {
    window.htmx.ajax("GET", location.pathname, {
      target: "#action-bar", select: "#action-bar", swap: "outerHTML"
    });
  }

  // ---- Readings: a touch on the drawing becomes a place in millimetres. -------------------
  function planOf(svg) {
    const numbers = (svg.dataset.plan || "").split(" ").map(Number);
    if (numbers.length !== 5 || numbers.some(Number.isNaN)) return null;
    const [left, top, lowX, highY, scale] = numbers;
    return {
      toMm: (x, y) => [lowX + (x - left) / scale, highY - (y - top) / scale],
      toSheet: (x, y) => [left + (x - lowX) * scale, top + (highY - y) * scale]
    };
  }

  function circle(svg, at, radius, name) {
    const ring = document.createElementNS(SVG, "circle");
    ring.setAttribute("cx", at[0]);
    ring.setAttribute("cy", at[1]);
    ring.setAttribute("r", radius);
    ring.setAttribute("class", name);
    svg.append(ring);
    return ring;
  }

  function showWanted(root) {
    root.querySelectorAll("[data-touch-drawing]:not([data-drawn])").forEach(function (frame) {
      frame.dataset.drawn = "";
      const svg = frame.querySelector("svg");
      const plan = svg && planOf(svg);
      if (!plan) return;
      JSON.parse(frame.dataset.wanted || "[]").forEach(function (place) {
        circle(svg, plan.toSheet(place.x, place.y), 7, "touch-wanted");
      });
      const form = document.querySelector(".reading-form");
      if (form && form.elements.x_mm.value) mark(svg, plan, form);
    });
  }

  function mark(svg, plan, form) {
    svg.querySelectorAll(".touch-here, .touch-here-wool").forEach((old) => old.remove());
    const at = plan.toSheet(Number(form.elements.x_mm.value), Number(form.elements.y_mm.value));
    circle(svg, at, 9, "touch-here");
    circle(svg, at, 3, "touch-here-wool");
  }

  function choose(x, y, area) {
    const form = document.querySelector(".reading-form");
    const svg = document.querySelector("[data-touch-drawing] svg");
    form.elements.x_mm.value = Math.round(x);
    form.elements.y_mm.value = Math.round(y);
    form.elements.area.value = area || "";
    form.querySelector("[data-reading-place]").textContent =
      "Place: " + (x / 1000).toFixed(2) + " m from the left, " + (y / 1000).toFixed(2) +
      " m from the bottom";
    const plan = svg && planOf(svg);
    if (plan) mark(svg, plan, form);
    form.elements.depth_mm.focus({ preventScroll: true });
    form.scrollIntoView({ block: "center" });
  }

  document.addEventListener("click", function (event) {
    const wanted = event.target.closest("[data-place]");
    if (wanted) {
      event.preventDefault();
      choose(Number(wanted.dataset.x), Number(wanted.dataset.y), wanted.dataset.area);
      return;
    }
    const svg = event.target.closest("[data-touch-drawing] svg");
    const plan = svg && planOf(svg);
    if (!plan) return;
    const point = new DOMPoint(event.clientX, event.clientY);
    const at = point.matrixTransform(svg.getScreenCTM().inverse());
    choose(...plan.toMm(at.x, at.y), "");
  });

  // ---- Signature: strokes in a box of 1000 by 400, sent as an SVG path. --------------------
  const MOST_CHARACTERS = 19000;
  function startSignature(frame) {
    frame.hidden = false;
    const canvas = frame.querySelector("canvas");
    const pen = canvas.getContext("2d");
    const field = frame.closest("form").elements.signature_svg;
    const state = frame.querySelector("[data-signature-state]");
    let drawing = null;
    pen.lineWidth = 6;
    pen.lineCap = pen.lineJoin = "round";
    pen.strokeStyle = "#12292a";
    if (field.value) redraw();

    function redraw() {
      pen.stroke(new Path2D(field.value));
      state.textContent = "Signed";
    }
    function placeOf(event) {
      const box = canvas.getBoundingClientRect();
      const clamp = (value, most) => Math.round(Math.min(Math.max(value, 0), most));
      return [
        clamp(((event.clientX - box.left) * 1000) / box.width, 1000),
        clamp(((event.clientY - box.top) * 400) / box.height, 400)
      ];
    }
    canvas.addEventListener("pointerdown", function (event) {
      if (!event.isPrimary || field.value.length > MOST_CHARACTERS) return;
      event.preventDefault();
      canvas.setPointerCapture(event.pointerId);
      drawing = placeOf(event);
      field.value += "M" + drawing.join(" ");
    });
    canvas.addEventListener("pointermove", function (event) {
      if (!drawing || !event.isPrimary) return;
      const to = placeOf(event);
      if (Math.hypot(to[0] - drawing[0], to[1] - drawing[1]) < 3) return;
      pen.beginPath();
      pen.moveTo(...drawing);
      pen.lineTo(...to);
      pen.stroke();
      drawing = to;
      if (field.value.length < MOST_CHARACTERS) field.value += "L" + to.join(" ");
    });
    ["pointerup", "pointercancel"].forEach(function (name) {
      canvas.addEventListener(name, function () {
        if (drawing) state.textContent = "Signed";
        drawing = null;
      });
    });
    frame.querySelector("[data-signature-clear]").addEventListener("click", function () {
      field.value = "";
      pen.clearRect(0, 0, canvas.width, canvas.height);
      state.textContent = "Sign with a finger in the box";
    });
  }

  function begin() {
    showWanted(document);
    document.querySelectorAll("[data-signature]").forEach(startSignature);
    if (document.querySelector("#photo-points[data-waiting]")) refreshPoints(2000);
  }
  document.addEventListener("htmx:afterSettle", function () { showWanted(document); });
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", begin);
  else begin();
})();
