// Film on its way to the server, by the tus protocol (tus.min.js): two files at a time, each gone on with where it stopped.

/* global tus */

import { byId, el } from "./dom.js";
import { look, showLeft, size } from "./night.js";

const AT_ONCE = 2;
const RETRY_MS = [0, 1000, 2000, 5000, 10000, 20000, 30000, 60000, 60000, 60000, 60000];
const token = document.querySelector('meta[name="page-token"]').content;
const all = [];
let paused = false;

/** Where a file stands in the folder that was dropped or chosen. */
const place = (file) => file.placed || file.webkitRelativePath || file.name;

class Sending {
  constructor(file) {
    this.file = file;
    this.state = "waits";
    this.sent = 0;
    this.bar = el("progress", { max: file.size || 1, value: 0, "aria-label": place(file) });
    this.word = el("span", { class: "number" }, "waits");
    this.away = el("button", { type: "button", "aria-label": `do not send ${place(file)}`, onclick: () => this.drop() }, "Take away");
    this.line = el("p", { class: "line", hidden: true });
    this.row = el("li", {}, el("span", { class: "name" }, place(file)), this.bar, this.word, this.away, this.line);
    this.upload = new tus.Upload(file, {
      endpoint: "/uploads",
      headers: { "x-page-token": token },
      metadata: { filename: file.name, relativePath: place(file) },
      retryDelays: RETRY_MS,
      removeFingerprintOnSuccess: true,
      fingerprint: async () => `deepthird ${place(file)} ${file.size} ${file.lastModified}`,
      onUploadUrlAvailable: () => { this.row.dataset.upload = this.upload.url.split("/").pop(); showLeft(); },
      onProgress: (sent) => this.tell("sending", sent),
      onSuccess: () => this.end("here", ""),
      onError: (error) => this.broke(error),
    });
  }

  async start() {
    this.state = "sending";
    this.tell("sending", this.sent);
    if (!this.upload.url) {
      const [known] = await this.upload.findPreviousUploads();
      if (known) this.upload.resumeFromPreviousUpload(known);
    }
    if (this.state === "sending") this.upload.start();
  }

  async hold() {
    if (this.state !== "sending") return;
    this.state = "waits";
    await this.upload.abort();
    this.tell("paused", this.sent);
  }

  async drop() {
    const begun = this.state !== "here" && this.state !== "refused";
    this.state = "gone";
    all.splice(all.indexOf(this), 1);
    this.row.remove();
    if (begun) await this.upload.abort(Boolean(this.upload.url)).catch(() => {});
    next();
    look();
  }

  tell(word, sent) {
    this.sent = sent;
    this.bar.value = sent;
    this.word.textContent = word === "sending" ? `${size(sent)} of ${size(this.file.size)}` : word;
    sum();
  }

  end(state, line) {
    this.state = state;
    this.line.textContent = line;
    this.line.hidden = !line;
    this.line.classList.toggle("bad", state === "refused");
    this.away.textContent = "Clear";
    if (state === "here") this.sent = this.file.size;
    this.tell({ here: "whole", refused: "not taken", broken: "line broken" }[state], this.sent);
    next();
    look();
  }

  /** A refusal has its one line; a line that stays broken is tried again when it is back. */
  broke(error) {
    const reply = error.originalResponse;
    if (!reply || !reply.getStatus()) {
      this.end("broken", "The line is broken. This file goes on by itself when it is back.");
      return;
    }
    let line = `the server answered ${reply.getStatus()}`;
    try { line = JSON.parse(reply.getBody()).error || line; } catch { /* no JSON: the status must do */ }
    this.end("refused", line);
  }
}

function next() {
  const busy = all.filter((one) => one.state === "sending").length;
  if (paused) return;
  for (const one of all.filter((file) => file.state === "waits").slice(0, AT_ONCE - busy)) one.start();
  sum();
}

function sum() {
  const toSend = all.reduce((total, one) => total + (one.state === "refused" ? 0 : one.file.size), 0);
  const sent = all.reduce((total, one) => total + (one.state === "refused" ? 0 : one.sent), 0);
  const whole = all.filter((one) => one.state === "here").length;
  byId("on-their-way").hidden = !all.length;
  byId("way-all").value = toSend ? sent / toSend : 1;
  byId("way-said").textContent = `${whole} of ${all.length} files are here, ${size(sent)} of ${size(toSend)}`;
  byId("pause-all").hidden = !all.some((one) => ["sending", "waits"].includes(one.state));
  byId("pause-all").textContent = paused ? "Go on" : "Pause";
}

function take(files) {
  const known = new Set(all.filter((one) => one.state !== "refused").map((one) => `${place(one.file)} ${one.file.size}`));
  for (const file of files) {
    if (file.name.startsWith(".") || known.has(`${place(file)} ${file.size}`)) continue;
    const made = new Sending(file);
    all.push(made);
    byId("way").append(made.row);
  }
  next();
}

/** Every file below a dropped entry, with its place. */
async function below(entry) {
  if (entry.isFile) {
    const file = await new Promise((resolve, reject) => { entry.file(resolve, reject); });
    file.placed = entry.fullPath.replace(/^\/+/, "");
    return [file];
  }
  const reader = entry.createReader(), found = [];
  for (;;) {
    const some = await new Promise((resolve, reject) => { reader.readEntries(resolve, reject); });
    if (!some.length) break;
    for (const inside of some) found.push(...await below(inside));
  }
  return found.sort((a, b) => place(a).localeCompare(place(b)));
}

const drop = byId("drop");
for (const kind of ["dragenter", "dragover"]) {
  drop.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
}
for (const kind of ["dragleave", "drop"]) drop.addEventListener(kind, () => drop.classList.remove("over"));
for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault()); // a miss must not open the film
drop.addEventListener("drop", async (event) => {
  const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry && item.webkitGetAsEntry()).filter(Boolean);
  const files = [...event.dataTransfer.files]; // gone once we wait
  if (!entries.length) { take(files); return; }
  for (const entry of entries) take(await below(entry));
});
for (const name of ["folder", "files"]) {
  byId(`choose-${name}`).addEventListener("click", () => byId(name).click());
  byId(name).addEventListener("change", (event) => { take([...event.target.files]); event.target.value = ""; });
}
byId("pause-all").addEventListener("click", async () => {
  paused = !paused;
  if (paused) await Promise.all(all.map((one) => one.hold()));
  next();
  sum();
});
window.addEventListener("online", () => {
  for (const one of all.filter((file) => file.state === "broken")) one.state = "waits";
  next();
});
