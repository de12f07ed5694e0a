// Speaking with the server in JSON.
import { token } from "./token.js";

/** GET; resolves to the answer, or null when it could not be had (the page goes on without). */
export async function ask(address, query, signal) {
  try {
    const answer = await fetch(`${address}?${new URLSearchParams(query)}`, {
      headers: { Accept: "application/json" },
      signal,
    });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

/** POST a form; resolves to { status, ...answer }. Status 0: the server could not be reached. */
export async function send(address, fields) {
  try {
    const answer = await fetch(address, {
      method: "POST",
      headers: { Accept: "application/json", "X-CSRFToken": token() },
      body: new URLSearchParams(fields),
    });
    return { ...(await answer.json()), status: answer.status };
  } catch {
    return { status: 0, message: "The office’s server does not answer. Nothing was changed." };
  }
}
