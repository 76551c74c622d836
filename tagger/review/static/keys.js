// The keyboard map: one table that the help shows and the keys obey.

import { dialogIsOpen, showKeys } from "./choosing.js";

/** [key as shown, what it does, keys as the browser names them, action name, argument]. */
export const KEYS = [
  ["Enter", "Accept everything, go to the next rep", ["Enter"], "accept"],
  ["Page↓ Page↑", "Next rep, the one before", ["PageDown", "PageUp"], "go"],
  ["Space", "Play, pause", [" "], "toggle"],
  ["← →", "A frame back, a frame on (with Shift: ten)", ["ArrowLeft", "ArrowRight"], "step"],
  ["H", "Half speed", ["h"], "half"],
  ["L", "Loop from the snap to the end", ["l"], "loop"],
  ["Home", "To the snap", ["Home"], "toSnap"],
  ["V", "Both views, or one", ["v"], "views"],
  ["1 2 3 4", "Boxes, assignments, zones, field lines", ["1", "2", "3", "4"], "overlay"],
  ["J K", "Next defender, the one before", ["j", "k", "ArrowDown", "ArrowUp"], "man"],
  ["G", "Choose any man by his letter", ["g"], "pickMan"],
  ["F", "Family", ["f"], "family"],
  ["S", "Shell", ["s"], "shell"],
  ["O", "Formation: set, strength, features (with Shift: strength alone)", ["o", "O"], "formation"],
  ["P", "Kind of play", ["p"], "play_kind"],
  ["N", "The snap is at this frame", ["n"], "snap_s"],
  ["A", "The chosen man's assignment (with Shift: from this frame on)", ["a", "A"], "assignment"],
  ["[ ]", "His border before, behind comes to this frame", ["[", "]"], "border"],
  ["E", "Next event (with Shift: the one before)", ["e", "E"], "event"],
  ["Y X", "The event is right, is wrong", ["y", "x"], "verdict"],
  ["+", "Add an event here", ["+", "="], "addEvent"],
  ["#", "His jersey number or name", ["#"], "number"],
  ["W", "Which side he is on", ["w"], "side"],
  ["T", "Swap his track with another from here on", ["t"], "swap"],
  ["B", "Join two tracks of one man", ["b"], "join"],
  ["D", "Turn the direction of play", ["d"], "direction"],
  ["Q", "Set the ball's spot", ["q"], "ball"],
  ["M", "Move the field lines onto the turf (with Shift: name marks and click them)", ["m", "M"], "turf"],
  ["C", "Correct this frame's boxes, for training", ["c"], "boxes"],
  ["Z", "Not a rep", ["z"], "not_a_rep"],
  ["R", "A reason for the next fix", ["r"], "reason"],
  ["U", "Undo (with Shift: bring back)", ["u", "U"], "undo"],
  ["Esc", "Leave, choose nobody", ["Escape"], "leave"],
  ["?", "This map", ["?"], "help"],
];

const STORED = "single-keys";
let singleKeys = localStorage.getItem(STORED) !== "off";

export const help = () => showKeys(KEYS, singleKeys, (on) => { singleKeys = on; localStorage.setItem(STORED, on ? "on" : "off"); });

/** Listen; `run(action, key, event)` does what a key asks for. */
export function listen(run) {
  const actions = new Map(KEYS.flatMap(([, , keys, action]) => keys.map((key) => [key, action])));
  document.addEventListener("keydown", (event) => {
    const control = event.ctrlKey || event.metaKey;
    if (dialogIsOpen() || event.altKey) return;
    const typing = event.target.closest("input, textarea, select");
    if (typing) { if (event.key === "Escape" || event.key === "Enter") typing.blur(); return; }
    if (control) {
      if (event.key.toLowerCase() === "z") { event.preventDefault(); run("undo", event.shiftKey ? "U" : "u", event); }
      return;
    }
    if (event.target.closest("button, a, summary") && [" ", "Enter"].includes(event.key)) return;
    const action = actions.get(event.key) || actions.get(event.key.toLowerCase());
    if (!action || !singleKeys && event.key.length === 1 && action !== "help") return;
    event.preventDefault();
    run(action, event.key, event);
  });
}
