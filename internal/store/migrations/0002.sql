-- Holds that keep an encounter from every purge, and what lifted them. A row is
-- never changed: a hold is lifted by another row, which names it.
CREATE TABLE holds (
	place     INTEGER PRIMARY KEY,
	id        TEXT NOT NULL UNIQUE,
	encounter TEXT NOT NULL REFERENCES encounters (id),
	lifts     TEXT NOT NULL,
	body      BLOB NOT NULL,
	mac       BLOB NOT NULL
) STRICT;
CREATE INDEX holds_by_encounter ON holds (encounter, place);
