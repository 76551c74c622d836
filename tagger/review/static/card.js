// The card at the side: what the machine says of the rep, why, and what the coach has said.

import { byId, el } from "./dom.js";
import { intervalAt } from "./geometry.js";
import { eventName, familyName, percent, tagLabel } from "./looks.js";
import { called, reasonWords, saidWords } from "./naming.js";

const SHOWN_CHANCES = 4, SHOWN_LOG = 6;

const best = (chances) => Object.entries(chances).sort((a, b) => b[1] - a[1]);

/** Fill the card. `act(name)` runs the fix of that name, as its key does; `undo(id)` takes a row of the log back. */
export function fillCard(page, act, undo) {
  const { rep } = page;
  byId("card-body").replaceChildren(...[
    heading(page), family(page, act), facts(page, act), man(page, act), unanswered(rep), log(page, undo),
  ].flat().filter(Boolean));
}

function heading(page) {
  const s = page.rep.situation;
  const down = s.down ? `${["1st", "2nd", "3rd", "4th"][s.down - 1]}${s.distance_yd ? ` & ${s.distance_yd}` : ""}` : "";
  const parts = [down, s.hash && `${s.hash} hash`, s.period, s.personnel && `${s.personnel} personnel`].filter(Boolean);
  const views = page.rep.clips.length < 2 ? "" : page.rep.read_together ? "Read from both views together." : `Read from the ${page.rep.clips[0].view} view alone; the other is not laid on it.`;
  return el("div", {}, el("h1", {}, page.rep.name), el("p", { class: "situation quiet" }, parts.join(" · ") || "No script for this rep"), views ? el("p", { class: "why" }, views) : null);
}

function family(page, act) {
  const { reading, by_coach: said, situation, automatic } = page.rep, ranked = best(reading.family);
  const name = ranked.length ? familyName(ranked[0][0]) : reading.play_kind && reading.play_kind !== "pass" ? reading.play_kind : "not told";
  const coach = said.includes("family");
  const rows = coach ? [] : ranked.slice(0, SHOWN_CHANCES).filter(([, p]) => p >= 0.01).map(([word, p]) => {
    const fill = el("i");
    fill.style.width = percent(p).replace(" ", "");
    return [el("dt", {}, familyName(word)), el("dd", { class: "strip" }, fill), el("dd", { class: "number" }, percent(p))];
  });
  return el("section", { "aria-label": "Coverage" },
    el("div", { class: "answer" }, el("span", { class: `big ${coach ? "by-coach" : ""}`, id: "family" }, name), button("Change", "F", () => act("family"))),
    coach ? el("p", { class: "why" }, `The machine said ${familyName(automatic.family)}${automatic.family_confidence ? ` at ${percent(automatic.family_confidence)}` : ""}.`) : el("dl", { class: "chances" }, rows),
    situation.call ? el("p", { class: "why" }, `Called: ${situation.call}`) : null,
    el("p", { class: "why" }, reading.family_why));
}

function button(words, key, onclick) {
  return el("button", { type: "button", onclick, "aria-keyshortcuts": key }, words, " ", el("kbd", {}, key));
}

