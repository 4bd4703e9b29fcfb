-- A piece keeps the bytes of its source as they came.
CREATE TABLE piece (
    id         TEXT PRIMARY KEY,
    file       TEXT NOT NULL,
    title      TEXT NOT NULL,
    part       TEXT NOT NULL,
    instrument TEXT NOT NULL,
    bars       INTEGER NOT NULL,
    notes      INTEGER NOT NULL,
    revision   INTEGER NOT NULL DEFAULT 0,
    created    INTEGER NOT NULL,
    changed    INTEGER NOT NULL,
    source     BLOB NOT NULL
) STRICT;

-- The log is only appended to: taking a step back is a step of its own.
-- n is the revision that the entry makes, base the one it was made on.
CREATE TABLE log (
    piece  TEXT NOT NULL REFERENCES piece (id) ON DELETE CASCADE,
    n      INTEGER NOT NULL,
    base   INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    who    TEXT NOT NULL,
    kind   TEXT NOT NULL,
    text   TEXT NOT NULL,
    reason TEXT NOT NULL,
    body   TEXT NOT NULL,
    PRIMARY KEY (piece, n)
) STRICT;

CREATE TABLE plan (
    id    INTEGER PRIMARY KEY,
    piece TEXT NOT NULL REFERENCES piece (id) ON DELETE CASCADE,
    name  TEXT NOT NULL,
    who   TEXT NOT NULL,
    at    INTEGER NOT NULL,
    base  INTEGER NOT NULL,
    body  TEXT NOT NULL
) STRICT;

CREATE TABLE witness (
    id     INTEGER PRIMARY KEY,
    piece  TEXT NOT NULL REFERENCES piece (id) ON DELETE CASCADE,
    name   TEXT NOT NULL,
    at     INTEGER NOT NULL,
    source BLOB NOT NULL
) STRICT;

CREATE INDEX plan_of ON plan (piece);
CREATE INDEX witness_of ON witness (piece);
