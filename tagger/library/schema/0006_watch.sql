-- What a watch has seen of a folder, so that film is not read again at each look; and whether a clip's tracks are its own
-- (alone), those of both views laid on each other (joined), or its own because that could not be done (apart).

CREATE TABLE seen_film (
    path TEXT PRIMARY KEY,
    size_bytes INTEGER NOT NULL,
    mtime_ns INTEGER NOT NULL,
    fingerprint TEXT NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    seen_at TEXT NOT NULL
) WITHOUT ROWID;
CREATE INDEX seen_film_fingerprint ON seen_film (fingerprint);

ALTER TABLE clip ADD COLUMN joined TEXT NOT NULL DEFAULT 'alone' CHECK (joined IN ('alone', 'joined', 'apart'));
