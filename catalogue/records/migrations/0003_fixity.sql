-- Fixity: when each file had its turn in an audit, where damage lies in a picture, what only a person knows.

CREATE TABLE fixity_turn (                   -- orders the rolling audit; run numbers, for a clock may go backwards
    file_id INTEGER PRIMARY KEY REFERENCES file (id) ON DELETE CASCADE,
    turn    INTEGER NOT NULL
) STRICT;

CREATE TABLE damage (                        -- one row a damaged file; gone once it is sound again
    file_id INTEGER PRIMARY KEY REFERENCES file (id) ON DELETE CASCADE,
    found   TEXT NOT NULL,
    regions TEXT NOT NULL                    -- fixity.placing.Damage as JSON
) STRICT;

CREATE TABLE answer (                        -- for the levels page: what no fact in the catalogue can show
    question TEXT PRIMARY KEY,
    answer   TEXT NOT NULL,
    given    TEXT NOT NULL,
    agent    TEXT NOT NULL
) STRICT;

CREATE TABLE manifest_export (               -- consent for, and the last writing of, a store's checksum manifest
    store_id INTEGER PRIMARY KEY REFERENCES store (id) ON DELETE CASCADE,
    consent  INTEGER NOT NULL DEFAULT 0,
    written  TEXT,
    sha256   TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE INDEX finding_by_place ON finding (store_id, path) WHERE resolved IS NULL;  -- asked for every file of an audit
