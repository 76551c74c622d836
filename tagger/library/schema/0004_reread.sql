-- A rep read anew on the coach's word (a moved snap, swapped men). It stands beside the blind automatic reading, never in its
-- place: what the machine said by itself is what its accuracy is counted by. `upto` is the newest correction that was read in.

CREATE TABLE reread (
    rep_id INTEGER PRIMARY KEY REFERENCES rep (rep_id) ON DELETE CASCADE,
    upto INTEGER NOT NULL,
    reading TEXT NOT NULL
);
