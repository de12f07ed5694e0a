// One visit in hand. `pickUp` takes it, `moveTo` says where it would go, `drop` asks the server to
// put it there, `leave` puts it back. Mouse, finger, keyboard and buttons all come through here.
import { ask, send } from "./planning_ask.js";
import {
  QUARTER, STEP_MIN, board, crewRows, days, drawAgain, elementOf, lay, placeWords, rowOf,
  rowOfCrew, scale, span, trackOf, tracks,
} from "./planning_board.js";
import { NO, SO_FAR, WORD, YES, neverHere, verdictOn } from "./planning_rules.js";
import { clearNotes, say, tell } from "./planning_say.js";

const ASK_AFTER_MS = 140;
const LOOKING = "Looking for the cheapest place…";
let hand = null; // { thing, at, ghost, verdict, timer, asking, looking, waits }

export const inHand = () => hand;

// A row that was drawn while something is in hand (it came into sight) gets its part back.
document.body.addEventListener("htmx:afterSettle", () => {
  if (!hand) return;
  liftAgain();
  if (!hand.looking && !hand.ghost.isConnected) show();
});

/**
 * Take a visit or a need in hand; `byHand`: dragged. Returns false when it cannot be moved.
 *
 * What is picked from the list begins where it costs least, which the server knows. Until it has
 * answered the thing lies nowhere: nothing can be put down unseen, and keys pressed meanwhile wait.
 */
export function pickUp(thing, { byHand = false } = {}) {
  if (hand) leave({ silent: true });
  if (thing.fixed) {
    tell("refused", `${thing.label} is ${thing.fixed} and stays where it is.`);
    return false;
  }
  clearNotes();
  const ghost = document.createElement("div");
  ghost.className = "ghost";
  const looking = !byHand && !thing.from;
  hand = { thing, at: thing.from || firstPlace(thing), ghost, verdict: null, looking, waits: [] };
  document.body.classList.add("is-moving");
  liftAgain();
  document.getElementById("moving-bar").hidden = false;
  askForPlaces();
  if (looking) tellLooking();
  else show();
  if (!byHand) hand.ghost.scrollIntoView({ block: "nearest", inline: "nearest" });
  const where = looking ? LOOKING : whereWords();
  say(`${thing.label} picked up. Arrow keys move it, Enter puts it down, Escape leaves it. ${where}`);
  return true;
}

/** After a row was drawn again: the block in hand looks lifted still, the ghost is in its track. */
export function liftAgain() {
  const element = elementOf(hand.thing);
  if (element) (element.closest(".block") || element).classList.add("lifted");
}

export function moveTo(at, { aloud = false } = {}) {
  if (!hand || !trackOf(at.crew, at.day)) return;
  const same = hand.at.crew === at.crew && hand.at.day === at.day && hand.at.step === at.step;
  hand.at = { ...at, step: inside(at.step) };
  if (same && hand.verdict) return;
  show();
  if (aloud) say(`${whereWords()}. ${verdictWords(hand.verdict)}`);
  if (aloud) hand.ghost.scrollIntoView({ block: "nearest", inline: "nearest" });
}

/** By keys and buttons: a quarter of an hour, a crew, a day. */
export function nudge(what) {
  if (!hand) return;
  if (hand.looking) return void hand.waits.push(what);
  const { crew, day, step } = hand.at;
  const by = { earlier: -QUARTER, later: QUARTER }[what] || 0;
  const crews = crewRows().map((row) => Number(row.dataset.crew));
  const shown = days();
  const next = (list, now, by_) => list[Math.min(Math.max(list.indexOf(now) + by_, 0), list.length - 1)];
  const at = { crew, day, step: step + by };
  if (what === "crew-up") at.crew = next(crews, crew, -1);
  if (what === "crew-down") at.crew = next(crews, crew, 1);
  if (what === "day-before") at.day = next(shown, day, -1);
  if (what === "day-after") at.day = next(shown, day, 1);
  if (!trackOf(at.crew, at.day)) rowOfCrew(at.crew)?.scrollIntoView({ block: "nearest" });
  moveTo(at, { aloud: true });
}

/** Put it down where it is. Resolves when the server has answered and the rows are drawn. */
export async function drop() {
  if (!hand) return;
  if (hand.looking) return say(LOOKING);
  const { thing, at, verdict } = hand;
  if (thing.from && sameAs(thing.from, at)) return leave();
  if (verdict.fit === NO) {
    leave({ silent: true });
    tell("refused", `${thing.label} stays where it was. ${verdict.why.join(" ")}`);
    return focusOn(thing);
  }
  finish();
  await put(thing, at, { leaves: verdict.leaves });
}

