// Fixes that are made on the picture itself: the ball, the field's lines and marks, people's boxes.

import { BoxEditing } from "./boxes.js";
import { SpotPicking } from "./cross.js";
import { toField } from "./geometry.js";
import { FEWEST, MarkEditing } from "./marks.js";
import { notice } from "./notice.js";

export class FilmFixes {
  constructor(page, saying) { Object.assign(this, { page, saying }); }

  rep(field, after) { return this.saying.fix([{ subject: "rep", field, after }]); }

  /** Where the ball lies: a click in the film or on the plan, or the cross that the arrows move. */
  ball() {
    const { page } = this, screen = page.film.lead;
    const leave = () => { page.editing?.close(); page.editing = null; page.setMode(null); };
    page.setMode({ name: "ball", line: "Click where the ball lies, in the film or on the plan; or bring the cross there by arrows and press Space. Escape leaves." });
    if (!screen) return;
    page.film.pause();
    page.editing = new SpotPicking(screen, { changed: () => page.draw(), picked: (at) => {
      const field = at && toField(screen.moving, screen.row, ...at);
      leave();
      if (field) this.ballAt(field); else if (at) notice("That is no spot of the field.", true);
    } });
    page.draw();
  }

  ballAt(field) { return this.rep("ball_xy_yd", field.map((v) => Math.round(v * 100) / 100)); }

  /** Move the field's lines onto the turf; where there are none, name marks. */
  turf() {
    const screen = this.page.film.lead;
    if (screen && !screen.moving.image_from_field[screen.row]) { this.marks(); return; }
    this.page.toggles.lines = true;
    const acts = [["Name marks instead", () => this.marks()], ["Leave", () => this.page.setMode(null)]];
    this.page.setMode({ name: "turf", line: "Drag a crossing of the dashed lines to where it really is in the film.", acts });
  }

  /** Name marks of the field and click them: four or more give the field of the whole clip. */
  marks() {
    const { page } = this, screen = page.film.lead;
    if (!screen) { notice("Marks are clicked on the film, and there is none to be seen.", true); return; }
    page.film.pause();
    const leave = () => { page.editing.close(); page.editing = null; page.setMode(null); };
    const changed = (lineToo = true) => { if (lineToo && page.editing) page.setMode({ name: "marks", line: page.editing.line(), acts }); else page.draw(); };
    const end = async (kept) => {
      if (!kept) { leave(); return; }
      const { editing } = page, after = editing.value();
      if (after.length < FEWEST) { notice(`${after.length} clicked: at least ${FEWEST} are needed.`, true); return; }
      if (await this.saying.fix([{ subject: `clip:${screen.clip.mark}`, field: "anchors", after }]) && page.editing === editing) leave();
    };
    const acts = [["Keep", () => end(true)], ["Another mark", () => page.editing.name()], ["Take away", () => page.editing.takeBack()], ["Leave", () => end(false)]];
    page.editing = new MarkEditing(screen, page.anchorsOf(screen.clip), { changed, end });
    page.editing.name();
  }

  /** Draw the boxes of the shown frame anew, for training the detector. */
  boxes() {
    const { page } = this, screen = page.film.lead;
    if (!screen) { notice("Boxes are drawn on the film, and there is none to be seen.", true); return; }
    page.film.pause();
    const subject = `clip:${screen.clip.mark}`, frame = screen.moving.frame_index[screen.row];
    const said = page.rep.corrections.filter((c) => c.standing && c.subject === subject && c.field === "boxes" && c.after.frame_index === frame).at(-1);
    page.editing = new BoxEditing(screen, said?.after.xyxy, (kept) => {
      if (kept === null) { page.draw(); return; }
      const after = page.editing.value();
      page.editing = null;
      page.setMode(null);
      if (kept) this.saying.fix([{ subject, field: "boxes", after }]);
    });
    const acts = [["Keep", () => page.editing.leave(true)], ["Take away", () => { page.editing.remove(); page.draw(); }], ["Leave", () => page.editing.leave(false)]];
    page.setMode({ name: "boxes", line: "Drag on the film to add a box, a box to move it, its corner to size it (or arrows, and Space to take hold and let go); Delete takes the chosen one away. Enter keeps all, Escape none.", acts });
  }

  /** A dragged turf spot joins those of its view. */
  anchor(screen, field_xy_yd, image_xy_px) {
    const before = this.page.anchorsOf(screen.clip);
    const anchor = { frame_index: screen.moving.frame_index[screen.row], image_xy_px: image_xy_px.map((v) => Math.round(v * 10) / 10), field_xy_yd };
    return this.saying.fix([{ subject: `clip:${screen.clip.mark}`, field: "anchors", after: [...before, anchor].slice(-24) }]);
  }
}
