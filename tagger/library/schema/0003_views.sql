-- For analysts: plain SQL on these views is the open door to the library. Columns are documented in the README.

CREATE VIEW reps AS
SELECT rep_id, name AS rep, folder, tagged_at, review_state, down, distance_yd, hash, period, personnel, call, yards_to_goal,
    field_zone, snap_s, release_s, end_s, play_kind, play_kind_confidence, shell, shell_confidence, family, family_confidence,
    family_auto, family_source, variant, set_name, strength, backs, likely_releases, rush_count, box_count, disguised
FROM rep;

CREATE VIEW clips AS
SELECT c.rep_id, r.name AS rep, c.clip_id, c.path, c.fingerprint, c.view, c.level, c.is_main, c.fps, c.duration_s, c.width_px,
    c.height_px, c.frame_count, c.size_bytes, c.solved_share, c.yard_line_known, c.lost_reason, c.snap_s
FROM clip c JOIN rep r USING (rep_id);

CREATE VIEW defenders AS
SELECT p.rep_id, r.name AS rep, p.player_id, p.slot, p.number, o.name AS roster_name, r.family, r.shell
FROM player p JOIN rep r USING (rep_id) LEFT JOIN roster o ON o.number = p.number AND o.side = 'defense'
WHERE p.side = 'defense';

CREATE VIEW assignments AS
SELECT a.rep_id, r.name AS rep, a.player_id, a.slot, a.number, a.assignment, a.area, a.receiver, a.start_s, a.end_s,
    a.end_s - a.start_s AS duration_s, a.confidence, a.source, a.why, r.family
FROM assignment a JOIN rep r USING (rep_id);

CREATE VIEW events AS
SELECT e.rep_id, r.name AS rep, e.kind, e.player_id, e.slot, e.number, e.against, e.start_s, e.end_s, e.margin_yd, e.confidence,
    e.source, e.verdict, e.why, r.family
FROM event e JOIN rep r USING (rep_id);

CREATE VIEW families AS
SELECT f.rep_id, r.name AS rep, f.family, f.probability FROM family_probability f JOIN rep r USING (rep_id);

CREATE VIEW motions AS
SELECT m.rep_id, r.name AS rep, m.player_id, m.kind, m.start_s, m.end_s, m.from_across_yd, m.to_across_yd, m.answer, m.why
FROM motion m JOIN rep r USING (rep_id);

CREATE VIEW features AS
SELECT f.rep_id, r.name AS rep, f.feature FROM feature f JOIN rep r USING (rep_id);

CREATE VIEW abstentions AS
SELECT a.rep_id, r.name AS rep, a.what, a.why FROM abstention a JOIN rep r USING (rep_id);

CREATE VIEW corrections AS
SELECT c.correction_id, c.rep_id, r.name AS rep, c.who, c.made_at, c.subject, c.field, c.before, c.after, c.reason, c.undoes,
    EXISTS (SELECT 1 FROM correction u WHERE u.undoes = c.correction_id) AS undone
FROM correction c JOIN rep r USING (rep_id);
