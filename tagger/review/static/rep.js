// One rep on the page: fetches it, and keeps film, field, score and card on one moment.

import { fillCard } from "./card.js";
import { Controls, TOGGLES } from "./controls.js";
import { byId, el } from "./dom.js";
import { Film, madeVideos } from "./film.js";
import { Fixes } from "./fixes.js";
import { intervalAt } from "./geometry.js";
import { notice } from "./notice.js";
import { drawOverlay } from "./overlay.js";
import { pickPerson } from "./picking.js";
import { Plan } from "./plan.js";
import { Saying, settled } from "./saying.js";
import { Score } from "./score.js";
import { fetched } from "./server.js";

const BEFORE_SNAP_S = 1.0, AFTER_END_S = 0.3;

/** Everything a rep needs, fetched together. */
async function prepared(repId) {
  const rep = await fetched(`/api/reps/${repId}`);
  const movings = await Promise.all(rep.clips.map((clip) => fetched(`/api/reps/${repId}/moving/${clip.clip_id}`)));
  return { rep, movings, videos: madeVideos(rep) };
}

class Page {
  constructor() {
    this.toggles = { boxes: false, tags: true, zones: true, lines: false, quiet: true };
    this.order = [];
    this.ready = new Map();
    this.saying = new Saying(this);
    this.fixes = new Fixes(this, this.saying);
    this.plan = new Plan(byId("plan"), this);
    this.film = new Film(byId("screens"), {
      onFrame: (t) => this.frame(t), onTime: (t) => this.score.place(t), onPicture: (screen) => drawOverlay(screen, this), onState: () => this.transport(),
    });
    this.controls = new Controls(this);
    new ResizeObserver(() => { if (this.rep) this.draw(); }).observe(byId("plan"));
    this.score = new Score(byId("score"), this, {
      choose: (player) => this.choose(player), seek: (t) => { this.film.pause(); this.film.seek(t); },
      moveBorder: (defender, index, t) => this.fixes.moveBorder(defender, index, t), moveSnap: (t) => this.fixes.snap_s(t), chooseEvent: (index) => this.chooseEvent(index),
    });
  }

  get timeS() { return this.film.timeS; }

  get placement() { return this.movings[0].placement; }

  // --- which rep --------------------------------------------------------------------------------------------------

  async open(repId, remember = true) {
    const asked = performance.now();
    const { rep, movings, videos } = await (this.ready.get(repId) || prepared(repId));
    this.chosen = null;
    this.chosenEvent = null;
    this.leaveEditing();
    this.take(rep, movings);
    this.film.load(rep, movings, videos);
    for (const screen of this.film.screens) this.controls.watch(screen);
    const { snap_s: snap, end_s: end } = rep.reading;
    this.film.range = [Math.max((snap ?? movings[0].time_s[0]) - BEFORE_SNAP_S, movings[0].time_s[0]), (end ?? this.film.endS) + AFTER_END_S];
    this.score.build();
    this.card();
    this.film.seek(snap ?? movings[0].time_s[0]);
    document.title = `${rep.name} · deepthird`;
    if (remember) history.pushState({ repId }, "", `/rep/${repId}${location.search}`);
    this.saying.readAgain();
    performance.measure("rep-to-rep", { start: asked });
    this.prepareNeighbours();
  }

  /** The reps before and behind this one are fetched ahead, so that going there takes no wait. */
  prepareNeighbours() {
    this.ready.clear();
    for (const near of [this.neighbour(1), this.neighbour(-1)].filter(Boolean)) {
      this.ready.set(near, prepared(near).catch(() => prepared(near)));
    }
  }

  neighbour(step) { return this.order[this.order.indexOf(this.rep.rep_id) + step]; }

  async go(step) {
    await settled();
    const next = this.neighbour(step);
    if (next === undefined) { notice(step > 0 ? "That was the last rep of the queue." : "This is the first rep of the queue.", false); this.progress(); return; }
    await this.open(next).catch((fault) => notice(fault.message, true));
    this.progress();
  }

  async progress() {
    const queue = await fetched(`/api/queue${location.search}`);
    if (!this.order.length) this.order = queue.order;
    byId("progress").value = queue.total ? queue.done / queue.total : 1;
    byId("progress-words").textContent = `${queue.done} of ${queue.total} done`;
  }

  take(rep, movings) {
    this.rep = rep;
    this.movings = movings;
    this.defenders = new Map(rep.reading.defenders.map((d) => [d.player_id, d]));
    this.receivers = rep.reading.formation ? rep.reading.formation.receivers : {};
    if (this.laneOrder?.repId !== rep.rep_id) this.laneOrder = { repId: rep.rep_id, players: this.deepFirst(rep.reading.defenders) };
    const place = (d) => { const at = this.laneOrder.players.indexOf(d.player_id); return at < 0 ? this.laneOrder.players.length : at; };
    this.lanes = [...rep.reading.defenders].sort((a, b) => place(a) - place(b));
    this.coachs = new Set(rep.corrections.filter((c) => c.standing && c.field === "assignment").map((c) => `${c.subject}|${c.after.assignment}|${c.after.area || ""}`));
  }

