-- Prints of an order line that were handed over, so many on a day: an order is often collected in parts.
--
-- How far an order is was said of the whole order, and is still: the status "collected" means all of it, on a day that
-- nobody wrote down. Beside it each row here says what went out when; a line of which all prints went out is collected,
-- whatever its order's status says, and so is an order of which every line is (records.orders.LINE_STATUS).
CREATE TABLE handover (
    id       INTEGER PRIMARY KEY,
    line_id  INTEGER NOT NULL REFERENCES order_line (id),
    day      TEXT NOT NULL,                  -- ISO date
    quantity INTEGER NOT NULL CHECK (quantity >= 1),
    numbers  TEXT NOT NULL DEFAULT '',       -- edition numbers of these prints, as records.numbers writes them
    notes    TEXT NOT NULL DEFAULT ''        -- who collected them, how they were sent
) STRICT;
CREATE INDEX handover_by_line ON handover (line_id, quantity);
CREATE TRIGGER handover_within_line BEFORE INSERT ON handover WHEN NEW.quantity > (
    SELECT l.quantity - coalesce((SELECT sum(quantity) FROM handover WHERE line_id = l.id), 0)
    FROM order_line l WHERE l.id = NEW.line_id)
BEGIN SELECT RAISE(ABORT, 'the line has not so many prints left to hand over'); END;
CREATE TRIGGER handover_stays_within_line BEFORE UPDATE OF quantity ON order_line WHEN NEW.quantity < (
    SELECT sum(quantity) FROM handover WHERE line_id = NEW.id)
BEGIN SELECT RAISE(ABORT, 'more prints of the line were handed over'); END;
CREATE TRIGGER handover_is_history BEFORE UPDATE ON handover WHEN NOT replaying() BEGIN
    SELECT RAISE(ABORT, 'what was handed over stays on record as it was'); END;
