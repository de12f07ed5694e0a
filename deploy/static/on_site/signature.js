// A signature: strokes in a box of 1000 by 400, sent as an SVG path.
const MOST_CHARACTERS = 19000;

export function beginSignatures(root = document) {
  root.querySelectorAll("[data-signature]").forEach(start);
  document.addEventListener("record-checking", checkSigned);
}

/** Without signal the office's refusal comes when the householder is far away: asked for here. */
function checkSigned(event) {
  const { signature_svg: signature, name_confirmed: confirmed } = event.target.elements;
  if (!signature || signature.value || (confirmed && confirmed.checked)) return;
  event.detail.problems.push({
    field: "name_confirmed",
    message: "The signature is missing. Let the householder sign in the box, or confirm with the typed name.",
  });
}

function start(frame) {
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
  field.addEventListener("change", redraw);

  function redraw() {
    pen.clearRect(0, 0, canvas.width, canvas.height);
    if (!field.value) return;
    pen.stroke(new Path2D(field.value));
    state.textContent = "Signed";
  }
  function placeOf(event) {
    const box = canvas.getBoundingClientRect();
    const clamp = (value, most) => Math.round(Math.min(Math.max(value, 0), most));
    return [
      clamp(((event.clientX - box.left) * 1000) / box.width, 1000),
      clamp(((event.clientY - box.top) * 400) / box.height, 400),
    ];
  }
  canvas.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || field.value.length > MOST_CHARACTERS) return;
    event.preventDefault();
    canvas.setPointerCapture(event.pointerId);
    drawing = placeOf(event);
    field.value += "M" + drawing.join(" ");
  });
  canvas.addEventListener("pointermove", (event) => {
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
  ["pointerup", "pointercancel"].forEach((name) => {
    canvas.addEventListener(name, () => {
      if (drawing) state.textContent = "Signed";
      drawing = null;
    });
  });
  frame.querySelector("[data-signature-clear]").addEventListener("click", () => {
    field.value = "";
    pen.clearRect(0, 0, canvas.width, canvas.height);
    state.textContent = "Sign with a finger in the box";
  });
}