export function leave({ silent = false } = {}) {
  if (!hand) return;
  const { thing } = hand;
  finish();
  if (!silent) say(`${thing.label} left where it was.`);
  focusOn(thing);
}

/**
 * Ask the server to move or book; tell what came of it, with a way back. `leaves`: who goes along
 * and could not come, as was told while it was in hand; of anybody else the server asks first.
 * `back`: who was left behind by the move that is undone, and goes along again if still free.
 */
async function put(thing, at, { undoing = false, leaves = [], back = [] } = {}) {
  const fields = { crew: at.crew, starts_at: momentOf(at) };
  const address = thing.type === "visit" ? board().dataset.move : board().dataset.place;
  if (thing.type === "visit") Object.assign(fields, { visit: thing.id, version: thing.version, leaves, back });
  else fields.need = thing.id;
  const answer = await send(address, fields);
  if (answer.status === 200) {
    await drawAgain(answer.crews);
    redrawBeside(thing);
    tell("done", answer.words, undoing ? [] : wayBack(thing, answer));
    return focusOn({ type: "visit", id: answer.visit });
  }
  await drawAgain([at.crew, ...(thing.from ? [thing.from.crew] : []), ...(answer.crews || [])]);
  let again = answer.status === 412 ? [["Move it all the same", () => putAgain(thing, at, { undoing, back })]] : [];
  if (answer.leaves) again = [["Move it without them", () => put(thing, at, { undoing, back, leaves: answer.leaves })]];
  tell("refused", answer.message, again);
  focusOn(thing);
}

/** After somebody else was faster: from the visit as it stands now, on purpose. */
function putAgain(thing, at, again) {
  const link = elementOf(thing);
  if (!link) return tell("refused", `${thing.label} is not on these days any more.`);
  return put({ ...thing, version: Number(link.dataset.version) }, at, again);
}

/** Who was left behind comes back by it, where they are still free; the server says who could not. */
function wayBack(thing, answer) {
  if (thing.type !== "visit") return [];
  const there = { ...thing, version: answer.version };
  return [["Undo", () => put(there, thing.from, { undoing: true, back: answer.left })]];
}

/** What else on the page tells of the same: the list that waits, the map. */
function redrawBeside(thing) {
  if (thing.type === "need") window.htmx.trigger("#needs", "planning:needs");
  window.htmx.trigger("#day-map", "planning:map");
}

function finish() {
  clearTimeout(hand.timer);
  hand.asking?.abort();
  hand.ghost.remove();
  document.querySelectorAll(".lifted").forEach((element) => element.classList.remove("lifted"));
  tracks().forEach((track) => {
    delete track.dataset.verdict;
    track.querySelector(".track-verdict")?.remove();
  });
  document.body.classList.remove("is-moving");
  mayDrop(true);
  document.getElementById("moving-bar").hidden = true;
  hand = null;
  document.dispatchEvent(new CustomEvent("planning:hand-empty"));
}

/** Draw the ghost, the verdict and the bar for where it is now. */
function show() {
  const track = trackOf(hand.at.crew, hand.at.day);
  if (!track) return;
  track.append(hand.ghost);
  lay(hand.ghost, hand.at.step, hand.thing.minutes / STEP_MIN);
  const verdict = verdictOn(hand.thing, track, hand.at.step);
  judge(verdict, { soFar: verdict.fit !== NO });
  clearTimeout(hand.timer);
  hand.asking?.abort();
  if (hand.verdict.fit !== NO) hand.timer = setTimeout(askAboutHere, ASK_AFTER_MS);
}

/** `soFar`: the server was not heard yet, so that a place that looks free may still have a price. */
function judge(verdict, { soFar = false } = {}) {
  hand.verdict = verdict;
  const told = soFar && verdict.fit === YES ? SO_FAR : WORD[verdict.fit];
  fillBar(whereWords(), told, verdict);
  hand.ghost.dataset.fit = verdict.fit;
  const word = document.createElement("strong");
  word.textContent = told;
  const why = document.createElement("span");
  why.className = "ghost-why";
  why.textContent = verdict.why[0] || "";
  hand.ghost.replaceChildren(word, document.createElement("br"), why);
}

function fillBar(where, told, verdict) {
  const bar = document.getElementById("moving-bar");
  bar.querySelector(".js-moving-what").textContent = hand.thing.label;
  bar.querySelector(".js-moving-where").textContent = where;
  bar.querySelector(".js-moving-fit").dataset.fit = verdict.fit;
  bar.querySelector(".js-moving-word").textContent = told;
  bar.querySelector(".js-moving-why").textContent = verdict.why.join(" ");
}

