// Whether a visit can lie somewhere, from what the page knows, so that the answer is there while
// the hand still moves. The server is asked as well and has the last word; a drop is decided by
// the database.
import { STEPS_A_DAY, STEP_MIN, blocksOf, clock, rowOf, tracks } from "./planning_board.js";

export const YES = "yes";
export const DEAR = "dear";
export const NO = "no";
export const WORD = { yes: "fits", dear: "can be booked, but", no: "does not fit" };
/** While the server is still asked, which knows drives, agreed times and stock. */
export const SO_FAR = "fits so far…";

const no = (why) => ({ fit: NO, why: [why] });

/** The verdict on a place: { fit, why: [sentences], besides: those the server does not tell }. */
export function verdictOn(thing, track, step) {
  const row = rowOf(track);
  const never = neverHere(thing, track);
  if (never) return no(never);
  const ends = step + thing.minutes / STEP_MIN;
  if (hasPassed(track.dataset.day, step)) return no("That time has passed.");
  const clash = clashIn(thing, track, step, ends) || vanClash(thing, row, track, step, ends);
  if (clash) return no(clash);
  const away = awayThen(track, step, ends);
  if (away) return no(`${row.dataset.name} is away then: ${away}.`);
  const besides = vanComesBack(thing, track);
  const why = [...pricesOf(thing, track, step, ends), ...besides];
  return { fit: why.length ? DEAR : YES, why, besides };
}

/**
 * Why a visit would be refused anywhere on a track; "" if it would not. Who goes along may have what
 * the crew lacks: whether they can come at a time is the server's to say.
 */
export function neverHere(thing, track) {
  const row = rowOf(track);
  const skills = [...row.dataset.skills.split(" "), ...thing.along];
  const missing = thing.skills.find((skill) => !skills.includes(skill));
  if (missing) return `Nobody in ${row.dataset.name} can do it: ${missing.replaceAll("_", " ")}.`;
  if (hasPassed(track.dataset.day, STEPS_A_DAY)) return "That day has passed.";
  return "";
}

function hasPassed(day, step) {
  const [year, month, date] = day.split("-").map(Number);
  return new Date(year, month - 1, date, 0, step * STEP_MIN) < new Date();
}

function clashIn(thing, track, step, ends) {
  const other = blocksOf(track).find((link) => isOther(thing, link) && overlaps(link, step, ends));
  return other ? `${rowOf(track).dataset.name} is at ${other.dataset.place} then.` : "";
}

/** The van that would go may be out with another crew. */
function vanClash(thing, row, track, step, ends) {
  const own = thing.type === "visit" ? vanOf(thing, row) : row.dataset.van;
  if (!own) return "";
  const other = tracks()
    .filter((elsewhere) => elsewhere.dataset.day === track.dataset.day && elsewhere !== track)
    .flatMap(blocksOf)
    .find((link) => link.dataset.van === own && isOther(thing, link) && overlaps(link, step, ends));
  return other ? `Its van is at ${other.dataset.place} then.` : "";
}

/** As the server does it: a visit on its crew's usual van takes that of the crew it goes to. */
function vanOf(thing, row) {
  const home = document.getElementById(`crew-${thing.from.crew}`);
  return home && home.dataset.van === thing.van ? row.dataset.van : thing.van;
}

const isOther = (thing, link) => thing.type !== "visit" || Number(link.dataset.visit) !== thing.id;

function overlaps(link, step, ends) {
  const begins = Number(link.dataset.step);
  return begins < ends && step < begins + Number(link.dataset.minutes) / STEP_MIN;
}

function awayThen(track, step, ends) {
  const found = [...track.querySelectorAll("[data-away]")].find((stretch) => {
    const begins = Number(numberIn(stretch, "f"));
    return begins < ends && step < begins + Number(numberIn(stretch, "l"));
  });
  return found ? found.dataset.away : "";
}

function numberIn(element, letter) {
  const name = [...element.classList].find((one) => new RegExp(`^${letter}\\d+$`).test(one));
  return name ? name.slice(1) : 0;
}

/** What is possible, but costs something. */
function pricesOf(thing, track, step, ends) {
  const found = [];
  const row = rowOf(track);
  const { name, crew, size } = row.dataset;
  const { opens, closes, overtime, closed, day } = track.dataset;
  if (closed) found.push(`${name} does not usually work then: ${closed}.`);
  if (thing.onlyCrew && thing.onlyCrew !== Number(crew)) found.push("Another crew should do it.");
  if (thing.size && Number(size) < thing.size) {
    found.push(`It needs ${thing.size} operatives; ${name} has ${size}.`);
  }
  if (thing.earliest && day < thing.earliest) found.push("Earlier than it should begin.");
  if (step < Number(opens)) found.push(`${name}'s day begins at ${clock(Number(opens))}.`);
  if (ends > Number(overtime)) {
    const over = Math.round((ends - Number(closes)) * STEP_MIN);
    found.push(`${name} would work ${over} min longer than its day.`);
  }
  if (thing.due && day > thing.due) found.push("Later than its due date.");
  return found;
}

function vanComesBack(thing, track) {
  const { room, volume } = track.dataset;
  const isHere = thing.type === "visit" && track.querySelector(`[data-visit="${thing.id}"]`);
  const load = Number(volume) + (isHere ? 0 : thing.volume);
  if (room && thing.volume && load > Number(room) + 0.01) {
    return [`The van comes back to load: ${load.toFixed(1)} of ${Number(room).toFixed(1)} m³.`];
  }
  return [];
}
