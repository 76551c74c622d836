-- What the tagger says of each rep. Tables are singular and private to the program; analysts read the plural views.
-- Every value here is the effective one: the coach's word where there is one, else the automatic value. The automatic
-- reading itself stands whole in rep_reading, so that these rows can be built anew at any time.

CREATE TABLE rep (
    rep_id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    folder TEXT NOT NULL,
    tagged_at TEXT NOT NULL,
    review_state TEXT NOT NULL DEFAULT 'new' CHECK (review_state IN ('new', 'corrected', 'reviewed', 'flagged', 'not-a-rep')),
    down INTEGER, distance_yd REAL, hash TEXT, period TEXT, personnel TEXT, call TEXT, yards_to_goal REAL,
    field_zone TEXT GENERATED ALWAYS AS (CASE
        WHEN yards_to_goal IS NULL THEN NULL
        WHEN yards_to_goal <= 5 THEN 'goal-line'
        WHEN yards_to_goal <= 20 THEN 'red'
        WHEN yards_to_goal < 50 THEN 'plus'
        WHEN yards_to_goal < 90 THEN 'minus'
        ELSE 'backed-up' END) STORED,
    snap_s REAL, release_s REAL, end_s REAL,
    play_kind TEXT, play_kind_confidence REAL,
    shell TEXT, shell_confidence REAL,
    family TEXT NOT NULL, family_confidence REAL NOT NULL, family_auto TEXT NOT NULL, family_source TEXT NOT NULL,
    variant TEXT, set_name TEXT, strength TEXT, backs INTEGER, likely_releases INTEGER,
    rush_count INTEGER, box_count INTEGER,
    disguised INTEGER NOT NULL DEFAULT 0
);
CREATE INDEX rep_family ON rep (family, family_confidence);
CREATE INDEX rep_call ON rep (call);

CREATE TABLE clip (
    clip_id INTEGER PRIMARY KEY,
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    fingerprint TEXT NOT NULL UNIQUE,
    path TEXT NOT NULL,
    view TEXT NOT NULL,
    level TEXT,
    is_main INTEGER NOT NULL,
    fps REAL, duration_s REAL, width_px INTEGER, height_px INTEGER, frame_count INTEGER, size_bytes INTEGER NOT NULL,
    solved_share REAL NOT NULL, yard_line_known INTEGER NOT NULL, lost_reason TEXT NOT NULL,
    snap_s REAL,
    track_of_player TEXT NOT NULL,
    side_of_player TEXT NOT NULL,
    reading TEXT NOT NULL,
    seconds TEXT NOT NULL
);
CREATE INDEX clip_rep ON clip (rep_id);
CREATE INDEX clip_path ON clip (path);

CREATE TABLE clip_arrays (
    clip_id INTEGER NOT NULL REFERENCES clip (clip_id) ON DELETE CASCADE,
    kind TEXT NOT NULL CHECK (kind IN ('tracks', 'field_tracks', 'field_view')),
    npz BLOB NOT NULL,
    PRIMARY KEY (clip_id, kind)
);

CREATE TABLE rep_reading (
    rep_id INTEGER PRIMARY KEY REFERENCES rep (rep_id) ON DELETE CASCADE,
    reading TEXT NOT NULL,
    situation TEXT NOT NULL
);

CREATE TABLE player (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    player_id TEXT NOT NULL,
    side TEXT NOT NULL,
    slot TEXT,
    number TEXT,
    track_id INTEGER,
    PRIMARY KEY (rep_id, player_id)
) WITHOUT ROWID;
CREATE INDEX player_slot ON player (side, slot, rep_id);
CREATE INDEX player_number ON player (side, number, rep_id);

CREATE TABLE assignment (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    player_id TEXT NOT NULL,
    slot TEXT, number TEXT,
    assignment TEXT NOT NULL, area TEXT, receiver TEXT,
    start_s REAL NOT NULL, end_s REAL NOT NULL,
    confidence REAL NOT NULL, source TEXT NOT NULL, why TEXT NOT NULL
);
-- rep_id comes second: a search gathers reps, and gathers them fastest in their order.
CREATE INDEX assignment_rep ON assignment (rep_id, confidence);
CREATE INDEX assignment_what ON assignment (assignment, rep_id, area, slot, confidence);
CREATE INDEX assignment_area ON assignment (area, rep_id);
CREATE INDEX assignment_slot ON assignment (slot, rep_id, assignment, area, confidence);

CREATE TABLE marginal (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    player_id TEXT NOT NULL, assignment TEXT NOT NULL, probability REAL NOT NULL,
    PRIMARY KEY (rep_id, player_id, assignment)
) WITHOUT ROWID;

CREATE TABLE phase (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    player_id TEXT NOT NULL, phase TEXT NOT NULL, start_s REAL NOT NULL, end_s REAL NOT NULL
);
CREATE INDEX phase_rep ON phase (rep_id);

CREATE TABLE event (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    kind TEXT NOT NULL, player_id TEXT, slot TEXT, number TEXT, against TEXT,
    start_s REAL NOT NULL, end_s REAL NOT NULL, margin_yd REAL,
    confidence REAL NOT NULL, source TEXT NOT NULL, verdict TEXT NOT NULL DEFAULT 'open', why TEXT NOT NULL
);
CREATE INDEX event_rep ON event (rep_id, margin_yd);
CREATE INDEX event_kind ON event (kind, rep_id, margin_yd, slot);
CREATE INDEX event_slot ON event (slot, rep_id);

CREATE TABLE family_probability (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    family TEXT NOT NULL, probability REAL NOT NULL,
    PRIMARY KEY (rep_id, family)
) WITHOUT ROWID;

CREATE TABLE family_at (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    time_s REAL NOT NULL, family TEXT NOT NULL, probability REAL NOT NULL
);
CREATE INDEX family_at_rep ON family_at (rep_id);

CREATE TABLE feature (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    feature TEXT NOT NULL,
    stem TEXT NOT NULL,
    PRIMARY KEY (rep_id, feature)
) WITHOUT ROWID;
CREATE INDEX feature_name ON feature (feature, rep_id);
CREATE INDEX feature_stem ON feature (stem, rep_id);

CREATE TABLE receiver (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    player_id TEXT NOT NULL, receiver TEXT NOT NULL,
    PRIMARY KEY (rep_id, player_id)
) WITHOUT ROWID;

CREATE TABLE motion (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    player_id TEXT NOT NULL, kind TEXT NOT NULL, start_s REAL NOT NULL, end_s REAL NOT NULL,
    from_across_yd REAL NOT NULL, to_across_yd REAL NOT NULL, answer TEXT, why TEXT NOT NULL
);
CREATE INDEX motion_rep ON motion (rep_id);
CREATE INDEX motion_kind ON motion (kind, answer, rep_id);

CREATE TABLE abstention (
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    what TEXT NOT NULL, why TEXT NOT NULL
);
CREATE INDEX abstention_rep ON abstention (rep_id);
CREATE INDEX abstention_what ON abstention (what, rep_id);
