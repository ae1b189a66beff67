-- The log of statements: every change of a stated row lies in the event log with the row before and after it
-- (records.statements). Verdicts on likenesses and accepted findings become rows of their own.

ALTER TABLE event ADD COLUMN change TEXT NOT NULL DEFAULT '';   -- JSON list of row changes; '' for other events
CREATE INDEX event_with_change ON event (id) WHERE change <> '';

CREATE TABLE statement_staged (              -- changes of the transaction under way; empty between transactions
    id         INTEGER PRIMARY KEY,
    table_name TEXT NOT NULL,
    before     TEXT,                         -- the row as a JSON object; NULL for an insert
    after      TEXT                          -- NULL for a delete
) STRICT;

CREATE TABLE likeness_verdict (              -- what a person judged of two contents; outlives the found likeness
    a_sha256 TEXT NOT NULL,
    b_sha256 TEXT NOT NULL,
    verdict  TEXT NOT NULL CHECK (verdict IN ('confirmed', 'rejected')),
    relation TEXT NOT NULL DEFAULT '',       -- the relation that was judged
    judged   TEXT NOT NULL,
    PRIMARY KEY (a_sha256, b_sha256),
    CHECK (a_sha256 < b_sha256)
) STRICT, WITHOUT ROWID;
INSERT INTO likeness_verdict
    SELECT min(a.sha256, b.sha256), max(a.sha256, b.sha256), l.verdict, l.relation, coalesce(l.judged, l.found)
    FROM likeness l JOIN scan a ON a.id = l.a_scan_id JOIN scan b ON b.id = l.b_scan_id WHERE l.verdict <> '';

-- likeness.verdict and likeness.judged are derived from likeness_verdict, by these triggers and nothing else.
CREATE TRIGGER likeness_verdict_given AFTER INSERT ON likeness_verdict BEGIN
    UPDATE likeness SET verdict = NEW.verdict, judged = NEW.judged
    WHERE (a_scan_id, b_scan_id) IN (
        SELECT a.id, b.id FROM scan a, scan b WHERE a.sha256 = NEW.a_sha256 AND b.sha256 = NEW.b_sha256
        UNION ALL
        SELECT b.id, a.id FROM scan a, scan b WHERE a.sha256 = NEW.a_sha256 AND b.sha256 = NEW.b_sha256); END;
CREATE TRIGGER likeness_verdict_changed AFTER UPDATE ON likeness_verdict BEGIN
    UPDATE likeness SET verdict = NEW.verdict, judged = NEW.judged
    WHERE (a_scan_id, b_scan_id) IN (
        SELECT a.id, b.id FROM scan a, scan b WHERE a.sha256 = NEW.a_sha256 AND b.sha256 = NEW.b_sha256
        UNION ALL
        SELECT b.id, a.id FROM scan a, scan b WHERE a.sha256 = NEW.a_sha256 AND b.sha256 = NEW.b_sha256); END;
CREATE TRIGGER likeness_verdict_taken_back AFTER DELETE ON likeness_verdict BEGIN
    UPDATE likeness SET verdict = '', judged = NULL
    WHERE (a_scan_id, b_scan_id) IN (
        SELECT a.id, b.id FROM scan a, scan b WHERE a.sha256 = OLD.a_sha256 AND b.sha256 = OLD.b_sha256
        UNION ALL
        SELECT b.id, a.id FROM scan a, scan b WHERE a.sha256 = OLD.a_sha256 AND b.sha256 = OLD.b_sha256); END;
CREATE TRIGGER likeness_found_with_verdict AFTER INSERT ON likeness BEGIN
    UPDATE likeness SET verdict = v.verdict, judged = v.judged
    FROM scan a, scan b, likeness_verdict v
    WHERE likeness.id = NEW.id AND a.id = NEW.a_scan_id AND b.id = NEW.b_scan_id
          AND v.a_sha256 = min(a.sha256, b.sha256) AND v.b_sha256 = max(a.sha256, b.sha256); END;

CREATE TABLE finding_accepted (              -- a finding a person said is as it should be
    id     INTEGER PRIMARY KEY,
    at     TEXT NOT NULL,
    kind   TEXT NOT NULL,
    store  TEXT NOT NULL,                    -- its name then
    path   TEXT NOT NULL,
    sha256 TEXT NOT NULL,                    -- of the scan concerned, '' where there is none
    reason TEXT NOT NULL
) STRICT;
