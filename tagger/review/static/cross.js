// A cross on the film that the arrow keys move, for whoever points without a mouse; and the film about it, enlarged.

const STEP_PX = 8, LOUPE_PX = 120, ZOOM = 4;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export class Cross {
  constructor(screen) {
    this.screen = screen;
    this.at = screen.moving.size_px.map((v) => v / 2);
  }

  /** Canvas pixels for one of the picture. */
  get scale() { return this.screen.canvas.clientWidth / this.screen.moving.size_px[0]; }

  /** Move by an arrow key (with Shift five steps, with Ctrl one pixel); false for any other key. */
  moved(event) {
    const arrow = ARROWS[event.key];
    if (!arrow) return false;
    const step = event.shiftKey ? 5 * STEP_PX : event.ctrlKey ? 1 : STEP_PX;
    this.at = this.at.map((v, i) => Math.max(0, Math.min(v + arrow[i] * step, this.screen.moving.size_px[i])));
    return true;
  }

  draw(context) {
    const { scale, at } = this;
    drawCross(context, at[0] * scale, at[1] * scale, 14);
    const { video, moving } = this.screen, [width] = moving.size_px, file = video.videoWidth / width;
    if (!file) return;
    const reach = LOUPE_PX / ZOOM / scale, left = at[0] > width / 2 ? 6 : this.screen.canvas.clientWidth - LOUPE_PX - 6;
    context.fillStyle = "#000";
    context.fillRect(left - 2, 26, LOUPE_PX + 4, LOUPE_PX + 4);
    context.drawImage(video, (at[0] - reach / 2) * file, (at[1] - reach / 2) * file, reach * file, reach * file, left, 28, LOUPE_PX, LOUPE_PX);
    drawCross(context, left + LOUPE_PX / 2, 28 + LOUPE_PX / 2, 10);
  }
}

/** A cross with an open middle, dark under light. */
export function drawCross(context, x, y, reach) {
  for (const [ink, wide] of [["#000", 4], ["#fff", 1.6]]) {
    context.strokeStyle = ink;
    context.lineWidth = wide;
    context.beginPath();
    for (const [dx, dy] of Object.values(ARROWS)) { context.moveTo(x + 3 * dx, y + 3 * dy); context.lineTo(x + reach * dx, y + reach * dy); }
    context.stroke();
  }
}

/** One spot of the film: `picked([x, y])` in pixels of the picture, null when it is left. */
export class SpotPicking {
  constructor(screen, { changed, picked }) {
    Object.assign(this, { screen, changed, picked, cross: new Cross(screen) });
    this.keys = (event) => this.key(event);
    document.addEventListener("keydown", this.keys, true);
  }

  down(x, y) { this.cross.at = [x, y]; }

  move(x, y) { this.cross.at = [x, y]; this.changed(); }

  up() { this.picked(this.cross.at); }

  key(event) {
    if (event.altKey || event.key === "Tab" || event.target.closest("button, input")) return;
    event.preventDefault();
    event.stopPropagation();
    if (this.cross.moved(event)) this.changed();
    else if ([" ", "Enter"].includes(event.key)) this.picked(this.cross.at);
    else if (event.key === "Escape") this.picked(null);
  }

  close() { document.removeEventListener("keydown", this.keys, true); }

  draw(context) { this.cross.draw(context); }
}
