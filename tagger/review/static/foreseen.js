// What a rep will look like once the server has logged a fix, so that the page answers the key and not the network.
// Only plain fixes are foreseen; the server's answer replaces it in any case.

const CERTAIN = { family: "family", shell: "shell_probability", play_kind: "play_kind_probability" };
const SHORTEST_S = 1e-6;

/** A copy of `rep` with the edits laid over it. */
export function foreseen(rep, edits) {
  const next = { ...rep, reading: { ...rep.reading }, by_coach: [...rep.by_coach], numbers: { ...rep.numbers } };
  for (const { subject, field, after } of edits) {
    if (subject === "rep") repField(next, field, after);
    else if (subject.startsWith("defender:") && field === "assignment") assignment(next, subject.slice("defender:".length), after);
    else if (field === "number") next.numbers[subject.split(":")[1]] = after;
  }
  return next;
}

function repField(next, field, after) {
  const { reading } = next;
  if (field === "review_state") { next.review_state = after; return; }
  if (field in CERTAIN) {
    reading[CERTAIN[field]] = { [after]: 1 };
    if (field !== "family") reading[field] = after;
  } else if (["set_name", "strength", "features"].includes(field) && reading.formation) reading.formation = { ...reading.formation, [field]: after };
  else if (field === "snap_s") reading.snap_s = after;
  next.by_coach.push(field);
}

function assignment(next, player, said) {
  next.reading.defenders = next.reading.defenders.map((defender) => {
    if (defender.player_id !== player) return defender;
    const kept = defender.intervals.flatMap((i) => [{ ...i, end_s: Math.min(i.end_s, said.start_s) }, { ...i, start_s: Math.max(i.start_s, said.end_s) }]);
    const intervals = [...kept.filter((i) => i.end_s - i.start_s > SHORTEST_S), { ...said, confidence: 1, why: "" }];
    return { ...defender, intervals: intervals.sort((a, b) => a.start_s - b.start_s) };
  });
}
