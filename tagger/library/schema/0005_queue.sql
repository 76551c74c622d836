-- The queue as the overnight work needs it. `run` is what one call asked for, so that the same call after a power cut goes on
-- instead of starting again; `attempts` counts failures of the clip's own, `interruptions` how often the program died over it.

DROP TABLE job;
CREATE TABLE job (
    job_id INTEGER PRIMARY KEY,
    fingerprint TEXT NOT NULL,
    options TEXT NOT NULL,
    path TEXT NOT NULL,
    rep_name TEXT NOT NULL,
    views_of TEXT NOT NULL,
    run INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'running', 'done', 'failed', 'set-aside')),
    worker TEXT, reason TEXT NOT NULL DEFAULT '',
    attempts INTEGER NOT NULL DEFAULT 0, interruptions INTEGER NOT NULL DEFAULT 0,
    queued_at TEXT NOT NULL, changed_at TEXT NOT NULL,
    UNIQUE (fingerprint, options)
);
CREATE INDEX job_state ON job (state, run, job_id);
CREATE INDEX job_path ON job (path);

CREATE VIEW jobs AS
SELECT job_id, path, fingerprint, rep_name, run, state, reason, attempts, interruptions, queued_at, changed_at FROM job;
