// Small dialogs that a key opens and a key closes: a choice, a line of text, two versions side by side.

import { byId, el } from "./dom.js";
import { hatchClass, lookOf } from "./looks.js";

let open = false;
export const dialogIsOpen = () => open;

/** Show a dialog; resolves with what it was closed with, null when it was left. */
function shown(content, prepare) {
  const dialog = byId("choice");
  return new Promise((resolve) => {
    let answer = null;
    const finish = (value) => { answer = value; dialog.close(); };
    dialog.replaceChildren(...content(finish));
    const keys = prepare ? prepare(finish) : null;
    if (keys) dialog.addEventListener("keydown", keys);
    dialog.addEventListener("close", () => { open = false; if (keys) dialog.removeEventListener("keydown", keys); resolve(answer); }, { once: true });
    open = true;
    dialog.showModal();
    dialog.querySelector("[data-first]")?.focus();
  });
}

/** One of `options`, each { key, label, value, assignment?, group?, pressed? }; its key or a click chooses. */
export function choose(title, options) {
  const groups = [...new Set(options.map((o) => o.group))];
  const button = (option, finish) => el("button", { type: "button", onclick: () => finish(option.value), "data-key": option.key, "aria-pressed": option.pressed === undefined ? null : String(option.pressed) },
    el("kbd", {}, option.key.toUpperCase()), option.assignment ? swatch(option.assignment) : null, option.label);
  const content = (finish) => [
    el("h2", { id: "choice-title" }, title),
    groups.map((group) => [group ? el("h3", {}, group) : null, el("div", { class: "choices" }, options.filter((o) => o.group === group).map((o) => button(o, finish)))]),
  ].flat(Infinity).filter(Boolean);
  return shown(content, (finish) => (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const option = options.find((o) => o.key === event.key.toLowerCase());
    if (option) { event.preventDefault(); event.stopPropagation(); finish(option.value); }
  });
}

function swatch(assignment) {
  const made = el("span", { class: `swatch ${hatchClass(assignment)}`, "aria-hidden": "true" });
  made.style.backgroundColor = lookOf(assignment).colour;
  return made;
}

/** A line of text, null when left; `known` values are offered. */
export function askText(title, label, value = "", maximum = 60, known = []) {
  const input = el("input", { type: "text", id: "asked", maxlength: maximum, autocomplete: "off", autofocus: true, list: known.length ? "asked-known" : null });
  input.value = value;
  return shown((finish) => [
    el("form", { onsubmit: (event) => { event.preventDefault(); finish(input.value.trim()); } },
      el("h2", { id: "choice-title" }, title), el("label", { for: "asked" }, label, " "), input, " ",
      known.length ? el("datalist", { id: "asked-known" }, known.map((word) => el("option", { value: word }))) : null, el("button", { class: "act" }, "OK")),
  ]);
}

/** A mark of the field as { view, line, row }, null when left. `marks` has each view's lines and rows; `given` is proposed. */
export function askMark(marks, view, given) {
  const pick = (id, label, options, value) => {
    const made = el("select", { id, "data-first": id === "mark-line" }, options.map((o) => (Array.isArray(o) ? el("option", { value: o[0] }, o[1]) : el("option", { value: o }, o))));
    if (value && options.some((o) => (Array.isArray(o) ? o[0] : o) === value)) made.value = value;
    return [el("label", { for: id }, label), made];
  };
  const counted = Array.from({ length: 17 }, (_, k) => `line ${5 * (k - 8)}`);
  const camera = pick("mark-view", "The camera stands", [["sideline", "at a sideline"], ["end-zone", "behind an end zone"]], view);
  const place = el("div", { class: "mark-place" });
  const fill = () => place.replaceChildren(...camera,
    ...pick("mark-line", "Line", [...marks[camera[1].value].lines, ...counted], given.line), ...pick("mark-row", "where it meets the", marks[camera[1].value].rows, given.row));
  camera[1].addEventListener("change", () => { fill(); camera[1].focus(); });
  fill();
  return shown((finish) => [
    el("form", { onkeydown: (event) => { if (event.key === "Enter" && event.target.matches("select")) { event.preventDefault(); event.currentTarget.requestSubmit(); } },
      onsubmit: (event) => { event.preventDefault(); const of = (id) => byId(id).value; finish({ view: of("mark-view"), line: of("mark-line"), row: of("mark-row") }); } },
      el("h2", { id: "choice-title" }, "Which mark of the field?"), place,
      el("p", { class: "quiet" }, "Left, right, near and far are the camera's. Where no number can be read, call any line \u201cline 0\u201d and count yards from it. Tops of numbers point to the field's middle."),
      el("button", { class: "act" }, "Click it next")),
  ]);
}

/** Another coach was faster: both versions, and what to do. Resolves "mine" to say it again on top of theirs. */
export function bothVersions(line, yours, theirs) {
  return shown((finish) => [
    el("h2", { id: "choice-title" }, "Somebody else changed this rep"), el("p", {}, line),
    el("div", { class: "versions" },
      el("div", {}, el("h3", {}, "Yours, not saved"), el("pre", {}, yours)),
      el("div", {}, el("h3", {}, "Theirs, saved"), el("pre", {}, theirs))),
    el("button", { type: "button", onclick: () => finish("theirs") }, "Leave theirs"), " ",
    el("button", { type: "button", class: "act", onclick: () => finish("mine") }, "Say mine on top"),
  ]);
}

/** The keyboard map. */
export function showKeys(groups, singleKeys, onSingleKeys) {
  const box = el("input", { type: "checkbox", id: "single-keys" });
  box.checked = singleKeys;
  box.addEventListener("change", () => onSingleKeys(box.checked));
  return shown((finish) => [
    el("h2", { id: "choice-title" }, "Keys"),
    el("dl", { class: "keymap" }, groups.map(([key, what]) => el("div", {}, el("dt", {}, key.split(" ").map((k) => el("kbd", {}, k))), el("dd", {}, what)))),
    el("p", {}, box, " ", el("label", { for: "single-keys" }, "Single keys work (turn off if you dictate or use a screen reader; ? stays)")),
    el("button", { type: "button", class: "act", onclick: () => finish(null) }, "Close"),
  ]);
}
