// One line at the foot of the page, read out by screen readers.

import { byId } from "./dom.js";

let timer = 0;

export function notice(line, bad) {
  const box = byId("notice");
  box.textContent = line;
  box.classList.toggle("bad", Boolean(bad));
  box.hidden = !line;
  clearTimeout(timer);
  timer = setTimeout(() => { box.hidden = true; }, bad ? 9000 : 2500);
}
