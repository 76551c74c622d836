// How tags look: colour, hatch and words together, so that none of them carries the meaning alone.

export const words = JSON.parse(document.getElementById("words").textContent);

const HATCH_CLASS = { "//": "h-fwd", "\\\\": "h-back", "||": "h-vert", "--": "h-flat", "..": "h-dots", "xx": "h-cross", "++": "h-grid", "oo": "h-dots", "**": "h-grid" };
const unsure = { short: "?", colour: "#767676", ink: "#FFFFFF", hatch: "", areas: [] };
const byWord = new Map(words.assignments.map((look) => [look.value, look]));

export const lookOf = (assignment) => byWord.get(assignment) || unsure;
export const hatchClass = (assignment) => HATCH_CLASS[lookOf(assignment).hatch] || "";
export const areaLetters = (area) => (area ? words.areas[area] || area : "");
export const familyName = (family) => (words.families.find((f) => f.value === family) || { label: family }).label;
export const eventName = (kind) => words.events[kind] || kind;
export const percent = (p) => `${Math.round(100 * p)} %`;

export function tagLabel(interval, receivers = {}) {
  const look = lookOf(interval.assignment), parts = [look.short];
  if (interval.area && look.areas.length > 1) parts.push(areaLetters(interval.area));
  if (interval.assignment === "man" && interval.receiver) parts.push(receiverName(receivers[interval.receiver] || interval.receiver));
  return parts.join(" ");
}

/** "left-2" as "#2 L". */
export function receiverName(receiver) {
  const [side, number] = receiver.split("-");
  return number && words.areas[side] ? `#${number} ${words.areas[side]}` : receiver;
}

/** "corner-left" as "corner L", "linebacker-middle" as "linebacker mid". */
export function slotName(slot) {
  const [, stem, side] = /^(.*?)-([a-z]+)$/.exec(slot) || [];
  return words.areas[side] ? `${stem} ${words.areas[side]}` : slot;
}

const patterns = new Map();

/** A canvas fill of the assignment's colour with its hatch. */
export function fillOf(context, assignment) {
  if (patterns.has(assignment)) return patterns.get(assignment);
  const look = lookOf(assignment), tile = document.createElement("canvas");
  tile.width = tile.height = 16;
  const ink = tile.getContext("2d");
  ink.fillStyle = look.colour;
  ink.fillRect(0, 0, 16, 16);
  ink.strokeStyle = "rgba(255,255,255,0.8)";
  ink.fillStyle = "rgba(255,255,255,0.9)";
  ink.lineWidth = 1.5;
  const line = (...p) => { ink.beginPath(); ink.moveTo(p[0], p[1]); ink.lineTo(p[2], p[3]); ink.stroke(); };
  if ("//xx".includes(look.hatch) && look.hatch) { line(0, 16, 16, 0); line(-4, 4, 4, -4); line(12, 20, 20, 12); }
  if (["\\\\", "xx"].includes(look.hatch)) { line(0, 0, 16, 16); line(12, -4, 20, 4); line(-4, 12, 4, 20); }
  if (["||", "++"].includes(look.hatch)) line(8, 0, 8, 16);
  if (["--", "++"].includes(look.hatch)) line(0, 8, 16, 8);
  if (["..", "oo", "**"].includes(look.hatch)) { ink.beginPath(); ink.arc(8, 8, 1.8, 0, 7); ink.fill(); }
  const pattern = context.createPattern(tile, "repeat");
  patterns.set(assignment, pattern);
  return pattern;
}
