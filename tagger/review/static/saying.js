// Saying something to the log: one change after the other, each on the version it was made on; undo, redo, and what
// happens when another coach was faster.

import { bothVersions, askText } from "./choosing.js";
import { byId } from "./dom.js";
import { foreseen } from "./foreseen.js";
import { saidWords } from "./naming.js";
import { notice } from "./notice.js";
import { posted, Refusal } from "./server.js";

let chain = Promise.resolve();

/** The coach's name, asked for once on this machine. */
export async function coachName() {
  const field = byId("who");
  if (!field.value.trim()) {
    const name = await askText("Who is correcting?", "Your name, for the log:");
    if (name) { field.value = name; localStorage.setItem("coach", name); }
  }
  return field.value.trim();
}

/** Run changes strictly one after the other. */
function inTurn(work) {
  chain = chain.then(work, work);
  return chain;
}

/** Resolves once every change so far is answered. */
export const settled = () => chain.catch(() => null);

export class Saying {
  /** `page.replaced(rep)` takes the rep that the server answers with. */
  constructor(page) {
    this.page = page;
    this.pending = 0;
  }

  /** Log edits [{subject, field, after}]. Resolves true if they stand. */
  async fix(edits) {
    const who = await coachName();
    if (!who) { notice("A correction needs a name.", true); return false; }
    const reason = byId("reason").value.trim();
    byId("reason").value = "";
    const before = this.page.rep;
    this.page.shows(foreseen(before, edits));
    const stands = await this.change("corrections", { who, reason, edits }, edits.map((e) => saidWords(this.page, e)).join("\n"));
    if (!stands && this.page.rep.rep_id === before.rep_id && this.page.rep.version === before.version) this.page.shows(before);
    return stands;
  }

  /** Post a change in its turn, then have read anew what follows from it. `body` may be made in its turn; a line says why not. */
  async change(what, body, words) {
    this.pending++;
    const stands = await inTurn(() => {
      const asked = typeof body === "function" ? body() : body;
      if (typeof asked !== "string") return this.send(what, asked, words);
      notice(asked, false);
      return false;
    });
    this.pending--;
    this.readAgain();
    return stands;
  }

  async send(what, body, words) {
    const rep = this.page.rep;
    try {
      await this.page.replaced(await posted(`/api/reps/${rep.rep_id}/${what}`, { ...body, version: rep.version }));
      notice(what === "undo" ? "Taken back." : words, false);
      return true;
    } catch (refusal) {
      if (!(refusal instanceof Refusal) || refusal.status !== 409) { notice(refusal.message, true); return false; }
      return this.conflict(refusal, what, body, words);
    }
  }

  async conflict(refusal, what, body, words) {
    const theirs = refusal.answer.theirs.map((row) => `${row.who}: ${row.undoes === null ? saidWords(this.page, row) : `took back ${row.field}`}`).join("\n");
    await this.page.replaced(refusal.answer.rep);
    if (await bothVersions(refusal.message, words, theirs) !== "mine") return false;
    return this.send(what, body, words);
  }

  /** What depends on the coach's word is inferred anew, in the background; no change waits for it, and what it was overtaken
      by is not undone on the page. */
  async readAgain() {
    const rep = this.page.rep;
    if (!rep.stale || this.pending) return;
    byId("rereading").hidden = false;
    try {
      const answer = await posted(`/api/reps/${rep.rep_id}/reread`, { version: rep.version });
      const now = this.page.rep;
      if (now.rep_id === answer.rep_id && now.version <= answer.version && !this.pending) await this.page.replaced(answer, true);
    } catch (refusal) {
      notice(refusal.message, true);
      if (this.page.rep === rep) await this.page.replaced(rep, true).catch(() => null); // the field may have been found, the play not
    } finally {
      byId("rereading").hidden = !this.page.rep.stale;
    }
  }

  /** Take back row `id`, or the newest that stands by then. */
  async undo(id) {
    const newest = () => id ?? this.page.rep.corrections.filter((c) => c.standing).at(-1)?.correction_id;
    await this.takeBack(newest, "take back", "Nothing to take back.");
  }

  /** Bring back what was taken back last. */
  async redo() {
    const last = () => {
      const log = this.page.rep.corrections, answered = new Set(log.map((c) => c.undoes));
      return log.filter((c) => c.undoes !== null && !answered.has(c.correction_id)).at(-1)?.correction_id;
    };
    await this.takeBack(last, "bring back", "Nothing to bring back.");
  }

  /** Which row is meant is looked up in its turn: two quick presses mean two rows. */
  async takeBack(rowOf, words, nothing) {
    const who = await coachName();
    if (who) await this.change("undo", () => { const row = rowOf(); return row === undefined ? nothing : { who, correction_id: row }; }, words);
  }
}
