-- A clip's field as a coach's clicks on it gave it (it takes the film to find it, so it is kept). It stands beside the automatic
-- one, never in its place; `clicks` says for which clicks it was found. A new tagging drops it, and it is found anew.

CREATE TABLE clicked_field (
    clip_id INTEGER PRIMARY KEY REFERENCES clip (clip_id) ON DELETE CASCADE,
    clicks TEXT NOT NULL,
    npz BLOB NOT NULL
);
