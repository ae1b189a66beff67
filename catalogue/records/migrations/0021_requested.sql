-- An order that was placed and not approved yet is "requested"; until now it was called "asked". What the log says of
-- before is read in the words of now (records.statements.RENAMED_VALUES).
--
-- A CHECK is changed only by making its table anew. The references to it are judged at the commit; order_buyer, whose
-- rows go with the old table, is filled again by the trigger made here.
PRAGMA defer_foreign_keys = ON;
CREATE TEMP TABLE orders_of_before AS SELECT * FROM main.orders;
DROP TABLE orders;
CREATE TABLE orders (
    id       INTEGER PRIMARY KEY,
    number   TEXT NOT NULL UNIQUE,           -- the invoice or job number as the shop writes it
    placed   TEXT NOT NULL,                  -- ISO date
    buyer    TEXT NOT NULL DEFAULT '',
    status   TEXT NOT NULL DEFAULT 'requested'
             CHECK (status IN ('requested', 'approved', 'printed', 'collected', 'cancelled')),
    currency TEXT NOT NULL DEFAULT '',
    notes    TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX orders_by_date_and_id ON orders (placed, id);

CREATE TRIGGER order_buyer_in AFTER INSERT ON orders BEGIN
    INSERT INTO order_buyer SELECT NEW.id, folded(NEW.buyer), coalesce(
        (SELECT joined_into FROM buyer_stated WHERE key = folded(NEW.buyer)), folded(NEW.buyer)); END;
CREATE TRIGGER order_buyer_anew AFTER UPDATE OF buyer ON orders BEGIN
    UPDATE order_buyer SET spelling = folded(NEW.buyer), buyer = coalesce(
        (SELECT joined_into FROM buyer_stated WHERE key = folded(NEW.buyer)), folded(NEW.buyer))
    WHERE order_id = NEW.id; END;
INSERT INTO orders (id, number, placed, buyer, status, currency, notes)
    SELECT id, number, placed, buyer, CASE status WHEN 'asked' THEN 'requested' ELSE status END, currency, notes
    FROM orders_of_before;
DROP TABLE orders_of_before;

CREATE TRIGGER order_words_in AFTER INSERT ON orders BEGIN
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id = NEW.id; END;
CREATE TRIGGER order_words_out AFTER DELETE ON orders BEGIN
    DELETE FROM order_words WHERE rowid = OLD.id; END;
CREATE TRIGGER order_words_anew AFTER UPDATE ON orders BEGIN
    DELETE FROM order_words WHERE rowid = OLD.id;
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id = NEW.id; END;
CREATE TRIGGER edition_print_made AFTER UPDATE OF status ON orders WHEN NEW.status IN ('printed', 'collected') BEGIN
    UPDATE edition_print SET state = 'printed'
    WHERE state = 'reserved' AND line_id IN (SELECT id FROM order_line WHERE order_id = NEW.id AND cancelled = 0); END;
CREATE TRIGGER edition_print_freed AFTER UPDATE OF status ON orders WHEN NEW.status = 'cancelled' BEGIN
    DELETE FROM edition_print
    WHERE state = 'reserved' AND line_id IN (SELECT id FROM order_line WHERE order_id = NEW.id); END;

-- Both were double: orders_by_date, gone with its table, began orders_by_date_and_id; and nothing ever sought files by
-- their last check, only by their store, which the index of (store_id, path) serves.
DROP INDEX file_by_check;
