-- The first form of the record. docs/record.md explains it. Every row carries a
-- keyed hash of all its columns (mac), or a link of a chain (hash, head).
CREATE TABLE meta (
	name  TEXT PRIMARY KEY,
	value BLOB NOT NULL,
	mac   BLOB NOT NULL
) STRICT, WITHOUT ROWID;

-- Who did what, when; never changed, never purged.
CREATE TABLE events (
	seq     INTEGER PRIMARY KEY,
	at      TEXT NOT NULL,
	by      TEXT NOT NULL,
	act     TEXT NOT NULL,
	subject TEXT NOT NULL,
	detail  BLOB NOT NULL,
	hash    BLOB NOT NULL
) STRICT;
CREATE INDEX events_by_subject ON events (subject, seq);

CREATE TABLE users (
	id      TEXT NOT NULL,
	version INTEGER NOT NULL,
	body    BLOB NOT NULL,
	mac     BLOB NOT NULL,
	PRIMARY KEY (id, version)
) STRICT, WITHOUT ROWID;

-- The encounter as it stands; place gives the order of entry.
CREATE TABLE encounters (
	place   INTEGER PRIMARY KEY,
	id      TEXT NOT NULL UNIQUE,
	version INTEGER NOT NULL,
	body    BLOB NOT NULL,
	mac     BLOB NOT NULL
) STRICT;

-- The encounter as it stood before each change.
CREATE TABLE encounters_before (
	id      TEXT NOT NULL,
	version INTEGER NOT NULL,
	place   INTEGER NOT NULL,
	body    BLOB NOT NULL,
	mac     BLOB NOT NULL,
	PRIMARY KEY (id, version)
) STRICT, WITHOUT ROWID;

CREATE TABLE recordings (
	place     INTEGER PRIMARY KEY,
	id        TEXT NOT NULL UNIQUE,
	encounter TEXT NOT NULL REFERENCES encounters (id),
	body      BLOB NOT NULL,
	state     TEXT NOT NULL,
	pieces    INTEGER NOT NULL,
	length    INTEGER NOT NULL,
	head      BLOB NOT NULL,
	mac       BLOB NOT NULL
) STRICT;
CREATE INDEX recordings_by_encounter ON recordings (encounter, place);

-- Pieces of sound, a second or less each, chained to recordings.head.
CREATE TABLE sound (
	recording TEXT NOT NULL REFERENCES recordings (id),
	seq       INTEGER NOT NULL,
	start     INTEGER NOT NULL,
	length    INTEGER NOT NULL,
	body      BLOB NOT NULL,
	hash      BLOB NOT NULL,
	PRIMARY KEY (recording, seq)
) STRICT;

-- A draft with its transcript, never changed.
CREATE TABLE drafts (
	id        TEXT PRIMARY KEY,
	encounter TEXT NOT NULL REFERENCES encounters (id),
	recording TEXT NOT NULL,
	body      BLOB NOT NULL,
	mac       BLOB NOT NULL
) STRICT;

-- A note: a draft and how far its chain of decisions has come.
CREATE TABLE notes (
	place     INTEGER PRIMARY KEY,
	id        TEXT NOT NULL UNIQUE,
	encounter TEXT NOT NULL REFERENCES encounters (id),
	draft     TEXT NOT NULL REFERENCES drafts (id),
	body      BLOB NOT NULL,
	status    TEXT NOT NULL,
	length    INTEGER NOT NULL,
	head      BLOB NOT NULL,
	mac       BLOB NOT NULL
) STRICT;
CREATE INDEX notes_by_encounter ON notes (encounter, place);

CREATE TABLE decisions (
	note TEXT NOT NULL REFERENCES notes (id),
	seq  INTEGER NOT NULL,
	body BLOB NOT NULL,
	hash BLOB NOT NULL,
	PRIMARY KEY (note, seq)
) STRICT, WITHOUT ROWID;

-- What stood above each signature, as it stood.
CREATE TABLE signed (
	note TEXT NOT NULL REFERENCES notes (id),
	seq  INTEGER NOT NULL,
	body BLOB NOT NULL,
	mac  BLOB NOT NULL,
	PRIMARY KEY (note, seq)
) STRICT, WITHOUT ROWID;