  /** Players as their lanes stand, deep men first and rushers last; kept while the rep is open, so that no lane jumps. */
  deepFirst(defenders) {
    const rank = ({ intervals }) => { const last = intervals.at(-1)?.assignment || ""; return last.startsWith("deep") ? 0 : last === "rush" ? 2 : 1; };
    return [...defenders].sort((a, b) => rank(a) - rank(b)).map((d) => d.player_id);
  }

  isCoachs(player, interval) { return interval.confidence === 1 && this.coachs.has(`defender:${player}|${interval.assignment}|${interval.area || ""}`); }

  anchorsOf(clip) { return this.rep.corrections.filter((c) => c.standing && c.subject === `clip:${clip.mark}` && c.field === "anchors").at(-1)?.after || []; }

  /** The rep as the server now has it; people and field are fetched anew where a fix moved them. */
  async replaced(rep, moved = false) {
    const said = (r) => JSON.stringify(r.corrections.filter((c) => c.standing && (/^(player:|clip:)/.test(c.subject) || ["direction", "ball_xy_yd", "snap_s"].includes(c.field))).map((c) => c.correction_id));
    moved ||= said(rep) !== said(this.rep);
    const movings = moved ? await Promise.all(rep.clips.map((clip) => fetched(`/api/reps/${rep.rep_id}/moving/${clip.clip_id}`))) : this.movings;
    await this.score.released();
    if (rep.rep_id !== this.rep.rep_id) return;
    this.shows(rep, movings);
  }

  /** Put a state of the rep on the page. */
  shows(rep, movings = this.movings) {
    this.take(rep, movings);
    if (this.chosenEvent !== null && this.chosenEvent >= rep.reading.events.length) this.chosenEvent = null;
    this.film.screens.forEach((screen, k) => { screen.moving = movings[k]; screen.clip = rep.clips[k]; screen.offset = rep.clips[k].minus_main_s; });
    this.score.build();
    this.draw();
    this.card();
  }

  // --- one moment -------------------------------------------------------------------------------------------------

  frame(t) {
    this.plan.draw(t);
    const snap = this.rep.reading.snap_s;
    byId("clock").textContent = `${t.toFixed(2)} s${snap === null ? "" : `  ${t >= snap ? "+" : "−"}${Math.abs(t - snap).toFixed(2)}`}`;
    byId("plan").dataset.row = this.plan.row;
    if (!this.film.playing) this.manOnCard(t);
  }

  manOnCard(t) {
    const now = intervalAt(this.defenders.get(this.chosen), t);
    if (now !== this.cardInterval) this.card();
  }

  card() {
    this.cardInterval = intervalAt(this.defenders.get(this.chosen), this.timeS);
    fillCard(this, (name) => this.fixes[name](), (id) => this.saying.undo(id));
    byId("state").textContent = { new: "", corrected: "corrected, not accepted yet", reviewed: "accepted", flagged: "flagged", "not-a-rep": "not a rep" }[this.rep.review_state] || "";
  }

  draw() {
    for (const screen of this.film.screens) drawOverlay(screen, this);
    this.plan.draw(this.plan.t ?? this.timeS);
  }

  transport() {
    const pressed = (id, on) => byId(id).setAttribute("aria-pressed", String(Boolean(on)));
    pressed("play", this.film.playing);
    byId("play").textContent = this.film.playing ? "Pause" : "Play";
    pressed("half", this.film.rate === 0.5);
    pressed("loop", this.film.looping);
    TOGGLES.forEach((name) => pressed(`show-${name}`, this.toggles[name]));
    byId("views").hidden = this.film.screens.length < 2;
  }

  // --- choosing ---------------------------------------------------------------------------------------------------

  choose(player) {
    this.chosen = player;
    this.score.mark();
    this.draw();
    this.card();
  }

  chooseEvent(index) {
    const event = this.rep.reading.events[index];
    this.chosenEvent = index;
    this.film.pause();
    this.choose(event.player_id);
    this.film.seek(event.start_s);
  }

  man(step) {
    const at = this.lanes.findIndex((d) => d.player_id === this.chosen);
    const next = this.lanes[(at + step + this.lanes.length + (at < 0 && step < 0 ? 1 : 0)) % this.lanes.length];
    if (next) this.choose(next.player_id);
  }

  /** A person of a view, by letter or click; null on Escape. */
  pick(line, except = null, moving = this.movings[0]) { return pickPerson(this, line, moving, except); }

  sideOf(player) { return this.defenders.has(player) ? "defense" : "offense"; }

  keyOf(person) { return person.player || `T${person.track}`; }

  setMode(mode) {
    this.mode = mode;
    byId("mode").hidden = !mode;
    byId("mode").replaceChildren(...(mode ? [mode.line, ...(mode.acts || []).map(([words, act]) => el("button", { type: "button", onclick: act }, words))] : []));
    this.transport();
    if (this.film.screens.length) this.draw();
  }

  /** Give up what is being drawn on the film. */
  leaveEditing() {
    this.editing?.close();
    this.editing = null;
  }
}

const page = new Page();
const first = Number(document.body.dataset.rep);
history.replaceState({ repId: first }, "", location.href);
page.progress().then(() => page.open(first, false)).catch((fault) => notice(fault.message, true));
