-- A recording is cut into reps, which are jobs of their own; `part_of` is the recording's job.

ALTER TABLE job ADD COLUMN part_of INTEGER REFERENCES job (job_id) ON DELETE SET NULL;
