-- The order desk: buyers, what an artist is owed, statements issued, and where numbered prints are.

-- What a person said of a buyer. A buyer is known by a name, folded as keys are; an order keeps the buyer as it was
-- written on it, and every spelling leads to its buyer. Buyers of whom nobody said more have no row.
CREATE TABLE buyer_stated (
    key         TEXT PRIMARY KEY CHECK (key <> ''),
    name        TEXT,                        -- NULL: as the newest order spells it
    contact     TEXT NOT NULL DEFAULT '',
    notes       TEXT NOT NULL DEFAULT '',
    joined_into TEXT CHECK (joined_into <> key)   -- key of the buyer of whom this is another spelling; never a chain
) STRICT, WITHOUT ROWID;
CREATE INDEX buyer_stated_joined ON buyer_stated (joined_into) WHERE joined_into IS NOT NULL;
CREATE TRIGGER buyer_joined_once_in BEFORE INSERT ON buyer_stated WHEN NEW.joined_into IS NOT NULL AND (
    EXISTS (SELECT 1 FROM buyer_stated WHERE key = NEW.joined_into AND joined_into IS NOT NULL)
    OR EXISTS (SELECT 1 FROM buyer_stated WHERE joined_into = NEW.key))
BEGIN SELECT RAISE(ABORT, 'the other buyer is joined into a third') WHERE NOT replaying(); END;
CREATE TRIGGER buyer_joined_once_anew BEFORE UPDATE OF joined_into ON buyer_stated WHEN NEW.joined_into IS NOT NULL AND (
    EXISTS (SELECT 1 FROM buyer_stated WHERE key = NEW.joined_into AND joined_into IS NOT NULL)
    OR EXISTS (SELECT 1 FROM buyer_stated WHERE joined_into = NEW.key))
BEGIN SELECT RAISE(ABORT, 'the other buyer is joined into a third') WHERE NOT replaying(); END;

CREATE TABLE order_buyer (                   -- derived: which buyer each order is for
    order_id INTEGER PRIMARY KEY REFERENCES orders (id) ON DELETE CASCADE,
    spelling TEXT NOT NULL,                  -- orders.buyer, folded; '' for none
    buyer    TEXT NOT NULL                   -- key of the buyer meant
) STRICT;
INSERT INTO order_buyer SELECT id, folded(buyer), folded(buyer) FROM orders;
CREATE INDEX order_buyer_by_buyer ON order_buyer (buyer);
CREATE INDEX order_buyer_by_spelling ON order_buyer (spelling);
CREATE TRIGGER order_buyer_in AFTER INSERT ON orders BEGIN
    INSERT INTO order_buyer SELECT NEW.id, folded(NEW.buyer), coalesce(
        (SELECT joined_into FROM buyer_stated WHERE key = folded(NEW.buyer)), folded(NEW.buyer)); END;
CREATE TRIGGER order_buyer_anew AFTER UPDATE OF buyer ON orders BEGIN
    UPDATE order_buyer SET spelling = folded(NEW.buyer), buyer = coalesce(
        (SELECT joined_into FROM buyer_stated WHERE key = folded(NEW.buyer)), folded(NEW.buyer))
    WHERE order_id = NEW.id; END;
CREATE TRIGGER buyer_stated_leads_in AFTER INSERT ON buyer_stated WHEN NEW.joined_into IS NOT NULL BEGIN
    UPDATE order_buyer SET buyer = NEW.joined_into WHERE spelling = NEW.key; END;
CREATE TRIGGER buyer_stated_leads_anew AFTER UPDATE OF joined_into ON buyer_stated BEGIN
    UPDATE order_buyer SET buyer = coalesce(NEW.joined_into, NEW.key) WHERE spelling = NEW.key; END;
CREATE TRIGGER buyer_stated_leads_out AFTER DELETE ON buyer_stated BEGIN
    UPDATE order_buyer SET buyer = OLD.key WHERE spelling = OLD.key; END;

-- What was agreed with an artist, from a day on: the latest row not after an order's date holds for it.
CREATE TABLE artist_terms (
    artist_id INTEGER NOT NULL,              -- no reference, as in artist_stated
    since     TEXT NOT NULL,                 -- ISO date; '' from the beginning
    basis     TEXT NOT NULL CHECK (basis IN ('percentage', 'fixed', 'none')),
    rate      TEXT NOT NULL DEFAULT '',      -- decimal: per cent of the price, or an amount for each print
    currency  TEXT NOT NULL DEFAULT '',      -- of a fixed rate
    destroyed INTEGER NOT NULL CHECK (destroyed IN (0, 1)),  -- 1: owed for, though the print was destroyed since
    replaced  INTEGER NOT NULL CHECK (replaced IN (0, 1)),   -- 1: the print made for a destroyed one is owed for too
    proofs    INTEGER NOT NULL CHECK (proofs IN (0, 1)),     -- 1: artist's proofs are owed for
    PRIMARY KEY (artist_id, since)
) STRICT, WITHOUT ROWID;

-- A statement as it was issued. What is corrected afterwards goes into the next one.
CREATE TABLE artist_statement (
    id        INTEGER PRIMARY KEY,
    artist_id INTEGER NOT NULL,              -- no reference, as in artist_stated
    first     TEXT NOT NULL,                 -- ISO dates of the period, both within
    last      TEXT NOT NULL CHECK (last >= first),
    issued    TEXT NOT NULL,                 -- ISO date
    content   TEXT NOT NULL,                 -- ledger.artist_statement.Statement as JSON
    UNIQUE (artist_id, first, last)
) STRICT;
CREATE TRIGGER artist_statement_stays BEFORE UPDATE ON artist_statement BEGIN
    SELECT RAISE(ABORT, 'a statement stays as it was issued'); END;
CREATE TRIGGER artist_statement_is_history BEFORE DELETE ON artist_statement WHEN NOT replaying() OR EXISTS (
    SELECT 1 FROM artist_statement WHERE artist_id = OLD.artist_id AND id > OLD.id)
BEGIN SELECT RAISE(ABORT, 'a statement that was issued stays on record'); END;

-- Where a print of an edition went; the newest row says where it is. Prints without one are with the buyer once their
-- order was collected, until then in the shop.
CREATE TABLE print_move (
    id         INTEGER PRIMARY KEY,
    edition_id INTEGER NOT NULL,
    series     TEXT NOT NULL,
    number     INTEGER NOT NULL,
    nth        INTEGER NOT NULL,
    day        TEXT NOT NULL,                -- ISO date
    place      TEXT NOT NULL CHECK (place IN ('shop', 'artist', 'buyer', 'consigned')),
    holder     TEXT NOT NULL DEFAULT '',     -- who has it, where that is not the artist, the shop or the order's buyer
    notes      TEXT NOT NULL DEFAULT '',
    FOREIGN KEY (edition_id, series, number, nth) REFERENCES edition_print (edition_id, series, number, nth)
) STRICT;
CREATE INDEX print_move_by_print ON print_move (edition_id, series, number, nth, day, id);
CREATE TRIGGER print_move_of_a_print BEFORE INSERT ON print_move WHEN 'printed' IS NOT (
    SELECT state FROM edition_print WHERE edition_id = NEW.edition_id AND series = NEW.series AND number = NEW.number
                                          AND nth = NEW.nth)
BEGIN SELECT RAISE(ABORT, 'only a print that exists can be moved') WHERE NOT replaying(); END;
