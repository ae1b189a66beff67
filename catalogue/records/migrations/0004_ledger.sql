-- Destroyed prints and what replaced them, lines cancelled alone, and which CSV rows an import has taken already.

ALTER TABLE order_line ADD COLUMN cancelled INTEGER NOT NULL DEFAULT 0;  -- this line alone; see also orders.status

CREATE TABLE destroyed_print (
    id         INTEGER PRIMARY KEY,
    edition_id INTEGER NOT NULL,
    series     TEXT NOT NULL,
    number     INTEGER NOT NULL,
    destroyed  TEXT NOT NULL,                -- ISO date
    reason     TEXT NOT NULL,
    line_id    INTEGER REFERENCES order_line (id),  -- the line that printed the number anew; NULL: not replaced
    FOREIGN KEY (edition_id, series, number) REFERENCES edition_number (edition_id, series, number)
) STRICT;
CREATE INDEX destroyed_print_by_line ON destroyed_print (line_id) WHERE line_id IS NOT NULL;
-- A number is out of the world once at most: a second loss needs a replacement in between.
CREATE UNIQUE INDEX destroyed_print_open ON destroyed_print (edition_id, series, number) WHERE line_id IS NULL;

-- N is fixed at launch: with the first number out it stays.
CREATE TRIGGER edition_size_stays BEFORE UPDATE OF size_limit ON edition
WHEN NEW.size_limit <> OLD.size_limit
     AND EXISTS (SELECT 1 FROM edition_number WHERE edition_id = OLD.id AND series = 'number')
BEGIN SELECT RAISE(ABORT, 'the edition is numbered already'); END;

CREATE TRIGGER edition_proofs_stay BEFORE UPDATE OF proofs ON edition
WHEN NEW.proofs < (SELECT coalesce(max(number), 0) FROM edition_number WHERE edition_id = OLD.id AND series = 'proof')
BEGIN SELECT RAISE(ABORT, 'a proof of that number is out already'); END;

CREATE TABLE imported_row (                  -- the nth row that says exactly this, and the line it became
    digest  TEXT NOT NULL,
    nth     INTEGER NOT NULL,
    line_id INTEGER NOT NULL REFERENCES order_line (id) ON DELETE CASCADE,
    PRIMARY KEY (digest, nth)
) STRICT, WITHOUT ROWID;
CREATE INDEX imported_row_by_line ON imported_row (line_id);
