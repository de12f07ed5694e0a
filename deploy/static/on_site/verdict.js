// The depth verdict without signal: the rules of depth, count and spread, in the same whole
// numbers and the same order of arithmetic as calculations/depth_rule.py, whose verdict counts.
import { boundsOf, covers, distanceTo, distanceToEdge, distanceToLines } from "./geometry.js";

const TENTHS = 10;
const GRADES = ["short", "unproven", "meets"];
const LATTICE_MM = 250;
const COMFORTABLE_MM = 400;
const CLEARANCE_MM = 100;

/** To the nearest whole number, halves to the even one. */
function toEven(value) {
  const floor = Math.floor(value);
  const rest = value - floor;
  if (rest !== 0.5) return Math.round(value);
  return floor % 2 === 0 ? floor : floor + 1;
}

/** The name of the area that a place lies in or next to; "" when it lies in none. */
export function areaAt(rules, x, y) {
  let best = "";
  let least = Infinity;
  for (const area of rules.areas) {
    const away = distanceTo(area.net, x, y);
    if (away < least) [best, least] = [area.name, away];
  }
  return least <= rules.edge_tolerance_mm ? best : "";
}

function zoneOf(grid, x, y) {
  const dx = x - grid.pivot_mm[0];
  const dy = y - grid.pivot_mm[1];
  const along = dx * grid.cos + dy * grid.sin - grid.low_mm[0];
  const across = dy * grid.cos - dx * grid.sin - grid.low_mm[1];
  const within = (value, most) => Math.min(Math.max(Math.floor(value), 0), most);
  const column = within(along / grid.step_mm[0], grid.columns - 1);
  const row = within(across / grid.step_mm[1], grid.rows - 1);
  const cell = row * grid.columns + column;
  return grid.counted[cell] ? cell : -1;
}

function eavesTenths(rules, area, x, y) {
  const away = Math.max(0, distanceToLines(area.eaves_edges, x, y) - rules.position_tolerance_mm);
  const height = away * rules.roof.slope + rules.roof.at_plate_mm;
  const room = Math.max(0, height - rules.roof.gap_mm);
  const least = Math.min(rules.least_eaves_depth_mm, room, rules.min_depth_mm);
  return Math.max(0, Math.floor((least - rules.reading_tolerance_mm) * TENTHS));
}

/** What a reading's place makes of it. */
function placed(rules, area, reading) {
  const { x_mm: x, y_mm: y, allowance } = reading;
  const where = { eaves: area.eaves, tank: area.tanks, deck: area.decks }[allowance];
  const granted = Boolean(where) && covers(where, x, y);
  const inside = covers(area.reach, x, y);
  const counts = inside && !granted && !covers(area.solids, x, y);
  const isEaves = granted && inside && allowance === "eaves";
  return {
    reading,
    tenths: toEven(reading.depth_mm * TENTHS),
    counts,
    allowed: granted && inside ? allowance : "",
    zone: counts ? zoneOf(area.grid, x, y) : -1,
    eavesLeast: isEaves ? eavesTenths(rules, area, x, y) : 0,
  };
}

function judgeArea(rules, area, mine) {
  const counted = mine.filter((p) => p.counts);
  const n = counted.length;
  const required = rules.required_tenths;
  const sum = (values) => values.reduce((total, value) => total + value, 0);
  const lacking = counted.map((p) => Math.max(required - p.tenths, 0));
  const total = sum(counted.map((p) => p.tenths));
  const below = counted.filter((p) => p.tenths < rules.below_tenths).length;
  const tooThin = counted.filter((p) => p.tenths < rules.thin_tenths).length;
  const eaves = mine.filter((p) => p.allowed === "eaves");
  const eavesThin = eaves.filter((p) => p.tenths < p.eavesLeast).length;
  const zones = new Set(counted.map((p) => p.zone).filter((zone) => zone >= 0));
  const zonesNeeded = sum(area.grid.counted);
  const shareBelow = below / Math.max(n, 1);
  const limit = lowerLimit(rules, n, sum(lacking), sum(lacking.map((each) => each * each)));
  const enough =
    (n === 0 || total >= required * n) && tooThin === 0 &&
    shareBelow <= rules.greatest_share_below && eavesThin === 0;
  const proved =
    n > 0 && n >= area.needed && zones.size >= zonesNeeded &&
    limit >= rules.least_limit_share * (required / TENTHS);
  return {
    area: area.name,
    verdict: enough ? (proved ? "meets" : "unproven") : "short",
    counted: n,
    needed: area.needed,
    zones,
    zones_needed: zonesNeeded,
    mean_mm: n ? total / n / TENTHS : NaN,
    least_mm: n ? Math.min(...counted.map((p) => p.tenths)) / TENTHS : NaN,
    lower_limit_mm: limit,
    share_below: shareBelow,
    eaves_lacking_mm: Math.max(0, ...eaves.map((p) => p.eavesLeast - p.tenths)) / TENTHS,
    taken: counted.map((p) => [p.reading.x_mm, p.reading.y_mm]),
  };
}

