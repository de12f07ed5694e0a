// Where things lie on the board. A step is five minutes after local midnight, as in the classes
// of planning_scale.css. Everything is read from the page each time, since rows are swapped.

export const STEP_MIN = 5;
export const STEPS_A_DAY = 288;
export const QUARTER = 3; // steps of 15 minutes

export const board = () => document.getElementById("board");
export const crewRows = () => [...board().querySelectorAll("tbody.crew")];
export const tracksOf = (row) => [...row.querySelectorAll(".track")];
export const rowOf = (thing) => thing.closest("tbody.crew");
export const rowOfCrew = (crew) => document.getElementById(`crew-${crew}`);
export const blocksOf = (track) => [...track.querySelectorAll(".block > a")];
export const days = () => [...new Set(tracks().map((track) => track.dataset.day))];

export function tracks() {
  return [...board().querySelectorAll(".track")];
}

export function trackOf(crew, day) {
  const row = rowOfCrew(crew);
  return row && row.querySelector(`.track[data-day="${day}"]`);
}

export function scale() {
  const { opens, hours } = board().dataset;
  return { opens: Number(opens) * 12, steps: Number(hours) * 12 };
}

/** The track under a point of the window, or null. */
export function trackAt(x, y) {
  const found = document.elementsFromPoint(x, y).find((element) => element.closest(".track"));
  return found ? found.closest(".track") : null;
}

/** The step under a point of a track. */
export function stepAt(track, x) {
  const box = track.getBoundingClientRect();
  const { opens, steps } = scale();
  return opens + ((x - box.left) / box.width) * steps;
}

/** Lay an element on its track. */
export function lay(element, step, steps) {
  element.style.setProperty("--f", step);
  element.style.setProperty("--l", steps);
}

export function clock(step) {
  const minutes = step * STEP_MIN;
  const two = (number) => String(number).padStart(2, "0");
  return `${two(Math.floor(minutes / 60) % 24)}:${two(minutes % 60)}`;
}

export function dayWords(day) {
  const date = new Date(`${day}T12:00:00`);
  return date.toLocaleDateString("en-GB", { weekday: "short", day: "numeric", month: "short" });
}

export function placeWords({ crew, day, step }, minutes) {
  const row = rowOfCrew(crew);
  const ends = step + minutes / STEP_MIN;
  return `${row ? row.dataset.name : "?"}, ${dayWords(day)}, ${clock(step)}–${clock(ends)}`;
}

/** What is moved, from its block on the board. */
export function visitInHand(link) {
  const track = link.closest(".track");
  const data = link.dataset;
  return {
    type: "visit",
    id: Number(data.visit),
    version: Number(data.version),
    minutes: Number(data.minutes),
    volume: Number(data.volume),
    van: data.van,
    due: data.due || "",
    skills: data.skills.split(" "),
    along: data.along ? data.along.split(" ") : [],
    label: data.place,
    fixed: data.fixed || "",
    from: { crew: Number(rowOf(link).dataset.crew), day: track.dataset.day, step: Number(data.step) },
  };
}

/** What is placed, from its card in the list of what waits. */
export function needInHand(card) {
  const data = card.dataset;
  return {
    type: "need",
    id: Number(data.need),
    version: null,
    minutes: Number(data.minutes),
    volume: Number(data.volume),
    van: null,
    due: data.due || "",
    earliest: data.earliest || "",
    onlyCrew: data.crew ? Number(data.crew) : null,
    skills: data.skills ? data.skills.split(" ") : [],
    along: [],
    size: Number(data.size) || 1,
    label: data.place,
    fixed: "",
    from: null,
  };
}

export const elementOf = (thing) =>
  document.getElementById(`${thing.type === "visit" ? "visit" : "need"}-${thing.id}`);

/** The part of the board that is drawn, as a query for the server. */
export function span() {
  return new URLSearchParams({ from: board().dataset.first, days: board().dataset.count });
}

/** Have the rows of these crews drawn again; resolves when they are. */
export function drawAgain(crews) {
  const rows = [...new Set(crews)].map(rowOfCrew).filter(Boolean);
  return Promise.all(rows.map(drawRowAgain));
}

function drawRowAgain(row) {
  const id = row.id;
  return new Promise((done) => {
    const settle = () => {
      document.body.removeEventListener("htmx:afterSettle", heard);
      clearTimeout(timer);
      done();
    };
    const heard = () => {
      if (document.getElementById(id) !== row) settle();
    };
    const timer = setTimeout(settle, 8000);
    document.body.addEventListener("htmx:afterSettle", heard);
    window.htmx.trigger(row, "planning:row");
  });
}
