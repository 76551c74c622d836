-- What people say and ask: the coach's corrections (append-only), saved searches, the roster, the overnight queue.

CREATE TABLE correction (
    correction_id INTEGER PRIMARY KEY AUTOINCREMENT,
    rep_id INTEGER NOT NULL REFERENCES rep (rep_id) ON DELETE CASCADE,
    who TEXT NOT NULL,
    made_at TEXT NOT NULL,
    subject TEXT NOT NULL,
    field TEXT NOT NULL,
    before TEXT,
    after TEXT,
    reason TEXT NOT NULL,
    undoes INTEGER REFERENCES correction (correction_id)
);
CREATE INDEX correction_rep ON correction (rep_id);

-- A correction is never rewritten; taking one back is a correction of its own. Moving to another rep (two reps found to be
-- one) and going with a deleted rep are the only ways.
CREATE TRIGGER correction_is_kept BEFORE UPDATE OF who, made_at, subject, field, before, after, reason, undoes ON correction
BEGIN
    SELECT RAISE (ABORT, 'corrections are append-only');
END;

CREATE TABLE saved_search (
    name TEXT PRIMARY KEY,
    query TEXT NOT NULL,
    saved_at TEXT NOT NULL
) WITHOUT ROWID;

CREATE TABLE roster (
    number TEXT NOT NULL,
    side TEXT NOT NULL,
    name TEXT NOT NULL,
    position TEXT,
    PRIMARY KEY (number, side)
) WITHOUT ROWID;

CREATE TABLE job (
    job_id INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL,
    path TEXT NOT NULL,
    options TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'running', 'done', 'failed')),
    worker TEXT, message TEXT NOT NULL DEFAULT '', attempts INTEGER NOT NULL DEFAULT 0,
    queued_at TEXT NOT NULL, changed_at TEXT NOT NULL,
    UNIQUE (fingerprint, options)
);
CREATE INDEX job_state ON job (state, job_id);
