-- Intake: what was to be copied where, written before a byte is, so that a run cut short is taken up again.

CREATE TABLE intake_file (
    id       INTEGER PRIMARY KEY,
    run_id   INTEGER NOT NULL REFERENCES run (id) ON DELETE CASCADE,
    store_id INTEGER NOT NULL REFERENCES store (id) ON DELETE CASCADE,
    source   TEXT NOT NULL,                  -- absolute path it came from, as kept
    size     INTEGER NOT NULL,
    sha256   TEXT NOT NULL,
    target   TEXT NOT NULL,                  -- path in the store, as kept
    state    TEXT NOT NULL DEFAULT 'planned' CHECK (state IN ('planned', 'recorded', 'source removed')),
    UNIQUE (store_id, target, sha256)
) STRICT;
CREATE INDEX intake_file_by_sha ON intake_file (sha256);
