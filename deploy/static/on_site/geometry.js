// Points against polygons and lines, in millimetres. A polygon is a list of rings (outline, then
// holes), a ring x, y, x, y ... and closed; a shape a list of polygons.
const ON_EDGE_MM = 1e-5;

/** Squared distance of a point from the segment a-b. */
function segmentSquared(x, y, ax, ay, bx, by) {
  const dx = bx - ax;
  const dy = by - ay;
  const length = dx * dx + dy * dy;
  const along = length ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / length)) : 0;
  const ex = x - (ax + along * dx);
  const ey = y - (ay + along * dy);
  return ex * ex + ey * ey;
}

/** Distance of a point from a list of lines; Infinity from none. */
export function distanceToLines(lines, x, y) {
  let least = Infinity;
  for (const line of lines) {
    for (let i = 0; i + 3 < line.length; i += 2) {
      least = Math.min(least, segmentSquared(x, y, line[i], line[i + 1], line[i + 2], line[i + 3]));
    }
  }
  return Math.sqrt(least);
}

function inRing(ring, x, y) {
  let inside = false;
  for (let i = 0; i + 3 < ring.length; i += 2) {
    const [ax, ay, bx, by] = [ring[i], ring[i + 1], ring[i + 2], ring[i + 3]];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  }
  return inside;
}

const strictlyIn = (polygon, x, y) =>
  inRing(polygon[0], x, y) && !polygon.slice(1).some((hole) => inRing(hole, x, y));

/** Whether a point lies in the shape or on its edge. */
export function covers(shape, x, y) {
  return shape.some(
    (polygon) => strictlyIn(polygon, x, y) || distanceToLines(polygon, x, y) <= ON_EDGE_MM
  );
}

/** How far outside the shape a point lies; 0 in it or on its edge. */
export function distanceTo(shape, x, y) {
  if (shape.some((polygon) => strictlyIn(polygon, x, y))) return 0;
  return Math.min(Infinity, ...shape.map((polygon) => distanceToLines(polygon, x, y)));
}

/** Distance of a point inside the shape from its nearest edge. */
export function distanceToEdge(shape, x, y) {
  return Math.min(Infinity, ...shape.map((polygon) => distanceToLines(polygon, x, y)));
}

/** [least x, least y, greatest x, greatest y] of a shape. */
export function boundsOf(shape) {
  const bounds = [Infinity, Infinity, -Infinity, -Infinity];
  for (const polygon of shape) {
    const outline = polygon[0];
    for (let i = 0; i < outline.length; i += 2) {
      bounds[0] = Math.min(bounds[0], outline[i]);
      bounds[1] = Math.min(bounds[1], outline[i + 1]);
      bounds[2] = Math.max(bounds[2], outline[i]);
      bounds[3] = Math.max(bounds[3], outline[i + 1]);
    }
  }
  return bounds;
}
