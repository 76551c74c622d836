// The views of one rep, played in step. The clock is the main clip's; what is on the screen is told by the browser itself
// (requestVideoFrameCallback), so that drawings follow the frame that is shown, not the one that was asked for.

import { el } from "./dom.js";
import { insideFrame, rowAt } from "./geometry.js";

const FAR_S = 0.3, NEAR_S = 0.012, LATE_MS = 400;

/** The videos of a rep, made before they are needed so that the next rep is there at once. */
export function madeVideos(rep) {
  return rep.clips.map((clip) => el("video", { src: clip.film, preload: "auto", muted: true, playsinline: true, tabindex: "-1", "aria-label": `${clip.view} film` }));
}

export class Film {
  /** `onFrame(t)`: a frame of main time t is shown. `onTime(t)`: the clock was set. `onPicture(index)`: redraw one view. */
  constructor(box, { onFrame, onTime, onPicture, onState }) {
    Object.assign(this, { box, onFrame, onTime, onPicture, onState });
    this.screens = [];
    this.timeS = 0;
    this.rate = 1;
    this.looping = false;
    this.playing = false;
    this.shown = 0;
    this.ticket = 0;
  }

  load(rep, movings, videos) {
    this.pause();
    this.ticket++;
    this.rep = rep;
    this.times = movings[0].time_s;
    this.range = null;
    this.screens = rep.clips.map((clip, index) => {
      const video = videos[index], canvas = el("canvas", { "aria-hidden": "true" });
      const gone = el("p", { class: "gone", hidden: true }, "This film cannot be shown here: it has moved, or the browser lacks its format. Field and lanes still run.");
      const preparing = el("p", { class: "preparing", role: "status", hidden: video.readyState >= 2 }, "Preparing the film …");
      for (const done of ["loadeddata", "error"]) video.addEventListener(done, () => { preparing.hidden = true; });
      const screen = { clip, moving: movings[index], video, canvas, gone, row: 0, usable: true, offset: clip.minus_main_s };
      screen.figure = el("figure", { class: "screen" }, video, canvas, el("figcaption", {}, clip.view), preparing, gone);
      video.muted = true;
      video.addEventListener("error", () => { screen.usable = false; gone.hidden = false; });
      this.follow(screen, this.ticket);
      return screen;
    });
    this.box.replaceChildren(...this.screens.map((screen) => screen.figure));
    this.show(this.shown);
  }

  get lead() {
    return this.screens.find((screen) => !screen.figure.hidden && screen.usable) || null;
  }

  /** Which views are to be seen: "all" or an index. */
  show(which) {
    this.shown = which;
    this.screens.forEach((screen, index) => { screen.figure.hidden = which !== "all" && which % this.screens.length !== index; });
    this.onState();
    if (this.playing) { this.pause(); this.play(); } else this.seek(this.timeS);
  }

  follow(screen, ticket) {
    const shown = (_, frame) => {
      if (ticket !== this.ticket) return;
      screen.mediaTime = frame.mediaTime;
      screen.row = rowAt(screen.moving.time_s, frame.mediaTime);
      if (screen.row === screen.wantedRow) screen.waiting = false;
      if (screen === this.lead) this.presented(frame.mediaTime - screen.offset);
      this.onPicture(screen);
      screen.video.requestVideoFrameCallback(shown);
    };
    screen.video.requestVideoFrameCallback(shown);
    screen.video.addEventListener("seeked", () => {
      if (ticket !== this.ticket) return;
      if (screen.next !== undefined && screen.next !== null) { const next = screen.next; screen.next = null; screen.video.currentTime = next; }
    });
  }

  presented(t) {
    if (this.playing) {
      this.timeS = t;
      const range = this.range;
      if (this.looping && range && t >= range[1]) { this.seek(range[0]); return; }
      this.keepInStep(t);
      this.onTime(t);
    }
    this.onFrame(t);
  }

  keepInStep(t) {
    for (const screen of this.screens) {
      if (screen === this.lead || screen.figure.hidden || !screen.usable) continue;
      const wanted = Math.min(t + screen.offset, screen.video.duration || Infinity), late = screen.video.currentTime - wanted;
      if (Math.abs(late) > FAR_S) { if (!screen.video.seeking && wanted >= 0) screen.video.currentTime = wanted; }
      else screen.video.playbackRate = Math.max(0.1, this.rate * (Math.abs(late) > NEAR_S ? 1 - Math.max(-0.5, Math.min(0.5, late * 4)) : 1));
      if (screen.video.paused && wanted >= 0 && !screen.video.ended) screen.video.play().catch(() => {});
    }
  }

  get row() { return rowAt(this.times, this.timeS); }

  get endS() { return this.times[this.times.length - 1]; }

  seek(t) {
    this.timeS = Math.max(this.times[0], Math.min(t, this.endS));
    for (const screen of this.screens) {
      const times = screen.moving.time_s;
      if (!screen.usable || screen.figure.hidden) continue;
      screen.wantedRow = rowAt(times, this.timeS + screen.offset);
      screen.waiting = true;
      const wanted = insideFrame(times, screen.wantedRow);
      if (screen.video.seeking) screen.next = wanted; else screen.video.currentTime = wanted;
    }
    this.onTime(this.timeS);
    this.drawAnyway();
  }

  /** Where the wanted frame does not come (no film, a slow disk, a browser that tells of the frame before alone), field and lanes
   * must not wait for ever. */
  drawAnyway() {
    clearTimeout(this.late);
    const lead = this.lead;
    if (!lead) { this.onFrame(this.timeS); return; }
    this.late = setTimeout(() => { if (lead.waiting && !this.playing) this.onFrame(this.timeS); }, LATE_MS);
  }

  step(frames) {
    this.pause();
    const row = Math.max(0, Math.min(this.row + frames, this.times.length - 1));
    this.seek(insideFrame(this.times, row));
  }

  play() {
    if (this.timeS >= this.endS - 0.05) this.seek(this.range ? this.range[0] : this.times[0]);
    this.playing = true;
    this.onState();
    const lead = this.lead;
    this.led = lead;
    if (!lead) { this.ownClock(performance.now(), this.timeS); return; }
    lead.video.onended = () => { if (this.looping) { this.seek(this.range ? this.range[0] : 0); lead.video.play().catch(() => {}); } else this.pause(); };
    for (const screen of this.screens) {
      screen.video.playbackRate = this.rate;
      if (!screen.figure.hidden && screen.usable && this.timeS + screen.offset >= 0) screen.video.play().catch(() => {});
    }
  }

  ownClock(startedMs, fromS) {
    const tick = (now) => {
      if (!this.playing || this.lead) return;
      const t = fromS + (now - startedMs) / 1000 * this.rate;
      if (t >= this.endS) { this.pause(); return; }
      this.timeS = t;
      this.onTime(t);
      this.onFrame(t);
      requestAnimationFrame(tick);
    };
    requestAnimationFrame(tick);
  }

  pause() {
    if (!this.playing) return;
    this.playing = false;
    for (const screen of this.screens) screen.video.pause();
    this.onState();
    // The frame that stands may be later than the last one told of: stay on it.
    if (this.led && !this.led.video.seeking) this.timeS = this.led.video.currentTime - this.led.offset;
    this.seek(this.timeS);
  }

  toggle() { if (this.playing) this.pause(); else this.play(); }

  setRate(rate) {
    this.rate = rate;
    for (const screen of this.screens) screen.video.playbackRate = rate;
    this.onState();
  }

  setLoop(on) {
    this.looping = on;
    this.onState();
  }
}