/** The server knows more: agreed times, what must be over before, drives, stock. */
async function askAboutHere() {
  const { thing, at } = hand;
  hand.asking = new AbortController();
  const place = { [thing.type]: thing.id, crew: at.crew, starts_at: momentOf(at) };
  const query = { ...place, ...Object.fromEntries(span()) };
  const answer = await ask(board().dataset.fit, query, hand.asking.signal);
  if (!answer || !hand || hand.thing !== thing || !sameAs(hand.at, at)) return;
  const before = hand.verdict;
  const besides = before.besides || [];
  const why = [...answer.why, ...besides];
  const fit = answer.fit === YES && besides.length ? before.fit : answer.fit;
  judge({ fit, why, leaves: answer.leaves });
  if (fit !== before.fit || answer.leaves.length) say(verdictWords(hand.verdict));
}

/** On every track at once: whether there is a place on it, and the best one. */
async function askForPlaces() {
  const { thing } = hand;
  tracks().forEach((track) => mark(track, neverHere(thing, track) ? NO : "", neverHere(thing, track)));
  const query = { [thing.type]: thing.id, ...Object.fromEntries(span()) };
  const answer = await ask(board().dataset.places, query);
  if (!hand || hand.thing !== thing) return;
  const places = answer ? answer.places : [];
  places.forEach(({ crew, day, fit, words }) => {
    const track = trackOf(crew, day);
    if (track && track.dataset.verdict !== NO) mark(track, fit, words);
  });
  if (hand.looking) beginAt(cheapest(places) || hand.at);
}

/** Now it lies somewhere; what was pressed meanwhile leads it on from there. */
function beginAt(at) {
  const { waits } = hand;
  hand.looking = false;
  mayDrop(true);
  moveTo(at, { aloud: true });
  waits.forEach(nudge);
}

function cheapest(places) {
  const worth = ({ fit, extra_min: extra }) => (fit === YES ? 0 : 1e6) + extra;
  const drawn = places.filter(({ crew, day, fit }) => fit !== NO && trackOf(crew, day));
  const [best] = drawn.sort((one, other) => worth(one) - worth(other));
  if (!best) return null;
  const [hours, minutes] = best.starts_at.split(":").map(Number);
  return { crew: best.crew, day: best.day, step: (hours * 60 + minutes) / STEP_MIN };
}

function tellLooking() {
  fillBar(LOOKING, "", { fit: "", why: [] });
  mayDrop(false);
}

/** The button keeps the focus either way. */
function mayDrop(may) {
  document.querySelector('[data-moves="drop"]').setAttribute("aria-disabled", String(!may));
}

function mark(track, verdict, words) {
  if (verdict) track.dataset.verdict = verdict;
  if (!words) return;
  const line = track.querySelector(".track-verdict") || document.createElement("p");
  line.className = "track-verdict";
  line.textContent = words;
  track.append(line);
}

const verdictWords = (verdict) =>
  [`${WORD[verdict.fit]}.`, ...verdict.why.map((words) => words.replace(/\.?$/, "."))].join(" ");
const whereWords = () => placeWords(hand.at, hand.thing.minutes);
const sameAs = (one, other) =>
  one.crew === other.crew && one.day === other.day && one.step === other.step;

function momentOf({ day, step }) {
  const minutes = step * STEP_MIN;
  const two = (number) => String(number).padStart(2, "0");
  return `${day}T${two(Math.floor(minutes / 60))}:${two(minutes % 60)}`;
}

function inside(step) {
  const { opens, steps } = scale();
  const last = opens + steps - hand.thing.minutes / STEP_MIN;
  return Math.max(opens, Math.min(Math.round(step), Math.max(opens, Math.floor(last))));
}

/** Where a need begins its way: the first track that could take it, at the crew's first hour. */
function firstPlace(thing) {
  const track = tracks().find((one) => !neverHere(thing, one)) || tracks()[0];
  return {
    crew: Number(rowOf(track).dataset.crew),
    day: track.dataset.day,
    step: firstGap(thing, track),
  };
}

function firstGap(thing, track) {
  for (let step = Number(track.dataset.opens); step < Number(track.dataset.closes); step += QUARTER) {
    if (verdictOn(thing, track, step).fit !== NO) return step;
  }
  return Number(track.dataset.opens);
}

function focusOn(thing) {
  const element = elementOf(thing);
  if (!element) return;
  (element.matches("a") ? element : element.querySelector("[data-picks]"))?.focus({ preventScroll: true });
}