function facts(page, act) {
  const { reading, by_coach: said } = page.rep, formation = reading.formation;
  const shell = best(reading.shell_probability)[0];
  const rows = [
    ["Shell", shell ? `${shell[0]}${said.includes("shell") ? "" : ` ${percent(shell[1])}`}` : "not told", "shell", "S", reading.shell_why],
    ["Formation", formation ? [formation.set_name, formation.strength !== "balanced" && `strong ${formation.strength}`, ...formation.features].filter(Boolean).join(", ") : "not told", "set_name", "O", formation && formation.why],
    ["Play", reading.play_kind ? `${reading.play_kind}${said.includes("play_kind") ? "" : ` ${percent(reading.play_kind_probability[reading.play_kind])}`}` : "not told", "play_kind", "P", ""],
    ["Snap", reading.snap_s === null ? "not found" : `${reading.snap_s.toFixed(2)} s`, "snap_s", "N", ""],
    ["Direction", directionWords(page), "direction", "D", ""],
  ];
  const tools = [["Ball", "Q", "ball"], ["Lines", "M", "turf"], ["Boxes", "C", "boxes"], ["Join", "B", "join"]];
  return el("section", { "aria-label": "Facts" }, el("ul", { class: "facts" }, rows.map(([label, value, name, key, why]) => el("li", { title: why || "" },
    el("span", { class: "quiet" }, label), el("span", { class: `value ${[name, ...(name === "set_name" ? ["strength", "features"] : [])].some((n) => said.includes(n)) ? "by-coach" : ""}`, "data-fact": name }, value), button("Fix", key, () => act(name))))),
    el("div", { class: "tools" }, tools.map(([words, key, name]) => button(words, key, () => act(name)))));
}

/** Where the offense goes, as the main film shows it. */
function directionWords(page) {
  if (!page.placement) return "not known";
  const up = page.placement.direction === 1;
  if (page.rep.clips[0].view === "end-zone") return up ? "away from the camera" : "toward the camera";
  return up ? "to the right" : "to the left";
}

function man(page, act) {
  const defender = page.defenders.get(page.chosen);
  if (!page.chosen) return el("p", { class: "why" }, "Choose a man with J and K, or click his lane.");
  const person = page.movings[0].people.find((p) => page.keyOf(p) === page.chosen);
  const title = [called(page, page.chosen), !defender && person && (person.side === "other" ? "not in the rep" : person.side)].filter(Boolean).join(", ");
  const interval = intervalAt(defender, page.timeS);
  const events = page.rep.reading.events.filter((e) => e.player_id === page.chosen);
  return el("section", { "aria-label": "Chosen man" }, el("h2", {}, title),
    interval ? el("p", { class: "why" }, el("b", {}, tagLabel(interval, page.receivers)), ` ${page.isCoachs(page.chosen, interval) ? "by a coach" : percent(interval.confidence)}: ${reasonWords(page, interval.why)}`) : null,
    defender ? el("p", { class: "why" }, best(defender.marginals).slice(0, 3).map(([w, p]) => `${w.replace(":", " ")} ${percent(p)}`).join(" · ")) : null,
    events.map((e) => el("p", { class: "why" }, el("b", {}, eventName(e.kind)), `: ${reasonWords(page, e.why)}`)),
    el("div", { class: "tools" }, defender ? button("Assignment", "A", () => act("assignment")) : null, defender ? button("From here", "Shift+A", () => act("fromHere")) : null, button("Number", "#", () => act("number")), button("Side", "W", () => act("side")), button("Swap", "T", () => act("swap")), defender ? button("Event", "+", () => act("addEvent")) : null));
}

function unanswered(rep) {
  if (!rep.reading.abstained.length) return null;
  return el("section", { "aria-label": "Not answered" }, el("h2", {}, "Not answered"), rep.reading.abstained.slice(0, 5).map((a) => el("p", { class: "why" }, el("b", {}, a.what), `: ${a.why}`)));
}

function log(page, undo) {
  const { rep } = page;
  const rows = rep.corrections.filter((row) => row.undoes === null).slice(-SHOWN_LOG).reverse();
  if (!rows.length) return null;
  return el("section", { "aria-label": "What coaches said" }, el("h2", {}, "What coaches said"), el("ul", { class: "log" }, rows.map((row) => el("li", { class: row.standing ? "" : "back" },
    el("span", { title: `${row.who}, ${row.made_at.slice(0, 16).replace("T", " ")}${row.reason ? `: ${row.reason}` : ""}` }, saidWords(page, row), " ", el("span", { class: "quiet" }, row.who)),
    row.standing ? el("button", { type: "button", onclick: () => undo(row.correction_id), "aria-label": `Take back ${saidWords(page, row)}` }, "Take back") : null))));
}
