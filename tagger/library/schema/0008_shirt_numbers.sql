-- Shirt numbers that were read on film, by player, as JSON; a coach's own word stands above them.

ALTER TABLE clip ADD COLUMN number_of_player TEXT NOT NULL DEFAULT '{}';
