// What is drawn over the film: zones on the turf, boxes, who has what, and the field's lines as the machine sees them.

import { freshContext } from "./dom.js";
import { boxAt, fieldFromPlay, inPieces, intervalAt, toField, toPicture, WIDTH_YD } from "./geometry.js";
import { fillOf, lookOf, tagLabel } from "./looks.js";

const SIDE_DASH = { offense: [], defense: [7, 3], other: [2, 3] };

/** Draw one view at its row. `page` holds the rep, the chosen man, the toggles and the hints. */
export function drawOverlay(screen, page) {
  const { context, width } = freshContext(screen.canvas);
  const scale = width / screen.moving.size_px[0];
  const t = screen.moving.time_s[screen.row] - screen.offset;
  const at = (x, y) => { const p = toPicture(screen.moving, screen.row, x, y); return p && [p[0] * scale, p[1] * scale]; };
  if (page.editing?.screen === screen) { page.editing.draw(context); return; }
  if (!screen.moving.image_from_field[screen.row]) plate(context, "The field was not found here: M names its marks", width / 2, 6, "#000", "#fff", false);
  if (page.toggles.lines) drawLines(context, at);
  if (page.toggles.zones) drawZones(context, screen, page, t, at);
  const taken = [];
  for (const person of screen.moving.people) {
    const box = boxAt(person, screen.row);
    if (!box) continue;
    const chosen = person.player !== null && person.player === page.chosen || page.chosen === `T${person.track}`;
    if (page.toggles.boxes || chosen) drawBox(context, box, scale, person, chosen);
    if (page.toggles.tags) drawTag(context, box, scale, person, page, t, chosen, taken);
    if (page.hints) drawHint(context, box, scale, page.hints.letterOf(person));
  }
  drawAnchors(context, screen, page, scale);
}

/** The next free place below `y` for a label, among those `taken` in this picture. */
export function freeBelow(taken, x, y, width, height) {
  const hits = (t) => Math.abs(t.x - x) < (t.width + width) / 2 && t.y < y + height && y < t.y + height;
  for (let tries = 0; tries < 5 && taken.some(hits); tries++) y += height;
  taken.push({ x, y, width });
  return y;
}

function path(context, points) {
  context.beginPath();
  points.forEach(([x, y], k) => (k ? context.lineTo(x, y) : context.moveTo(x, y)));
}

function drawLines(context, at) {
  context.strokeStyle = "#ffffff";
  context.lineWidth = 1;
  context.setLineDash([4, 3]);
  for (let x = 10; x <= 110; x += 5) {
    const points = [];
    for (let k = 0; k <= 16; k++) { const p = at(x, WIDTH_YD * k / 16); if (p) points.push(p); }
    path(context, points);
    context.stroke();
  }
  for (const y of [0, WIDTH_YD]) {
    const points = [];
    for (let x = 0; x <= 120; x += 3) { const p = at(x, y); if (p) points.push(p); }
    path(context, points);
    context.stroke();
  }
  context.setLineDash([]);
}

function drawZones(context, screen, page, t, at) {
  const { placement, zones } = screen.moving;
  if (!placement) return;
  const defenders = [...page.rep.reading.defenders].sort((a, b) => (a.player_id === page.chosen) - (b.player_id === page.chosen));
  for (const defender of defenders) {
    const interval = intervalAt(defender, t), outline = interval && zones[`${interval.assignment}:${interval.area}`];
    if (!outline) continue;
    const points = inPieces(outline).map(([d, a]) => at(...fieldFromPlay(placement, d, a))).filter(Boolean);
    if (points.length < 3) continue;
    path(context, points);
    context.closePath();
    const chosen = defender.player_id === page.chosen;
    context.globalAlpha = chosen ? 0.62 : page.chosen ? 0.2 : 0.36;
    context.fillStyle = fillOf(context, interval.assignment);
    context.fill();
    context.globalAlpha = 1;
    context.strokeStyle = "#fff";
    context.lineWidth = chosen ? 2.5 : 1;
    context.stroke();
  }
}

function drawBox(context, [x0, y0, x1, y1], scale, person, chosen) {
  context.lineWidth = chosen ? 3 : 1.5;
  context.setLineDash(SIDE_DASH[person.side] || []);
  for (const [ink, grow] of [["#000", 1], ["#fff", 0]]) {
    context.strokeStyle = ink;
    context.strokeRect(x0 * scale - grow, y0 * scale - grow, (x1 - x0) * scale + 2 * grow, (y1 - y0) * scale + 2 * grow);
  }
  context.setLineDash([]);
}

function plate(context, text, x, y, colour, ink, strong, taken) {
  context.font = `${strong ? 700 : 600} 12px sans-serif`;
  const width = context.measureText(text).width + 8;
  if (taken) y = freeBelow(taken, x, y, width, 16);
  context.fillStyle = colour;
  context.fillRect(x - width / 2, y, width, 16);
  if (strong) { context.strokeStyle = "#fff"; context.lineWidth = 2; context.strokeRect(x - width / 2, y, width, 16); }
  context.fillStyle = ink;
  context.textAlign = "center";
  context.fillText(text, x, y + 12);
}

function drawTag(context, box, scale, person, page, t, chosen, taken) {
  const x = (box[0] + box[2]) / 2 * scale, y = box[3] * scale + 2;
  const defender = person.player && page.defenders.get(person.player);
  const interval = intervalAt(defender, t);
  if (!interval || interval.assignment === "rush" && !chosen) return;
  if (page.chosen && !chosen && page.toggles.quiet) return;
  const look = lookOf(interval.assignment), number = page.rep.numbers[person.player];
  plate(context, `${number ? `${number} ` : ""}${tagLabel(interval, page.receivers)}`, x, y, look.colour, look.ink, chosen, taken);
}

function drawHint(context, box, scale, letter) {
  if (letter) plate(context, letter.toUpperCase(), (box[0] + box[2]) / 2 * scale, box[1] * scale - 18, "#fff", "#000", true);
}

function drawAnchors(context, screen, page, scale) {
  for (const anchor of page.anchorsOf(screen.clip)) {
    if (anchor.frame_index !== undefined && anchor.row !== screen.row && anchor.frame_index !== screen.moving.frame_index[screen.row]) continue;
    const [x, y] = anchor.image_xy_px.map((v) => v * scale);
    context.strokeStyle = "#000";
    context.lineWidth = 4;
    for (const ink of ["#000", "#fff"]) {
      context.strokeStyle = ink;
      context.lineWidth = ink === "#000" ? 4 : 2;
      path(context, [[x - 9, y], [x + 9, y]]);
      context.stroke();
      path(context, [[x, y - 9], [x, y + 9]]);
      context.stroke();
    }
  }
}

/** The person under a point of the canvas (CSS pixels): the smallest box about it. */
export function personAt(screen, x, y) {
  const scale = screen.canvas.clientWidth / screen.moving.size_px[0];
  let best = null, least = Infinity;
  for (const person of screen.moving.people) {
    const box = boxAt(person, screen.row);
    if (!box || x < box[0] * scale - 4 || x > box[2] * scale + 4 || y < box[1] * scale - 4 || y > box[3] * scale + 4) continue;
    const size = (box[2] - box[0]) * (box[3] - box[1]);
    if (size < least) { least = size; best = person; }
  }
  return best;
}

/** Field spot under a point of the canvas, null above the horizon or where the field is lost. */
export function turfAt(screen, x, y) {
  const scale = screen.canvas.clientWidth / screen.moving.size_px[0];
  return { field: toField(screen.moving, screen.row, x / scale, y / scale), picture: [x / scale, y / scale] };
}
