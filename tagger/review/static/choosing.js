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
  });
}

/** One of `options`, each { key, label, value, assignment? }; its key or a click chooses. */
export function choose(title, options) {
  const content = (finish) => [
    el("h2", { id: "choice-title" }, title),
    el("div", { class: "choices" }, options.map((option) => el("button", { type: "button", onclick: () => finish(option.value), "data-key": option.key },
      el("kbd", {}, option.key.toUpperCase()), option.assignment ? swatch(option.assignment) : null, option.label))),
  ];
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
