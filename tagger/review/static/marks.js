// Marks of the field that the coach names and clicks in one frame: from four of them on, the field is found over the whole clip.

import { askMark, dialogIsOpen } from "./choosing.js";
import { Cross, drawCross } from "./cross.js";
import { words } from "./looks.js";

export const FEWEST = 4;
const MOST = 12;
const OTHER = { near: "far", far: "near", left: "right", right: "left" };
let lastView = "sideline";

export class MarkEditing {
  /** `changed()` redraws; `end(kept)` is asked to keep the marks or to leave them. */
  constructor(screen, said, { changed, end }) {
    Object.assign(this, { screen, changed, end, row: screen.row, pressed: false });
    this.frame = screen.moving.frame_index[screen.row];
    this.marks = said.filter((m) => m.mark && m.frame_index === this.frame).map(({ mark, image_xy_px }) => ({ mark, image_xy_px }));
    this.cross = new Cross(screen);
    this.next = null;
    this.keys = (event) => this.key(event);
    document.addEventListener("keydown", this.keys, true);
  }

  /** Ask which mark comes next. */
  async name() {
    const view = this.view || (this.screen.moving.view === "unknown" ? lastView : this.screen.moving.view);
    const { lines } = words.marks[view], taken = this.marks.at(-1)?.mark;
    const named = await askMark(words.marks, view, this.next || (taken ? split(taken) : { line: lines[Math.floor(lines.length / 2)], row: words.marks[view].rows[3] }));
    if (named) {
      this.view = lastView = named.view;
      this.next = { line: named.line, row: named.row };
    }
    this.changed();
  }

  /** The mark that a coach is likeliest to click after the last one: the same line across the field, then the line ten yards on. */
  proposed() {
    const first = split(this.marks[0].mark), { lines } = words.marks[this.view];
    const k = lines.indexOf(first.line), counted = Number(first.line.split(" ")[1]);
    const beyond = k < 0 ? `line ${counted + 10}` : lines[k + (k <= lines.length / 2 ? 2 : -2)];
    const across = first.row.replace(/^\w+/, (side) => OTHER[side]);
    const wanted = [{ line: first.line, row: across }, { line: beyond, row: across }, { line: beyond, row: first.row }];
    return wanted.find((w) => !this.marks.some((m) => m.mark === `${w.line} ${w.row}`)) || null;
  }

  place() {
    if (!this.next || this.marks.length >= MOST) { this.name(); return; }
    const mark = `${this.next.line} ${this.next.row}`;
    this.marks = [...this.marks.filter((m) => m.mark !== mark), { mark, image_xy_px: this.cross.at.map((v) => Math.round(v * 10) / 10) }];
    this.next = this.proposed();
    this.changed();
  }

  takeBack() {
    const last = this.marks.pop();
    if (last) this.next = split(last.mark);
    this.changed();
  }

  line() {
    const count = `${this.marks.length} clicked${this.marks.length < FEWEST ? ` of at least ${FEWEST}` : ""}`;
    return this.next ? `Click where the ${this.next.line} meets the ${this.next.row} (${count}), or bring the cross there by arrows and press Space.` : `${count}: Enter keeps them, N names another.`;
  }

  down(x, y) { this.cross.at = [x, y]; this.pressed = true; }

  move(x, y) { this.cross.at = [x, y]; this.changed(false); }

  up() { if (this.pressed) { this.pressed = false; this.place(); } }

  key(event) {
    if (dialogIsOpen() || event.altKey || event.key === "Tab" || event.target.closest("button, input")) return;
    event.preventDefault();
    event.stopPropagation();
    if (this.cross.moved(event)) this.changed(false);
    else if (event.key === " ") this.place();
    else if (["Delete", "Backspace"].includes(event.key)) this.takeBack();
    else if (event.key.toLowerCase() === "n") this.name();
    else if (event.key === "Enter") this.end(true);
    else if (event.key === "Escape") this.end(false);
  }

  close() { document.removeEventListener("keydown", this.keys, true); }

  /** What the log gets. */
  value() { return this.marks.map((mark) => ({ frame_index: this.frame, ...mark })); }

  draw(context) {
    const { scale } = this.cross;
    context.font = "600 12px sans-serif";
    for (const { mark, image_xy_px: [x, y] } of this.marks) {
      drawCross(context, x * scale, y * scale, 6);
      const wide = context.measureText(mark).width + 8;
      context.fillStyle = "rgb(0 0 0 / 80%)";
      context.fillRect(x * scale + 8, y * scale - 8, wide, 16);
      context.fillStyle = "#fff";
      context.textAlign = "left";
      context.fillText(mark, x * scale + 12, y * scale + 4);
    }
    this.cross.draw(context);
  }
}

/** { line, row } of a mark's words. */
function split(mark) {
  const [, line, row] = mark.match(/^(.*?) ((?:near|far|left|right) (?:sideline|hash|numbers top|numbers bottom))$/);
  return { line, row };
}
