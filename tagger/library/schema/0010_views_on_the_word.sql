-- How a rep's other view was laid on its main one when it was read anew on a coach's word on a field: JSON, NULL where it was not.
-- And away with a column that was never written: whether two views are read as one follows from their tracks.

ALTER TABLE reread ADD COLUMN laid TEXT;
ALTER TABLE clip DROP COLUMN joined;
