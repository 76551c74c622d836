// Keys, buttons and pointers of the rep's page: what each of them asks the page, the film or the fixes to do.

import { byId } from "./dom.js";
import { fieldFromPlay } from "./geometry.js";
import { help, listen } from "./keys.js";
import { personAt, turfAt } from "./overlay.js";
import { gridNear } from "./turf_grid.js";

export const TOGGLES = ["boxes", "tags", "zones", "lines"];

export class Controls {
  constructor(page) {
    this.page = page;
    listen((...asked) => this.run(...asked));
    for (const button of document.querySelectorAll("[data-run]")) {
      button.addEventListener("click", (event) => { this.run(button.dataset.run, button.dataset.key || "", event); if (event.detail) button.blur(); });
    }
    byId("plan").addEventListener("pointerup", (event) => this.onPlan(event));
    const who = byId("who");
    who.value = localStorage.getItem("coach") || "";
    who.addEventListener("change", () => localStorage.setItem("coach", who.value.trim()));
    window.addEventListener("popstate", (event) => { if (event.state?.repId) page.open(event.state.repId, false); });
  }

  run(action, key, event) {
    const { page } = this, { film, fixes, saying } = page, shift = event?.shiftKey;
    const own = {
      accept: () => fixes.accept(), go: () => page.go(key === "PageUp" ? -1 : 1), toggle: () => film.toggle(),
      step: () => film.step((key === "ArrowLeft" ? -1 : 1) * (shift ? 10 : 1)), half: () => film.setRate(film.rate === 1 ? 0.5 : 1),
      loop: () => film.setLoop(!film.looping), toSnap: () => { film.pause(); film.seek(page.rep.reading.snap_s ?? film.times[0]); },
      views: () => film.show(film.shown === "all" ? 0 : film.shown + 1 < film.screens.length ? film.shown + 1 : film.screens.length > 1 ? "all" : 0),
      overlay: () => this.toggleOverlay(TOGGLES[Number(key) - 1]), man: () => page.man(["k", "K", "ArrowUp"].includes(key) ? -1 : 1),
      pickMan: async () => { const person = await page.pick("Press the letter of the man."); if (person) page.choose(page.keyOf(person)); },
      formation: () => (shift ? fixes.strength() : fixes.set_name()), assignment: () => fixes.assignment(shift), border: () => fixes.border(key === "[" ? -1 : 1),
      event: () => fixes.nextEvent(shift ? -1 : 1), verdict: () => fixes.verdict(key.toLowerCase() === "y" ? "confirmed" : "wrong"),
      turf: () => (shift ? fixes.marks() : fixes.turf()), undo: () => (shift ? saying.redo() : saying.undo()), reason: () => byId("reason").focus(), help,
      leave: () => { page.setMode(null); page.chosenEvent = null; page.choose(null); },
    };
    return own[action] ? own[action]() : fixes[action]();
  }

  toggleOverlay(name) {
    this.page.toggles[name] = !this.page.toggles[name];
    this.page.transport();
    this.page.draw();
  }

  /** Listen to the pointer on one view of the film. */
  watch(screen) {
    const { page } = this, { canvas } = screen;
    const spot = (event) => { const box = canvas.getBoundingClientRect(); return turfAt(screen, event.clientX - box.left, event.clientY - box.top); };
    let held = null;
    const drawing = () => page.editing?.screen === screen && page.editing;
    canvas.addEventListener("pointermove", (event) => { if (drawing()) { drawing().move(...spot(event).picture); if (event.buttons) page.draw(); } });
    canvas.addEventListener("pointerdown", (event) => {
      if (drawing()) { drawing().down(...spot(event).picture); canvas.setPointerCapture(event.pointerId); page.draw(); }
      if (page.mode?.name !== "turf") return;
      const at = spot(event).field;
      held = at && gridNear(at, screen.moving.hash_yd);
      canvas.setPointerCapture(event.pointerId);
    });
    canvas.addEventListener("pointerup", (event) => {
      const at = spot(event), point = [event.offsetX, event.offsetY];
      if (drawing()) { drawing().up(); page.draw(); return; }
      if (page.mode?.name === "turf") { if (held) page.fixes.anchor(screen, held, at.picture); held = null; return; }
      this.clicked(personAt(screen, ...point));
    });
  }

  onPlan(event) {
    const { page } = this, at = [event.offsetX, event.offsetY];
    if (page.mode?.name !== "ball" || !page.placement) { this.clicked(page.plan.personAt(...at)); return; }
    page.leaveEditing();
    page.setMode(null);
    page.fixes.ballAt(fieldFromPlay(page.placement, ...page.plan.playAt(...at)));
  }

  clicked(person) {
    if (!person) return;
    if (this.page.hints) this.page.hints.finish(person);
    else this.page.choose(this.page.keyOf(person));
  }
}
