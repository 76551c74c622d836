// Every fix that a coach can make, by the name that its key and its button share.

import { askText, choose } from "./choosing.js";
import { FilmFixes } from "./film_fixes.js";
import { intervalAt, rowAt } from "./geometry.js";
import { lookOf, receiverName, words } from "./looks.js";
import { called } from "./naming.js";
import { notice } from "./notice.js";

const FAMILY_KEYS = { "cover-0": "0", "cover-1": "1", "cover-2": "2", "tampa-2": "t", "cover-2-man": "m", "cover-3": "3", "cover-4": "4", "cover-6": "6", unknown: "u" };
const ASSIGNMENT_KEYS = { "deep-third": "t", "deep-half": "h", "deep-quarter": "q", "curl-flat": "c", "hook-curl": "k", "middle-hook": "m", flat: "f", robber: "b", man: "n", rush: "r", spy: "s", "run-fit": "u" };
const AREA_KEYS = { left: "l", middle: "m", right: "r", "left-outside": "1", "left-inside": "2", "right-inside": "3", "right-outside": "4" };
const STRENGTH_KEYS = [["l", "left"], ["r", "right"], ["b", "balanced"]], FEATURE_KEYS = "acdefghij";
const numbered = (values, label = (v) => v) => values.map((value, k) => ({ key: "123456789abcdefghij"[k], label: label(value), value }));

export class Fixes extends FilmFixes {
  chosen() {
    if (!this.page.chosen) notice("Choose a man first: J and K, or click his lane.", true);
    return this.page.chosen;
  }

  async family() {
    const value = await choose("Coverage family", words.families.map((f) => ({ key: FAMILY_KEYS[f.value], label: f.label, value: f.value })));
    if (value) await this.rep("family", value);
  }

  async shell() {
    const value = await choose("Shell at the snap", words.shells.map((s, k) => ({ key: String(k), label: s, value: s })));
    if (value) await this.rep("shell", value);
  }

  /** Set, strength and features in one choice; a feature that is there is taken away. */
  async set_name() {
    const has = this.page.rep.reading.formation?.features || [];
    const options = [
      ...numbered(words.sets).map((o) => ({ ...o, group: "Receivers, the fuller side first", value: ["set_name", o.value] })),
      ...STRENGTH_KEYS.map(([key, side]) => ({ key, label: side, group: "Strength", value: ["strength", side] })),
      ...words.features.map((f, k) => ({ key: FEATURE_KEYS[k], label: f.replaceAll("-", " "), group: "Features", pressed: has.includes(f), value: ["features", has.includes(f) ? has.filter((h) => h !== f) : [...has, f]] })),
    ];
    const chosen = await choose("Formation", options);
    if (chosen) await this.rep(...chosen);
  }

  async strength() {
    const value = await choose("Strength", STRENGTH_KEYS.map(([key, v]) => ({ key, label: v, value: v })));
    if (value) await this.rep("strength", value);
  }

  async play_kind() {
    const value = await choose("Kind of play", words.play_kinds.map((k) => ({ key: k[0], label: k, value: k })));
    if (value) await this.rep("play_kind", value);
  }

  snap_s(t = this.page.film.times[this.page.film.row]) { return this.rep("snap_s", Math.round(t * 1000) / 1000); }

  direction() { return this.rep("direction", this.page.placement ? -this.page.placement.direction : 1); }

  not_a_rep() { return this.rep("review_state", this.page.rep.review_state === "not-a-rep" ? "corrected" : "not-a-rep"); }

  async accept() {
    if (await this.rep("review_state", "reviewed")) await this.page.go(1);
  }

  // --- a defender -------------------------------------------------------------------------------------------------

  /** His assignment over the interval at the playhead, or (`fromHere`) from the playhead to that interval's end. */
  async assignment(fromHere = false) {
    const player = this.chosen(), defender = this.page.defenders.get(player);
    if (!player) return;
    if (!defender) { notice("Only a defender has an assignment; W changes his side.", true); return; }
    const { snap_s: snap, end_s: end } = this.page.rep.reading;
    const whole = intervalAt(defender, this.page.timeS) || { start_s: snap ?? this.page.film.times[0], end_s: end ?? this.page.film.endS };
    const here = Math.round(this.page.film.times[this.page.film.row] * 1000) / 1000;
    const span = fromHere && here > whole.start_s && here < whole.end_s ? { start_s: here, end_s: whole.end_s } : whole;
    const assignment = await choose(`${called(this.page, player)}: assignment from ${span.start_s.toFixed(1)} to ${span.end_s.toFixed(1)} s`,
      words.assignments.map((a) => ({ key: ASSIGNMENT_KEYS[a.value], label: a.short, value: a.value, assignment: a.value })));
    if (!assignment) return;
    const after = { assignment, area: null, receiver: null, start_s: span.start_s, end_s: span.end_s }, { areas } = lookOf(assignment);
    if (areas.length === 1) after.area = areas[0];
    else if (areas.length) after.area = await choose("Where, as the offense looks", areas.map((a) => ({ key: AREA_KEYS[a], label: a.replace("-", " "), value: a })));
    if (areas.length && !after.area) return;
    if (assignment === "man") {
      const receivers = Object.entries(this.page.receivers);
      if (receivers.length) after.receiver = await choose("On whom", receivers.map(([id, r], k) => ({ key: "123456789"[k] || "0", label: receiverName(r), value: id })));
    }
    await this.saying.fix([{ subject: `defender:${player}`, field: "assignment", after }]);
  }

