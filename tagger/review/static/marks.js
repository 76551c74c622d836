// Marks of the field that the coach names and clicks in one frame: from four of them on, the field is found over the whole clip.

import { askMark, dialogIsOpen } from "./choosing.js";
import { words } from "./looks.js";

export const FEWEST = 4;
const MOST = 12, STEP_PX = 8, LOUPE_PX = 120, ZOOM = 4;
const OTHER = { near: "far", far: "near", left: "right", right: "left" };
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
let lastView = "sideline";

export class MarkEditing {
  /** `changed()` redraws; `end(kept)` is asked to keep the marks or to leave them. */
  constructor(screen, said, { changed, end }) {
    Object.assign(this, { screen, changed, end, row: screen.row, pressed: false });
    this.frame = screen.moving.frame_index[screen.row];
    this.marks = said.filter((m) => m.mark && m.frame_index === this.frame).map(({ mark, image_xy_px }) => ({ mark, image_xy_px }));
    this.at = screen.moving.size_px.map((v) => v / 2);
    this.next = null;
    this.keys = (event) => this.key(event);
    document.addEventListener("keydown", this.keys, true);
  }

  get scale() { return this.screen.canvas.clientWidth / this.screen.moving.size_px[0]; }

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
    this.marks = [...this.marks.filter((m) => m.mark !== mark), { mark, image_xy_px: this.at.map((v) => Math.round(v * 10) / 10) }];
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

  down(x, y) { this.at = [x, y]; this.pressed = true; }

  move(x, y) { this.at = [x, y]; this.changed(false); }

  up() { if (this.pressed) { this.pressed = false; this.place(); } }

  key(event) {
    if (dialogIsOpen() || event.altKey || event.key === "Tab" || event.target.closest("button, input")) return;
    event.preventDefault();
    event.stopPropagation();
    const arrow = ARROWS[event.key];
    if (arrow) {
      const step = event.shiftKey ? 5 * STEP_PX : event.ctrlKey ? 1 : STEP_PX;
      this.at = this.at.map((v, i) => Math.max(0, Math.min(v + arrow[i] * step, this.screen.moving.size_px[i])));
      this.changed(false);
    } else if (event.key === " ") this.place();
    else if (["Delete", "Backspace"].includes(event.key)) this.takeBack();
    else if (event.key.toLowerCase() === "n") this.name();
    else if (event.key === "Enter") this.end(true);
    else if (event.key === "Escape") this.end(false);
  }

  close() { document.removeEventListener("keydown", this.keys, true); }

  /** What the log gets. */
  value() { return this.marks.map((mark) => ({ frame_index: this.frame, ...mark })); }

  draw(context) {
    const { scale } = this;
    context.font = "600 12px sans-serif";
    for (const { mark, image_xy_px: [x, y] } of this.marks) {
      cross(context, x * scale, y * scale, 6);
      const wide = context.measureText(mark).width + 8;
      context.fillStyle = "rgb(0 0 0 / 80%)";
      context.fillRect(x * scale + 8, y * scale - 8, wide, 16);
      context.fillStyle = "#fff";
      context.textAlign = "left";
      context.fillText(mark, x * scale + 12, y * scale + 4);
    }
    cross(context, this.at[0] * scale, this.at[1] * scale, 14);
    this.loupe(context);
  }

  /** The film about the cross, enlarged, in the corner that is farther from it. */
  loupe(context) {
    const { video, moving } = this.screen, [width] = moving.size_px, file = video.videoWidth / width;
    if (!file) return;
    const reach = LOUPE_PX / ZOOM / this.scale, left = this.at[0] > width / 2 ? 6 : this.screen.canvas.clientWidth - LOUPE_PX - 6;
    context.fillStyle = "#000";
    context.fillRect(left - 2, 26, LOUPE_PX + 4, LOUPE_PX + 4);
    context.drawImage(video, (this.at[0] - reach / 2) * file, (this.at[1] - reach / 2) * file, reach * file, reach * file, left, 28, LOUPE_PX, LOUPE_PX);
    cross(context, left + LOUPE_PX / 2, 28 + LOUPE_PX / 2, 10);
  }
}

/** { line, row } of a mark's words. */
function split(mark) {
  const [, line, row] = mark.match(/^(.*?) ((?:near|far|left|right) (?:sideline|hash|numbers top|numbers bottom))$/);
  return { line, row };
}

/** A cross with an open middle, dark under light. */
function cross(context, x, y, reach) {
  for (const [ink, wide] of [["#000", 4], ["#fff", 1.6]]) {
    context.strokeStyle = ink;
    context.lineWidth = wide;
    context.beginPath();
    for (const [dx, dy] of Object.values(ARROWS)) { context.moveTo(x + 3 * dx, y + 3 * dy); context.lineTo(x + reach * dx, y + reach * dy); }
    context.stroke();
  }
}
