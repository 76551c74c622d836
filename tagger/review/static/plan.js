// The field from above, the offense going up, drawn like a plan on paper. The same men, zones and moment as the film.

import { freshContext } from "./dom.js";
import { intervalAt, playFromField, rowAt, spotAt, WIDTH_YD } from "./geometry.js";
import { fillOf, lookOf, tagLabel } from "./looks.js";
import { freeBelow } from "./overlay.js";

const BEHIND_YD = 11, SHOWN_YD = 42, TRAIL_ROWS = 45, MARGIN = 8;

export class Plan {
  constructor(canvas, page) {
    this.canvas = canvas;
    this.page = page;
    this.row = 0;
  }

  /** Draw at main time `t`. */
  draw(t) {
    const { context, width, height } = freshContext(this.canvas), { page } = this, moving = page.movings[0];
    this.t = t;
    this.row = rowAt(moving.time_s, t);
    this.scale = Math.min((width - 2 * MARGIN) / WIDTH_YD, (height - 2 * MARGIN) / SHOWN_YD);
    this.left = (width - this.scale * WIDTH_YD) / 2;
    this.foot = height - MARGIN - 12;
    this.ahead = (this.foot - MARGIN) / this.scale - BEHIND_YD;
    if (!moving.placement) {
      context.fillStyle = "#1c1f1d";
      context.font = "14px sans-serif";
      context.textAlign = "center";
      context.fillText("The line of scrimmage is not known: set direction (D) or ball (B).", width / 2, height / 2, width - 20);
      return;
    }
    this.lines(context);
    this.zones(context, t);
    this.people(context, moving, t);
  }

  /** Canvas point of a play spot. */
  at(downfield, across) { return [this.left + across * this.scale, this.foot - (downfield + BEHIND_YD) * this.scale]; }

  /** Play spot [downfield, across] of a canvas point. */
  playAt(x, y) { return [(this.foot - y) / this.scale - BEHIND_YD, (x - this.left) / this.scale]; }

  lines(context) {
    const line = (a, b, ink, wide) => { context.strokeStyle = ink; context.lineWidth = wide; context.beginPath(); context.moveTo(...a); context.lineTo(...b); context.stroke(); };
    context.font = "11px sans-serif";
    context.textAlign = "left";
    for (let yards = -10; yards <= this.ahead; yards += 5) {
      line(this.at(yards, 0), this.at(yards, WIDTH_YD), yards === 0 ? "#1c1f1d" : "#a9ad98", yards === 0 ? 2 : 1);
      if (yards > 0 && yards % 10 === 0) { context.fillStyle = "#565c55"; context.fillText(`${yards}`, this.left + 2, this.at(yards, 0)[1] - 2); }
    }
    context.setLineDash([2, 7]);
    for (const across of [20, WIDTH_YD - 20]) line(this.at(-BEHIND_YD, across), this.at(this.ahead, across), "#a9ad98", 3);
    context.setLineDash([]);
    for (const across of [0, WIDTH_YD]) line(this.at(-BEHIND_YD, across), this.at(this.ahead, across), "#1c1f1d", 1.5);
  }

  zones(context, t) {
    const { page } = this;
    if (!page.toggles.zones) return;
    for (const defender of page.rep.reading.defenders) {
      const interval = intervalAt(defender, t), outline = interval && page.movings[0].zones[`${interval.assignment}:${interval.area}`];
      if (!outline) continue;
      const chosen = defender.player_id === page.chosen;
      context.beginPath();
      outline.forEach(([d, a], k) => (k ? context.lineTo(...this.at(d, a)) : context.moveTo(...this.at(d, a))));
      context.closePath();
      context.globalAlpha = chosen ? 0.75 : page.chosen ? 0.16 : 0.3;
      context.fillStyle = fillOf(context, interval.assignment);
      context.fill();
      context.globalAlpha = 1;
      context.strokeStyle = chosen ? "#1c1f1d" : "#8a8f7c";
      context.lineWidth = chosen ? 2 : 1;
      context.stroke();
    }
  }

