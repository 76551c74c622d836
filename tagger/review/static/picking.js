// Letters on everybody of a view, so that a man is chosen without a pointer.

const LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789";

/** Resolves with the person of `moving` whose letter is pressed or who is clicked, null on Escape. While it waits, `page.hints`
    tells the drawings who has which letter. */
export function pickPerson(page, line, moving, except = null) {
  const people = moving.people.filter((p) => p !== except).sort((a, b) => (a.side === "other") - (b.side === "other"));
  const letters = new Map(people.map((person, k) => [person, LETTERS[k]]));
  const sameMan = (person) => people.find((p) => p === person) || people.find((p) => person.player !== null && p.player === person.player);
  return new Promise((resolve) => {
    const finish = (person) => { page.hints = null; document.removeEventListener("keydown", keys, true); page.setMode(null); page.draw(); resolve(person); };
    const keys = (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || event.key === "Tab") return;
      event.preventDefault();
      event.stopPropagation();
      if (event.key === "Escape") { finish(null); return; }
      const person = people.find((p) => letters.get(p) === event.key.toLowerCase());
      if (person) finish(person);
    };
    page.hints = { letterOf: (person) => letters.get(sameMan(person)), finish: (person) => { if (sameMan(person)) finish(sameMan(person)); } };
    document.addEventListener("keydown", keys, true);
    page.setMode({ name: "pick", line });
    page.draw();
  });
}
