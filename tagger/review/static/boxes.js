// The boxes of one frame as the coach draws them, to train the detector on: they change no tag.

import { Cross } from "./cross.js";
import { boxAt } from "./geometry.js";

const NEAR_PX = 9, LEAST_PX = 4;

export class BoxEditing {
  /** Starts from the boxes that were said of this frame, else from those that the machine saw. `end(kept)` when it is left. */
  constructor(screen, said, end) {
    Object.assign(this, { screen, end, row: screen.row, held: null, chosen: null, cross: null });
    this.shrink = screen.moving.size_px[0] / screen.clip.size_px[0];
    const seen = (person) => person.seen[screen.row - person.first] === 1;
    this.boxes = said ? said.map((box) => box.map((v) => v * this.shrink)) : screen.moving.people.filter(seen).map((p) => [...boxAt(p, screen.row)]);
    this.keys = (event) => this.key(event);
    document.addEventListener("keydown", this.keys, true);
  }

  /** Canvas pixels for one of the picture. */
  get scale() { return this.screen.canvas.clientWidth / this.screen.moving.size_px[0]; }

  down(x, y) {
    const reach = NEAR_PX / this.scale, near = (a, b) => Math.abs(a - b) <= reach;
    const corner = (b) => [[0, 1], [2, 1], [0, 3], [2, 3]].find(([i, j]) => near(b[i], x) && near(b[j], y));
    const area = (b) => (b[2] - b[0]) * (b[3] - b[1]);
    const inside = this.boxes.filter((b) => x > b[0] && x < b[2] && y > b[1] && y < b[3]).sort((a, b) => area(a) - area(b));
    const cornered = this.boxes.find(corner);
    if (cornered) this.held = { box: cornered, at: corner(cornered) };
    else if (inside.length) this.held = { box: inside[0], from: [x, y] };
    else {
      this.boxes.push([x, y, x, y]);
      this.held = { box: this.boxes.at(-1), at: [2, 3], fresh: true };
    }
    this.chosen = this.held.box;
  }

  move(x, y) {
    if (!this.held) return;
    const { box, at, from } = this.held;
    if (at) [box[at[0]], box[at[1]]] = [x, y];
    else {
      const [dx, dy] = [x - from[0], y - from[1]];
      [0, 2].forEach((i) => { box[i] += dx; box[i + 1] += dy; });
      this.held.from = [x, y];
    }
  }

  up() {
    if (!this.held) return;
    const { box } = this.held, [x0, y0, x1, y1] = box;
    [box[0], box[1], box[2], box[3]] = [Math.min(x0, x1), Math.min(y0, y1), Math.max(x0, x1), Math.max(y0, y1)];
    if (Math.min(box[2] - box[0], box[3] - box[1]) < LEAST_PX) this.remove();
    this.held = null;
  }

  remove() {
    this.boxes = this.boxes.filter((box) => box !== this.chosen);
    this.chosen = null;
  }

  key(event) {
    if (event.metaKey || event.altKey || event.key === "Tab" || event.target.closest("button")) return;
    event.preventDefault();
    event.stopPropagation();
    const fresh = this.cross || new Cross(this.screen);
    if (fresh.moved(event)) { this.cross = fresh; this.move(...fresh.at); this.end(null); }
    else if (event.key === " " && this.cross) { if (this.held) this.up(); else this.down(...this.cross.at); this.end(null); }
    else if (["Delete", "Backspace", "x"].includes(event.key)) { this.remove(); this.end(null); }
    else if (event.key === "Enter") this.leave(true);
    else if (event.key === "Escape") this.leave(false);
  }

  close() { document.removeEventListener("keydown", this.keys, true); }

  leave(kept) {
    this.close();
    this.end(kept);
  }

  /** What the log gets: boxes in pixels of the file, inside the picture. */
  value() {
    const [width, height] = this.screen.clip.size_px;
    const inside = (v, most) => Math.round(10 * Math.max(0, Math.min(v / this.shrink, most))) / 10;
    const xyxy = this.boxes.map(([x0, y0, x1, y1]) => [inside(x0, width), inside(y0, height), inside(x1, width), inside(y1, height)]);
    return { frame_index: this.screen.moving.frame_index[this.row], xyxy: xyxy.filter(([x0, y0, x1, y1]) => x1 > x0 && y1 > y0) };
  }

  draw(context) {
    const { scale } = this;
    for (const box of this.boxes) {
      const [x0, y0, x1, y1] = box.map((v) => v * scale), chosen = box === this.chosen;
      for (const [ink, width] of [["#000", chosen ? 5 : 3.5], ["#fff", chosen ? 3 : 1.5]]) {
        context.strokeStyle = ink;
        context.lineWidth = width;
        context.strokeRect(x0, y0, x1 - x0, y1 - y0);
      }
    }
    this.cross?.draw(context);
  }
}
