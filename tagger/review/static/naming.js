// What the page calls men and words of the log: by jersey, place or receiver's number, as a coach would, never by a track.

import { eventName, receiverName, slotName } from "./looks.js";

const FIELDS = { review_state: "rep", set_name: "set", ball_xy_yd: "ball", snap_s: "snap", anchors: "field", play_kind: "play" };
const STATES = { reviewed: "accepted", "not-a-rep": "not a rep", corrected: "a rep again" };

/** His jersey number and, from the roster, his name; null where not known. */
export function jersey({ rep, defenders }, player) {
  const number = rep.numbers[player], side = defenders.has(player) ? "defense" : "offense";
  if (number === undefined) return { number: null, name: null };
  return { number, name: rep.roster.find((entry) => entry.number === number && entry.side === side)?.name || null };
}

/** "#47 linebacker R", "#1 L", or "man T12" for somebody of whom nothing is known. */
export function called(page, player) {
  const { number, name } = jersey(page, player), defender = page.defenders.get(player), receiver = page.receivers[player];
  const place = defender ? slotName(defender.slot) : receiver && receiverName(receiver);
  return [number && `#${number}`, name || place].filter(Boolean).join(" ") || `man ${player}`;
}

/** A reason with its men named. */
export function reasonWords(page, why) {
  return why.replace(/\b[A-Z]{1,2}\d+\b/g, (id) => (page.defenders.has(id) || page.receivers[id] || page.rep.numbers[id] ? called(page, id) : id));
}

/** A row of the log, or an edit, in one line. */
export function saidWords(page, { subject, field, after }) {
  const who = subject.startsWith("clip:") ? "film" : /^(defender|player):/.test(subject) ? called(page, subject.split(":")[1]) : subject === "event" ? "event" : "";
  return `${who ? `${who}: ` : ""}${FIELDS[field] || field.replaceAll("_", " ")} → ${shown(page, field, after)}`;
}

function shown(page, field, value) {
  if (value === null || value === undefined) return "nothing";
  if (field === "review_state") return STATES[value] || value;
  if (field === "direction") return "turned";
  if (field === "snap_s") return `${value.toFixed(2)} s`;
  if (field === "ball_xy_yd") return "moved";
  if (field === "anchors") return `${value.length} mark${value.length === 1 ? "" : "s"}`;
  if (Array.isArray(value)) return value.join(", ") || "none";
  if (value.xyxy) return `${value.xyxy.length} boxes`;
  if (value.a) return `${called(page, value.a)} and ${called(page, value.b)}${value.from_s === undefined ? "" : `, from ${value.from_s.toFixed(1)} s on`}`;
  if (value.kind) return `${eventName(value.kind)}${value.player_id ? ` of ${called(page, value.player_id)}` : ""}`;
  if (value.assignment) return [value.assignment, value.area, value.receiver && `on ${called(page, value.receiver)}`, `${value.start_s.toFixed(1)} to ${value.end_s.toFixed(1)} s`].filter(Boolean).join(" ");
  return String(value);
}
