// Where the phone is, sent with an arrival or with leaving: only once the box is ticked, once.

export function beginPosition(root = document) {
  root.querySelectorAll("[data-position]:not([data-ready])").forEach((part) => {
    if (!navigator.geolocation) return;
    part.dataset.ready = "";
    part.hidden = false;
    const agreed = part.querySelector("[name=position_agreed]");
    agreed.addEventListener("change", () => (agreed.checked ? ask(part) : forget(part)));
  });
}

function ask(part) {
  say(part, "Looking where this phone is…");
  navigator.geolocation.getCurrentPosition(
    (found) => {
      if (!part.querySelector("[name=position_agreed]").checked) return;
      fill(part, found.coords.latitude, found.coords.longitude, found.coords.accuracy);
      say(part, "Known to about " + Math.round(found.coords.accuracy) + " m. It is sent with this record.");
    },
    () => {
      forget(part);
      say(part, "This phone does not say where it is. The record goes without.");
    },
    { enableHighAccuracy: true, timeout: 20000, maximumAge: 60000 }
  );
}

function forget(part) {
  fill(part, "", "", "");
  say(part, "");
}

function fill(part, latitude, longitude, accuracy) {
  part.querySelector("[name=latitude_deg]").value = latitude;
  part.querySelector("[name=longitude_deg]").value = longitude;
  part.querySelector("[name=position_accuracy_m]").value = accuracy;
}

const say = (part, words) => {
  part.querySelector("[data-position-state]").textContent = words;
};
