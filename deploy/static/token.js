// The token that a form is sent with. Signing in again in another tab changes it, so it is read
// from its cookie when it is needed; the page's own serves where cookies cannot be read.

export function token() {
  const kept = document.cookie.split("; ").find((each) => each.startsWith("csrftoken="));
  return kept?.slice("csrftoken=".length) || document.querySelector("[name=csrfmiddlewaretoken]")?.value || "";
}
