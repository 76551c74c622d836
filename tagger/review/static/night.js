// The night's plan: asked for again and again, and drawn anew only where it changed.

import { byId, el } from "./dom.js";
import { notice } from "./notice.js";
import { fetched, posted } from "./server.js";

const EVERY_MS = 3000;
const WORDS = { running: "running", waiting: "waiting", done: "done", failed: "cannot be tagged", "set-aside": "set aside" };
let before = "";

const clock = (seconds) => new Date(1000 * seconds).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });

export function size(bytes) {
  const step = bytes < 1e6 ? [1e3, "kB"] : bytes < 1e9 ? [1e6, "MB"] : [1e9, "GB"];
  return `${(bytes / step[0]).toFixed(bytes < 1e9 ? 0 : 1)} ${step[1]}`;
}

function lasting(seconds) {
  const minutes = Math.max(1, Math.round(seconds / 60));
  return minutes < 60 ? `${minutes} min` : `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
}

function said(night) {
  const counts = Object.entries(WORDS).filter(([state]) => night.counts[state]).map(([state, word]) => `${night.counts[state]} ${word}`);
  const parts = [counts.join(", ")];
  if (night.rate_per_h && night.at_work) parts.push(`${night.rate_per_h.toFixed(night.rate_per_h < 10 ? 1 : 0)} clips an hour`);
  if (night.remaining_s && night.at_work) {
    parts.push(`about ${lasting(night.remaining_s)} to go, until ${clock(Date.now() / 1000 + night.remaining_s)}`);
  }
  return parts.filter(Boolean).join("; ");
}

function when(piece) {
  if (piece.state === "waiting") return piece.about_at ? `about ${clock(piece.about_at)}` : "";
  return piece.state === "running" ? `since ${clock(piece.since)}` : clock(piece.since);
}

function row(piece) {
  const again = piece.state === "failed" || piece.state === "set-aside"
    ? el("button", { type: "button", "aria-label": `try ${piece.name} again`, onclick: () => tryAgain(piece.job_id) }, "Try again") : "";
  const tries = piece.attempts > 1 ? ` after ${piece.attempts} tries` : "";
  return el("tr", { class: `state-${piece.state}`, "data-job": piece.job_id },
    el("td", { title: piece.path }, piece.name), el("td", { class: "state" }, WORDS[piece.state] + tries),
    el("td", { class: "number" }, when(piece)), el("td", { class: "told" }, piece.reason), el("td", {}, again));
}

async function tryAgain(job) {
  try {
    await posted("/api/night/again", { job_id: job });
    notice("it waits again");
  } catch (error) {
    notice(error.message, true);
  }
  look();
}

function left(upload) {
  const broken = upload.state === "open";
  const line = broken ? `${size(upload.offset_bytes)} of ${size(upload.length_bytes)} are here; choose the file again to go on`
    : upload.note || "whole; waits for the night";
  return el("li", { "data-upload": upload.id }, el("span", { class: "name" }, upload.name), "", "", "",
    el("p", { class: upload.state === "refused" ? "line bad" : "line quiet" }, line));
}

function draw(night) {
  byId("said").textContent = said(night);
  byId("room").textContent = `${size(night.used_bytes)} of ${size(night.quota_bytes)} for uploaded film are used.`;
  const toDo = night.counts.waiting + night.counts.running + night.uploads.filter((upload) => upload.path).length;
  byId("nobody").hidden = night.at_work || !toDo;
  byId("plan").hidden = !night.pieces.length;
  byId("empty").hidden = night.pieces.length > 0;
  const known = JSON.stringify([night.pieces, night.uploads]);
  if (known === before) return;
  before = known;
  byId("pieces").replaceChildren(...night.pieces.map(row));
  byId("left-list").replaceChildren(...night.uploads.map(left));
  showLeft();
}

/** Files that this page is sending stand in its own list. */
export function showLeft() {
  const own = new Set([...document.querySelectorAll("#way li")].map((line) => line.dataset.upload).filter(Boolean));
  const lines = [...document.querySelectorAll("#left-list li")];
  for (const line of lines) line.hidden = own.has(line.dataset.upload);
  byId("left").hidden = lines.every((line) => line.hidden);
}

export async function look() {
  try {
    draw(await fetched("/api/night"));
  } catch (error) {
    notice(error.message, true);
  }
}

look();
setInterval(() => { if (!document.hidden) look(); }, EVERY_MS);
document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
