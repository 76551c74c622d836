// The queue's keys: up and down, Enter opens.

const rows = [...document.querySelectorAll("tr[data-rep]")];
let at = -1;

function stand(next) {
  if (!rows.length) return;
  rows[at]?.classList.remove("here");
  at = Math.max(0, Math.min(rows.length - 1, next));
  rows[at].classList.add("here");
  rows[at].querySelector("a").focus();
  rows[at].scrollIntoView({ block: "nearest" });
}

document.addEventListener("keydown", (event) => {
  if (event.target.closest("input, select, textarea") || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "j" || event.key === "ArrowDown") stand(at + 1);
  else if (event.key === "k" || event.key === "ArrowUp") stand(at - 1);
  else if (event.key === "Enter" && at < 0 && rows.length && !event.target.closest("a, button")) rows[0].querySelector("a").click();
  else return;
  event.preventDefault();
});
