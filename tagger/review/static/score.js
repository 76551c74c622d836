// The score under the film: time runs to the right, a stave for each defender. The thin line is his depth; on it lie his
// assignments and events. Above them, how the belief in each family moved.

import { byId, el, svg } from "./dom.js";
import { playFromField, spotAt } from "./geometry.js";
import { eventName, familyName, hatchClass, lookOf, percent, slotName, tagLabel } from "./looks.js";
import { called, jersey } from "./naming.js";

const LABEL_PX = 136, CROWDED_PX = 44, PX_A_LETTER = 7, DEEPEST_YD = 28, BEHIND_YD = 4, DOUBT = 0.6, RANKED = 4;

export class Score {
  /** `act`: { choose(player), seek(t), moveBorder(defender, index, t), moveSnap(t), chooseEvent(index) }. */
  constructor(box, page, act) {
    Object.assign(this, { box, page, act });
    this.playhead = el("div", { class: "playhead" });
    new ResizeObserver(() => this.place(this.t || 0)).observe(box);
  }

  share(t) { return Math.max(0, Math.min(1, (t - this.from) / (this.to - this.from))); }

  left(made, t) { made.style.left = `${100 * this.share(t)}%`; return made; }

  timeAt(event, stave) {
    const box = stave.getBoundingClientRect();
    return this.from + (this.to - this.from) * Math.max(0, Math.min(1, (event.clientX - box.left) / box.width));
  }

  build() {
    const { page } = this, times = page.movings[0].time_s, scrolled = this.box.scrollTop;
    this.from = times[0];
    this.to = Math.max(times[times.length - 1], this.from + 0.1);
    this.lanes = new Map();
    const lanes = page.lanes.map((defender) => this.lane(defender));
    this.box.replaceChildren(this.axis(), this.belief(), ...lanes, this.playhead);
    this.box.scrollTop = scrolled;
    this.mark();
    this.place(this.t ?? this.from);
  }

  axis() {
    const ticks = el("div", { class: "ticks" });
    const snap = this.page.rep.reading.snap_s, zero = snap ?? this.from;
    for (let s = Math.ceil(this.from - zero); zero + s < this.to; s++) {
      if (s !== 0 && this.share(zero + s) < 0.985) ticks.append(this.left(el("span", { class: "number" }, `${s > 0 ? "+" : "−"}${Math.abs(s)}`), zero + s));
    }
    if (snap !== null) ticks.append(this.snapHandle(snap, ticks));
    ticks.addEventListener("click", (event) => { if (event.target === ticks) this.act.seek(this.timeAt(event, ticks)); });
    return el("div", { class: "axis" }, el("span", { class: "label" }, "seconds"), ticks);
  }

  snapHandle(snap, ticks) {
    const handle = this.left(el("button", { type: "button", class: "snap", "aria-label": `Snap at ${snap.toFixed(2)} s; drag it, or press N at the right frame` }, el("b", {}, "snap")), snap);
    this.draggable(handle, ticks, snap, (t) => this.left(handle, t), (t) => this.act.moveSnap(t));
    return handle;
  }

  /** Let `handle`, which stands at time `from`, be dragged along `stave`; the film follows. `end(t)` if it was moved. */
  draggable(handle, stave, from, move, end) {
    let moved = null;
    handle.addEventListener("pointerdown", (event) => { handle.setPointerCapture(event.pointerId); moved = from; this.held = true; event.preventDefault(); event.stopPropagation(); });
    handle.addEventListener("pointermove", (event) => {
      if (moved === null) return;
      moved = this.timeAt(event, stave);
      move(moved);
      this.act.seek(moved);
    });
    const letGo = () => { const at = moved; moved = null; this.held = false; return at; };
    handle.addEventListener("pointerup", () => { const at = letGo(); if (at !== null && Math.abs(at - from) > 0.01) end(at); });
    handle.addEventListener("pointercancel", letGo);
    handle.addEventListener("click", (event) => event.stopPropagation());
  }

  /** Resolves once nothing is being dragged: what the hand holds must not be built anew under it. */
  async released() {
    while (this.held) await new Promise((resolve) => { setTimeout(resolve, 50); });
  }

  belief() {
    const over = this.page.rep.reading.family_over_time, plot = el("div", { class: "plot" });
    const row = el("div", { class: "belief" }, el("span", { class: "label" }, "chance of each coverage"), plot);
    if (!over.length) { plot.append(el("p", { class: "why" }, "No chances over time.")); return row; }
    const last = over[over.length - 1].family, names = Object.keys(last).sort((a, b) => last[b] - last[a]).slice(0, RANKED);
    const drawing = svg("svg", { viewBox: "0 0 1000 62", preserveAspectRatio: "none", role: "img", "aria-label": `Chance of the coverage families over time, at the end ${names.map((n) => `${familyName(n)} ${percent(last[n])}`).join(", ")}` });
    names.forEach((name, rank) => {
      const line = over.map((at, k) => `${k ? "L" : "M"}${(1000 * this.share(at.time_s)).toFixed(1)} ${(58 - 54 * (at.family[name] || 0)).toFixed(1)}`).join("");
      drawing.append(svg("path", { class: `r${rank}`, d: line }));
    });
    plot.append(drawing);
    let taken = -20;
    names.filter((name) => last[name] >= 0.05).forEach((name) => {
      const tag = el("span", {}, `${familyName(name)} ${percent(last[name])}`);
      taken = Math.max(taken + 15, Math.min(54, Math.max(8, 58 - 54 * last[name])));
      if (taken > 58) return;
      tag.style.top = `${taken}px`;
      plot.append(tag);
    });
    return row;
  }

