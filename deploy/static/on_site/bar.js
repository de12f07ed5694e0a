// One line at the top of every on-site page: what is on this phone only, and whether it can go.
import { listen } from "./channel.js";
import { isUnsent, note, ofPerson } from "./store.js";

/** Resolves once it is shown, as do the others that lay something over a page. */
export async function beginBar(person) {
  const bar = document.getElementById("phone-bar");
  if (!bar) return;
  let timer = null;

  async function show() {
    const items = await ofPerson(person);
    const waiting = items.filter(isUnsent).length;
    const refused = items.filter((item) => item.state === "refused").length;
    const office = (await note("office")) || {};
    const signedOut = office.kind === "signed-out" && waiting > 0;
    bar.dataset.state = refused || signedOut ? "refused" : waiting ? "phone" : "safe";
    bar.dataset.unsent = String(waiting);
    showSignal(bar, office);
    say(bar, wordsFor(waiting, refused, items.some((item) => item.state === "sending")));
    const signIn = bar.querySelector("[data-sign-in]");
    signIn.hidden = !signedOut;
    signIn.querySelector("[data-sign-in-words]").textContent = waiting + " on this phone only: sign in to send";
    signIn.href = "/account/sign-in/?next=" + encodeURIComponent(location.pathname);
    bar.querySelector("[data-kept]").hidden = signedOut;
  }

  const soon = () => {
    clearTimeout(timer);
    timer = setTimeout(show, 60);
  };
  listen(soon);
  window.addEventListener("online", soon);
  window.addEventListener("offline", soon);
  await show();
}

function wordsFor(waiting, refused, sending) {
  if (!waiting && !refused) return "All safe at the office";
  const parts = [];
  if (refused) parts.push(refused + " refused"); // first: a narrow screen cuts the end off
  if (waiting) parts.push(waiting + " on this phone only" + (sending ? ", sending" : ""));
  return parts.join(" · ");
}

function showSignal(bar, office) {
  const none = navigator.onLine === false || office.kind === "no-signal";
  const place = bar.querySelector("[data-connection]");
  place.dataset.connection = none ? "offline" : "online";
}

function say(bar, words) {
  bar.querySelectorAll("[data-phone-words]").forEach((place) => {
    if (place.textContent !== words) place.textContent = words;
  });
}
