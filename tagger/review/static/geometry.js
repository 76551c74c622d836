// Pictures, field and play frame: pure functions. Pixels, yards and seconds as on the server.

/** Row of the frame that is on the screen at `t` (seconds): the last that has begun. */
export function rowAt(times, t) {
  let low = 0, high = times.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (times[middle] <= t + 1e-3) low = middle; else high = middle - 1;
  }
  return Math.max(low, 0);
}

/** A time inside the frame of `row`, so that a seek lands on it and not on its neighbour. */
export function insideFrame(times, row) {
  const next = row + 1 < times.length ? times[row + 1] : times[row] + (row ? times[row] - times[row - 1] : 0.04);
  return times[row] + 0.4 * (next - times[row]);
}

/** How high the turf stands above the sidelines at y, and how that rises with y. */
function heightAndSlope(view, y) {
  const half = WIDTH_YD / 2, even = Math.max(0, 1 - Math.abs(y / half - 1));
  const slope = even > 0 ? Math.sign(half - y) * (view.crown_yd + view.bulge_yd * (1 - 2 * even)) / half : 0;
  return [even * (view.crown_yd + view.bulge_yd * (1 - even)), slope];
}

/** Where the camera sees the turf at [x, y] on ground as level as the sidelines. */
function onLevelGround(view, x, y) {
  if (!view.crown_yd && !view.bulge_yd) return [x, y];
  const [cx, cy, cz] = view.centre_yd, away = cz / (cz - heightAndSlope(view, y)[0]);
  return [cx + (x - cx) * away, cy + (y - cy) * away];
}

/** The turf that the camera sees at [x, y] of that level ground: Newton's method on how much of the way the ray goes. */
function onTurf(view, x, y) {
  if (!view.crown_yd && !view.bulge_yd) return [x, y];
  const [cx, cy, cz] = view.centre_yd;
  let share = 1;
  for (let i = 0; i < 3; i++) {
    const [high, slope] = heightAndSlope(view, cy + (y - cy) * share);
    share -= (share - 1 + high / cz) / (1 + slope * (y - cy) / cz);
  }
  return [cx + (x - cx) * share, cy + (y - cy) * share];
}

/** Picture point [x, y] of the field point; null behind the camera, beyond where the lens folds, or where the frame is lost. */
export function toPicture(view, row, x, y) {
  const m = view.image_from_field[row];
  if (!m) return null;
  [x, y] = onLevelGround(view, x, y);
  const w = m[6] * x + m[7] * y + m[8];
  if (w <= 1e-9) return null;
  const px = (m[0] * x + m[1] * y + m[2]) / w, py = (m[3] * x + m[4] * y + m[5]) / w;
  if (!view.distortion) return [px, py];
  const cx = view.size_px[0] / 2, cy = view.size_px[1] / 2, dx = px - cx, dy = py - cy;
  const bend = view.distortion * (dx * dx + dy * dy) / (cx * cx);
  return 1 + 3 * bend > 0 ? [cx + dx * (1 + bend), cy + dy * (1 + bend)] : null;
}

/** Field point [x, y] of a picture point; null where the frame is lost or the point lies above the horizon. */
export function toField(view, row, px, py) {
  const m = view.image_from_field[row];
  if (!m) return null;
  const cx = view.size_px[0] / 2, cy = view.size_px[1] / 2;
  let dx = px - cx, dy = py - cy;
  const bent = Math.hypot(dx, dy) / cx;
  let r = bent;
  for (let i = 0; i < 4; i++) r -= (r * (1 + view.distortion * r * r) - bent) / (1 + 3 * view.distortion * r * r);
  const scale = bent > 1e-9 ? r / bent : 1;
  const u = cx + dx * scale, v = cy + dy * scale;
  const [a, b, c, d, e, f, g, h, i] = m;
  const x = (e * i - f * h) * u + (c * h - b * i) * v + (b * f - c * e);
  const y = (f * g - d * i) * u + (a * i - c * g) * v + (c * d - a * f);
  const w = (d * h - e * g) * u + (b * g - a * h) * v + (a * e - b * d);
  const at = onTurf(view, x / w, y / w);
  return toPicture(view, row, at[0], at[1]) ? at : null;
}

export const WIDTH_YD = 160 / 3;

export function playFromField(placement, x, y) {
  return [placement.direction * (x - placement.line_x_yd), placement.direction === 1 ? WIDTH_YD - y : y];
}

export function fieldFromPlay(placement, downfield, across) {
  return [placement.line_x_yd + placement.direction * downfield, placement.direction === 1 ? WIDTH_YD - across : across];
}

/** A person's box [x0, y0, x1, y1] at a row, null in gaps. */
export function boxAt(person, row) {
  const k = 4 * (row - person.first);
  return k >= 0 && k < person.box.length && person.box[k] !== null ? person.box.slice(k, k + 4) : null;
}

/** A person's field spot [x, y] at a row, null in gaps. */
export function spotAt(person, row) {
  const k = 2 * (row - person.first);
  return k >= 0 && k < person.xy.length && person.xy[k] !== null ? [person.xy[k], person.xy[k + 1]] : null;
}

/** The interval of a defender at a time; of two that meet, the later. */
export function intervalAt(defender, t) {
  let found = null;
  for (const interval of defender ? defender.intervals : []) if (interval.start_s <= t + 1e-6 && t <= interval.end_s + 1e-6) found = interval;
  return found;
}

/** An outline cut into pieces of at most `step` yards, so that perspective and lens can bend it. */
export function inPieces(outline, step = 1.5) {
  const points = [];
  outline.forEach((from, k) => {
    const to = outline[(k + 1) % outline.length];
    const n = Math.max(1, Math.ceil(Math.hypot(to[0] - from[0], to[1] - from[1]) / step));
    for (let i = 0; i < n; i++) points.push([from[0] + (to[0] - from[0]) * i / n, from[1] + (to[1] - from[1]) * i / n]);
  });
  return points;
}