/** NaN with fewer than two readings, or more than the table reaches. */
function lowerLimit(rules, n, lacking, squares) {
  const t = n >= 2 ? rules.t[n] : NaN;
  if (t === undefined || Number.isNaN(t)) return NaN;
  const spread = Math.sqrt(squares / (n - 1) / n);
  return (rules.required_tenths - lacking / n - t * spread) / TENTHS;
}

/**
 * The verdict on readings ({area, x_mm, y_mm, depth_mm, allowance}) and what is still missing.
 * Readings that name no area of this loft are left out.
 */
export function assess(rules, readings) {
  const areas = rules.areas.map((area) => {
    const mine = readings.filter((each) => each.area === area.name);
    return judgeArea(rules, area, mine.map((each) => placed(rules, area, each)));
  });
  const worst = Math.min(...areas.map((area) => GRADES.indexOf(area.verdict)));
  const lacks = areas
    .filter((area) => area.verdict === "short")
    .map((area) => Math.max(0, rules.min_depth_mm - (area.least_mm || Infinity), area.eaves_lacking_mm));
  return {
    verdict: GRADES[worst],
    areas,
    deficit_mm: Math.max(0, ...lacks),
    missing: areas.flatMap((area) => missingIn(rules, area)),
    wanted: rules.areas.flatMap((area, index) => wantedIn(area, areas[index])),
  };
}

function missingIn(rules, area) {
  const said = [];
  const more = area.needed - area.counted;
  if (more > 0) {
    const word = more > 1 ? "readings" : "reading";
    said.push(`${area.area}: ${more} more ${word} at full depth (${area.counted} of ${area.needed}).`);
  }
  const empty = area.zones_needed - area.zones.size;
  if (empty > 0 && area.counted) {
    said.push(`${area.area}: ${empty} ${empty > 1 ? "zones" : "zone"} without a reading.`);
  }
  if (area.verdict === "unproven" && more <= 0 && empty <= 0) {
    const least = Math.round(rules.least_limit_share * rules.min_depth_mm);
    said.push(
      `${area.area}: readings scatter too much to be sure of ${least} mm; take more, or add wool` +
      " at the thin places."
    );
  }
  return said;
}

/** Places that still want a reading: each zone without one, then the widest gaps. */
function wantedIn(area, judged) {
  const found = Object.entries(area.middles)
    .filter(([zone]) => !judged.zones.has(Number(zone)))
    .map(([, [x, y]]) => ({ area: area.name, x, y }));
  const places = [...judged.taken, ...found.map((place) => [place.x, place.y])];
  if (places.length >= area.needed) return found;
  const lattice = clearOf(area, latticeOf(area.open));
  while (places.length < area.needed && lattice.length) {
    const [x, y] = farthest(lattice, places);
    places.push([x, y]);
    found.push({ area: area.name, x, y });
  }
  return found;
}

function latticeOf(shape) {
  const [lowX, lowY, highX, highY] = boundsOf(shape);
  const all = [];
  for (let y = Math.ceil(lowY); y <= highY; y += LATTICE_MM) {
    for (let x = Math.ceil(lowX); x <= highX; x += LATTICE_MM) {
      if (covers(shape, x, y)) all.push([x, y, distanceToEdge(shape, x, y)]);
    }
  }
  const roomy = all.filter((point) => point[2] >= COMFORTABLE_MM);
  const kept = roomy.length >= all.length / 4 ? roomy : all.filter((point) => point[2] >= CLEARANCE_MM);
  return kept.length ? kept : all;
}

/** The places off joists, cables and fittings, where that leaves enough to choose from. */
function clearOf(area, lattice) {
  for (const shape of area.clear || []) {
    const kept = lattice.filter(([x, y]) => covers(shape, x, y));
    if (kept.length >= area.needed) return kept;
  }
  return lattice;
}

function farthest(lattice, places) {
  let best = lattice[0];
  let widest = -1;
  for (const point of lattice) {
    const gap = Math.min(...places.map(([x, y]) => Math.hypot(point[0] - x, point[1] - y)));
    if (gap > widest) [best, widest] = [point, gap];
  }
  return best;
}
