// What one page or the worker tells the others, and itself: that the queue changed, that the
// office did or did not answer.
const channel = "BroadcastChannel" in self ? new BroadcastChannel("eavesbook-on-site") : null;
const here = new EventTarget();

export function tell(what, detail = {}) {
  const message = { what, ...detail };
  if (channel) channel.postMessage(message);
  here.dispatchEvent(new CustomEvent("told", { detail: message }));
}

/** Calls `listener(message)` for everything told, here or elsewhere; returns a way to stop. */
export function listen(listener) {
  const fromHere = (event) => listener(event.detail);
  const fromElsewhere = (event) => listener(event.data);
  here.addEventListener("told", fromHere);
  if (channel) channel.addEventListener("message", fromElsewhere);
  return () => {
    here.removeEventListener("told", fromHere);
    if (channel) channel.removeEventListener("message", fromElsewhere);
  };
}
