-- What was found to show the same artwork, a person's verdicts, and pieces merged or split, with what undoing needs.

CREATE TABLE likeness (
    id        INTEGER PRIMARY KEY,
    a_scan_id INTEGER NOT NULL REFERENCES scan (id) ON DELETE CASCADE,  -- reads "a RELATION b": the part comes first
    b_scan_id INTEGER NOT NULL REFERENCES scan (id) ON DELETE CASCADE,
    relation  TEXT NOT NULL,                 -- likeness.evidence.Relation
    sure      REAL NOT NULL,
    evidence  TEXT NOT NULL,                 -- likeness.evidence.Evidence as JSON
    found     TEXT NOT NULL,
    verdict   TEXT NOT NULL DEFAULT '' CHECK (verdict IN ('', 'confirmed', 'rejected')),
    judged    TEXT,
    CHECK (a_scan_id <> b_scan_id)
) STRICT;
CREATE UNIQUE INDEX likeness_pair ON likeness (min(a_scan_id, b_scan_id), max(a_scan_id, b_scan_id));
CREATE INDEX likeness_by_a ON likeness (a_scan_id);
CREATE INDEX likeness_by_b ON likeness (b_scan_id);

CREATE TABLE likeness_seen (                 -- scans already compared with all that were there then
    scan_id INTEGER PRIMARY KEY REFERENCES scan (id) ON DELETE CASCADE,
    at      TEXT NOT NULL
) STRICT;

CREATE TABLE piece_change (
    id     INTEGER PRIMARY KEY,
    at     TEXT NOT NULL,
    kind   TEXT NOT NULL CHECK (kind IN ('merge', 'split')),
    detail TEXT NOT NULL,                    -- in words
    before TEXT NOT NULL,                    -- rows as they were, JSON
    undone TEXT
) STRICT;