  people(context, moving, t) {
    const { page } = this, taken = [];
    for (const person of moving.people) {
      const spot = spotAt(person, this.row);
      if (!spot || person.side === "other" && !page.toggles.boxes) continue;
      const [d, a] = playFromField(moving.placement, ...spot);
      if (d < -BEHIND_YD - 3 || d > this.ahead + 1) continue;
      const key = person.player || `T${person.track}`, chosen = key === page.chosen;
      if (person.side !== "other") this.trail(context, moving, person, chosen);
      const [x, y] = this.at(d, a);
      const interval = intervalAt(page.defenders.get(person.player), t);
      this.man(context, x, y, person, interval, chosen);
      const hint = page.hints && page.hints.letterOf(person);
      if (hint) label(context, hint.toUpperCase(), x, y - 22, "#ffffff", "#000000");
      else if (interval && interval.assignment !== "rush" && (page.toggles.tags || chosen)) {
        const look = lookOf(interval.assignment);
        label(context, tagLabel(interval, page.receivers), x, y + 9, look.colour, look.ink, taken);
      }
    }
  }

  man(context, x, y, person, interval, chosen) {
    const r = Math.max(5.5, this.scale * 0.75);
    context.lineWidth = chosen ? 3 : 1.6;
    context.strokeStyle = "#1c1f1d";
    context.beginPath();
    if (person.side === "defense") { context.moveTo(x, y + r); context.lineTo(x - r, y - r * 0.8); context.lineTo(x + r, y - r * 0.8); context.closePath(); }
    else if (person.side === "offense") context.arc(x, y, r * 0.9, 0, 7);
    else context.rect(x - 2, y - 2, 4, 4);
    context.fillStyle = person.side === "defense" ? lookOf(interval && interval.assignment).colour : "#fffdf7";
    context.fill();
    context.stroke();
    if (chosen) { context.beginPath(); context.arc(x, y, r + 5, 0, 7); context.strokeStyle = "#7a1f35"; context.stroke(); }
    const number = this.page.rep.numbers[person.player] || (person.side === "offense" && this.page.receivers[person.player] || "").split("-")[1];
    if (number && person.side === "offense") { context.fillStyle = "#1c1f1d"; context.font = "700 10px sans-serif"; context.textAlign = "center"; context.fillText(number, x, y + 3.5); }
  }

  trail(context, moving, person, chosen) {
    context.beginPath();
    let pen = false;
    for (let row = Math.max(person.first, this.row - TRAIL_ROWS); row <= this.row; row += 2) {
      const spot = spotAt(person, row);
      if (!spot) { pen = false; continue; }
      const point = this.at(...playFromField(moving.placement, ...spot));
      if (pen) context.lineTo(...point); else context.moveTo(...point);
      pen = true;
    }
    context.strokeStyle = "#1c1f1d";
    context.globalAlpha = chosen ? 0.9 : 0.35;
    context.lineWidth = chosen ? 2 : 1;
    context.setLineDash(person.side === "offense" ? [3, 3] : []);
    context.stroke();
    context.setLineDash([]);
    context.globalAlpha = 1;
  }

  personAt(x, y) {
    const moving = this.page.movings[0];
    let best = null, least = 18;
    for (const person of moving.placement ? moving.people : []) {
      const spot = spotAt(person, this.row);
      if (!spot) continue;
      const [px, py] = this.at(...playFromField(moving.placement, ...spot)), far = Math.hypot(px - x, py - y);
      if (far < least) { least = far; best = person; }
    }
    return best;
  }
}

function label(context, text, x, y, colour, ink, taken) {
  context.font = "600 11px sans-serif";
  const width = context.measureText(text).width + 6;
  if (taken) y = freeBelow(taken, x, y, width, 14);
  context.fillStyle = colour;
  context.fillRect(x - width / 2, y, width, 14);
  context.strokeStyle = "#1c1f1d";
  context.lineWidth = 0.7;
  context.strokeRect(x - width / 2, y, width, 14);
  context.fillStyle = ink;
  context.textAlign = "center";
  context.fillText(text, x, y + 11);
}
