-- The life of an edition number in one table: a row for each print that was promised or made under it.
--
--   free        no row
--   reserved    promised to an order that is not printed yet; may still be freed
--   printed     it exists; from here on the number is never free again
--   destroyed   it exists no more, with date and reason; replaced by the print of the next nth, where there is one
--
-- reserved -> printed -> destroyed, and a new print under the number only after that. Everything else the triggers
-- refuse, except while a statement is undone or put back: replaying() is a function of the program's own connection.

CREATE TABLE edition_print (
    edition_id INTEGER NOT NULL REFERENCES edition (id),
    series     TEXT NOT NULL CHECK (series IN ('number', 'proof')),
    number     INTEGER NOT NULL CHECK (number >= 1),
    nth        INTEGER NOT NULL CHECK (nth >= 1),       -- 1 the first print of the number, 2 the one that replaced it
    line_id    INTEGER REFERENCES order_line (id),      -- NULL: printed for an order that is not on record
    state      TEXT NOT NULL CHECK (state IN ('reserved', 'printed', 'destroyed')),
    issued     TEXT NOT NULL,
    destroyed  TEXT NOT NULL DEFAULT '',                -- ISO date
    reason     TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (edition_id, series, number, nth),
    CHECK ((state = 'destroyed') = (destroyed <> ''))
) STRICT, WITHOUT ROWID;
CREATE INDEX edition_print_by_line ON edition_print (line_id);
CREATE UNIQUE INDEX edition_print_living ON edition_print (edition_id, series, number) WHERE state <> 'destroyed';

WITH loss AS (
    SELECT edition_id, series, number, line_id, reason, coalesce(nullif(destroyed, ''), 'unknown') AS destroyed,
           row_number() OVER (PARTITION BY edition_id, series, number ORDER BY id) AS nth
    FROM destroyed_print),
made AS (
    SELECT edition_id, series, number, 1 AS nth, line_id, issued FROM edition_number
    UNION ALL
    SELECT edition_id, series, number, nth + 1, line_id, destroyed FROM loss p
    WHERE line_id IS NOT NULL OR EXISTS (
        SELECT 1 FROM loss l WHERE l.edition_id = p.edition_id AND l.series = p.series AND l.number = p.number
                                   AND l.nth = p.nth + 1))
INSERT INTO edition_print
    SELECT m.edition_id, m.series, m.number, m.nth, m.line_id,
           CASE WHEN l.nth IS NOT NULL THEN 'destroyed'
                WHEN o.status IN ('asked', 'approved') AND ol.cancelled = 0 THEN 'reserved' ELSE 'printed' END,
           m.issued, coalesce(l.destroyed, ''), coalesce(l.reason, '')
    FROM made m
    LEFT JOIN loss l ON l.edition_id = m.edition_id AND l.series = m.series AND l.number = m.number AND l.nth = m.nth
    LEFT JOIN order_line ol ON ol.id = m.line_id LEFT JOIN orders o ON o.id = ol.order_id;

DROP TRIGGER edition_size_stays;
DROP TRIGGER edition_proofs_stay;
DROP TABLE destroyed_print;
DROP TABLE edition_number;

CREATE TRIGGER edition_print_within_limit BEFORE INSERT ON edition_print
WHEN NEW.number > (SELECT CASE NEW.series WHEN 'number' THEN size_limit ELSE proofs END FROM edition WHERE id = NEW.edition_id)
BEGIN SELECT RAISE(ABORT, 'beyond the edition'); END;

CREATE TRIGGER edition_print_in_turn BEFORE INSERT ON edition_print
WHEN NEW.nth <> 1 + coalesce((SELECT max(nth) FROM edition_print
    WHERE edition_id = NEW.edition_id AND series = NEW.series AND number = NEW.number AND state = 'destroyed'), 0)
BEGIN SELECT RAISE(ABORT, 'a number is printed again only after its print was destroyed'); END;

CREATE TRIGGER edition_print_begins BEFORE INSERT ON edition_print WHEN NEW.state = 'destroyed' BEGIN
    SELECT RAISE(ABORT, 'a print is made before it is destroyed') WHERE NOT replaying(); END;

CREATE TRIGGER edition_print_moves BEFORE UPDATE OF state ON edition_print
WHEN NEW.state <> OLD.state AND (OLD.state, NEW.state) NOT IN (('reserved', 'printed'), ('printed', 'destroyed'))
BEGIN SELECT RAISE(ABORT, 'not a move a print can make') WHERE NOT replaying(); END;

CREATE TRIGGER edition_print_stays_with_its_line BEFORE UPDATE OF line_id ON edition_print
WHEN OLD.line_id IS NOT NULL AND NEW.line_id IS NOT OLD.line_id
BEGIN SELECT RAISE(ABORT, 'a print stays with its order line') WHERE NOT replaying(); END;

CREATE TRIGGER edition_print_is_history BEFORE DELETE ON edition_print WHEN OLD.state <> 'reserved' BEGIN
    SELECT RAISE(ABORT, 'a print that was made stays on record') WHERE NOT replaying(); END;
CREATE TRIGGER edition_print_was_replaced BEFORE DELETE ON edition_print
WHEN EXISTS (SELECT 1 FROM edition_print WHERE edition_id = OLD.edition_id AND series = OLD.series
             AND number = OLD.number AND nth > OLD.nth)
BEGIN SELECT RAISE(ABORT, 'a later print of the number is on record'); END;

-- An order moves its prints along.
CREATE TRIGGER edition_print_made AFTER UPDATE OF status ON orders WHEN NEW.status IN ('printed', 'collected') BEGIN
    UPDATE edition_print SET state = 'printed'
    WHERE state = 'reserved' AND line_id IN (SELECT id FROM order_line WHERE order_id = NEW.id AND cancelled = 0); END;
CREATE TRIGGER edition_print_freed AFTER UPDATE OF status ON orders WHEN NEW.status = 'cancelled' BEGIN
    DELETE FROM edition_print
    WHERE state = 'reserved' AND line_id IN (SELECT id FROM order_line WHERE order_id = NEW.id); END;
CREATE TRIGGER edition_print_line_freed AFTER UPDATE OF cancelled ON order_line WHEN NEW.cancelled = 1 BEGIN
    DELETE FROM edition_print WHERE state = 'reserved' AND line_id = NEW.id; END;

-- N is fixed at launch: with the first number out it stays.
CREATE TRIGGER edition_size_stays BEFORE UPDATE OF size_limit ON edition
WHEN NEW.size_limit <> OLD.size_limit
     AND EXISTS (SELECT 1 FROM edition_print WHERE edition_id = OLD.id AND series = 'number')
BEGIN SELECT RAISE(ABORT, 'the edition is numbered already'); END;
CREATE TRIGGER edition_proofs_stay BEFORE UPDATE OF proofs ON edition
WHEN NEW.proofs < (SELECT coalesce(max(number), 0) FROM edition_print WHERE edition_id = OLD.id AND series = 'proof')
BEGIN SELECT RAISE(ABORT, 'a proof of that number is out already'); END;