  fromHere() { return this.assignment(true); }

  /** Move the border behind the defender's interval `index` to `t`: one of the two neighbours is said to reach further. */
  moveBorder(defender, index, t) {
    const before = defender.intervals[index], after = defender.intervals[index + 1];
    const grown = t > before.end_s || !after ? { ...before, end_s: t } : { ...after, start_s: t };
    if (grown.end_s - grown.start_s < 0.02) { notice("That would leave no time between the borders.", true); return Promise.resolve(false); }
    const { assignment, area, receiver, start_s, end_s } = grown;
    const rounded = (s) => Math.round(s * 1000) / 1000;
    return this.saying.fix([{ subject: `defender:${defender.player_id}`, field: "assignment", after: { assignment, area, receiver, start_s: rounded(start_s), end_s: rounded(end_s) } }]);
  }

  /** The chosen man's border before (-1) or behind (+1) the playhead comes to the playhead. */
  border(which) {
    const player = this.chosen(), defender = this.page.defenders.get(player);
    if (!player || !defender) return;
    const t = this.page.timeS, inner = defender.intervals.slice(0, -1).map((i, index) => ({ index, far: (i.end_s - t) * which }));
    const near = inner.filter((b) => b.far > 0.005).sort((a, b) => a.far - b.far)[0];
    if (!near) { notice(which < 0 ? "No border before this moment." : "No border behind this moment.", true); return; }
    this.moveBorder(defender, near.index, t);
  }

  async number() {
    const player = this.chosen();
    if (!player) return;
    const men = this.page.rep.roster.filter((e) => e.side === this.page.sideOf(player));
    const said = await askText("Jersey number", `The number of ${called(this.page, player)}, or his name in the roster:`, this.page.rep.numbers[player] || "", 40, men.flatMap((e) => [e.number, e.name]));
    const after = men.find((e) => e.name.toLowerCase() === said?.toLowerCase())?.number || said;
    if (after) await this.saying.fix([{ subject: `${this.page.defenders.has(player) ? "defender" : "player"}:${player}`, field: "number", after }]);
  }

  async side() {
    const player = this.chosen();
    if (!player) return;
    const value = await choose(`${called(this.page, player)} belongs to`, [["o", "offense"], ["d", "defense"], ["x", "other"]].map(([key, v]) => ({ key, label: v === "other" ? "neither: not in the rep" : v, value: v })));
    if (value) await this.saying.fix([{ subject: `player:${player}`, field: "side", after: value }]);
  }

  // --- tracks -----------------------------------------------------------------------------------------------------

  swap() { return this.twoTracks("swap", "swaps places, from here on, with"); }

  join() { return this.twoTracks("join", "is the same man as"); }

  /** Of the view that is looked at: each view has its own tracks, unless people were followed through both at once. */
  async twoTracks(field, words_) {
    const { page } = this, screen = page.film.lead || page.film.screens[0], { moving } = screen;
    const chosen = moving.people.find((p) => page.keyOf(p) === page.chosen);
    const first = chosen || await page.pick("Who? Press his letter.", null, moving);
    if (!first) return;
    const second = await page.pick(`${called(page, page.keyOf(first))} ${words_} ... press his letter.`, first, moving);
    if (!second) return;
    const after = { a: first.own, b: second.own };
    if (field === "swap") after.from_s = Math.round((moving.time_s[rowAt(moving.time_s, page.timeS + screen.offset)] - 0.001) * 1000) / 1000;
    await this.saying.fix([{ subject: `clip:${screen.clip.mark}`, field, after }]);
  }

  // --- events -----------------------------------------------------------------------------------------------------

  nextEvent(step) {
    const { events } = this.page.rep.reading;
    if (!events.length) { notice("No events in this rep.", false); return; }
    const order = events.map((_, k) => k).sort((a, b) => events[a].start_s - events[b].start_s);
    const at = order.indexOf(this.page.chosenEvent);
    this.page.chooseEvent(order[(at + step + order.length + (at < 0 && step < 0 ? 1 : 0)) % order.length]);
  }

  verdict(field) {
    const event = this.page.rep.reading.events[this.page.chosenEvent];
    if (!event) { notice("Choose an event first: E.", true); return; }
    const { kind, player_id, against, start_s, end_s, margin_yd } = event;
    return this.saying.fix([{ subject: "event", field, after: { kind, player_id, against, start_s, end_s, margin_yd } }]);
  }

  async addEvent() {
    const player = this.chosen();
    if (!player) return;
    const kind = await choose(`An event of ${called(this.page, player)} here`, numbered(Object.keys(words.events), (k) => words.events[k]));
    const t = Math.round(this.page.timeS * 1000) / 1000;
    if (kind) await this.saying.fix([{ subject: "event", field: "added", after: { kind, player_id: player, against: null, start_s: t, end_s: t + 0.3, margin_yd: null } }]);
  }
}