  lane(defender) {
    const { page } = this, stave = el("div", { class: "stave" });
    const { number } = jersey(page, defender.player_id);
    const name = el("button", { type: "button", class: "name", title: called(page, defender.player_id), onclick: () => this.act.choose(defender.player_id) },
      number ? el("b", {}, `#${number}`) : null, el("span", {}, slotName(defender.slot) || defender.player_id));
    stave.append(this.depth(defender));
    defender.intervals.forEach((interval, index) => stave.append(this.piece(defender, interval, index, stave)));
    const events = page.rep.reading.events.map((event, index) => ({ event, index })).filter(({ event }) => event.player_id === defender.player_id).sort((a, b) => a.event.start_s - b.event.start_s);
    events.forEach(({ event, index }, k) => stave.append(this.event(event, index, events[k + 1]?.event.start_s)));
    stave.addEventListener("click", (event) => { this.act.choose(defender.player_id); this.act.seek(this.timeAt(event, stave)); });
    const lane = el("div", { class: "lane", "data-player": defender.player_id }, name, stave);
    this.lanes.set(defender.player_id, lane);
    return lane;
  }

  depth(defender) {
    const moving = this.page.movings[0], person = moving.people.find((p) => p.player === defender.player_id), points = [];
    for (let row = 0; person && moving.placement && row < moving.time_s.length; row += 3) {
      const spot = spotAt(person, row);
      if (!spot) continue;
      const downfield = playFromField(moving.placement, ...spot)[0];
      const y = 100 - 100 * Math.max(0, Math.min(1, (downfield + BEHIND_YD) / (DEEPEST_YD + BEHIND_YD)));
      points.push(`${(1000 * this.share(moving.time_s[row])).toFixed(1)},${y.toFixed(1)}`);
    }
    return svg("svg", { viewBox: "0 0 1000 100", preserveAspectRatio: "none", "aria-hidden": "true" }, svg("polyline", { points: points.join(" ") }));
  }

  piece(defender, interval, index, stave) {
    const look = lookOf(interval.assignment), label = tagLabel(interval, this.page.receivers);
    const coach = this.page.isCoachs(defender.player_id, interval);
    const piece = el("button", { type: "button", tabindex: "-1", class: `piece ${hatchClass(interval.assignment)} ${interval.confidence < DOUBT ? "doubt" : ""} ${coach ? "coach" : ""}`,
      "aria-label": `${defender.slot} ${label}, ${interval.start_s.toFixed(1)} to ${interval.end_s.toFixed(1)} s, ${coach ? "by a coach" : percent(interval.confidence)}`, title: interval.why }, el("span", {}, label));
    piece.style.backgroundColor = look.colour;
    piece.style.color = look.ink;
    this.left(piece, interval.start_s);
    piece.style.width = `${100 * (this.share(interval.end_s) - this.share(interval.start_s))}%`;
    if (index + 1 < defender.intervals.length) piece.append(this.edge(defender, interval, index, stave, piece));
    return piece;
  }

  edge(defender, interval, index, stave, piece) {
    const edge = el("i", { class: "edge", title: "drag to move the border" });
    const stretch = (t) => { piece.style.width = `${100 * Math.max(0.002, this.share(t) - this.share(interval.start_s))}%`; };
    this.draggable(edge, stave, interval.end_s, stretch, (t) => this.act.moveBorder(defender, index, t));
    return edge;
  }

  /** An event's plate; where the man's next one (at `nextS`) leaves it little room it is cut, or a bare mark. */
  event(event, index, nextS) {
    const verdict = this.page.rep.verdicts[index];
    const words = eventName(event.kind) + (event.margin_yd === null ? "" : ` ${Math.abs(event.margin_yd).toFixed(1)} yd`);
    const room = nextS === undefined ? Infinity : (this.share(nextS) - this.share(event.start_s)) * (this.box.clientWidth - LABEL_PX);
    const plate = `${verdict === "open" ? "" : "✓ "}${words}`, fits = plate.length * PX_A_LETTER + 12 < room;
    const made = el("button", { type: "button", tabindex: "-1", class: `event ${verdict === "open" ? "" : "confirmed"}`, "data-event": index, title: event.why,
      "aria-label": `${words} at ${event.start_s.toFixed(1)} s, ${verdict === "open" ? percent(event.confidence) : verdict}`,
      onclick: (click) => { click.stopPropagation(); this.act.chooseEvent(index); } }, room < CROWDED_PX ? "•" : plate);
    if (!fits) made.style.maxWidth = `${Math.max(room - 2, 12)}px`;
    return this.left(made, event.start_s);
  }

  /** Show who and which event is chosen. */
  mark() {
    for (const [player, lane] of this.lanes) {
      lane.classList.toggle("chosen", player === this.page.chosen);
      lane.firstChild.setAttribute("aria-pressed", String(player === this.page.chosen));
      if (player === this.page.chosen) lane.scrollIntoView({ block: "nearest" });
    }
    for (const made of this.box.querySelectorAll(".event")) made.classList.toggle("chosen", Number(made.dataset.event) === this.page.chosenEvent);
  }

  /** Put the playhead at a time. */
  place(t) {
    this.t = t;
    if (!this.lanes) return;
    const label = LABEL_PX, width = this.box.clientWidth - label;
    this.playhead.style.height = `${this.box.scrollHeight}px`;
    this.playhead.style.transform = `translateX(${label + width * this.share(t) - 1}px)`;
  }
}

export const scoreBox = () => byId("score");
