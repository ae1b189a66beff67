-- What one print of a line costs, beside what the whole line costs.
--
--   price       of the whole line, as it always was; decimal text in the order's currency
--   unit_price  of one print; '' where nobody said it. Where it is said, price is quantity times it, exactly.
--
-- Lines of before keep their price as the price of the line and have no unit price: whoever typed it may have meant one
-- print or all of them, and the program does not guess. What a repeat proposes from such a line is derived from it when
-- it is asked for (catalogue.money.unit_price), and stated only once a person records it.
ALTER TABLE order_line ADD COLUMN unit_price TEXT NOT NULL DEFAULT '';

-- Both with as many decimals, so that whole numbers of the smallest coin are compared; both are below 10^12 units of at
-- most four decimals, which 64 bits hold.
CREATE TRIGGER order_line_priced_in BEFORE INSERT ON order_line WHEN NEW.unit_price <> '' AND (
    length(NEW.price) - instr(NEW.price || '.', '.') <> length(NEW.unit_price) - instr(NEW.unit_price || '.', '.')
    OR CAST(replace(NEW.price, '.', '') AS INTEGER) <> NEW.quantity * CAST(replace(NEW.unit_price, '.', '') AS INTEGER))
BEGIN SELECT RAISE(ABORT, 'the price of a line is its quantity times the price of one print'); END;
CREATE TRIGGER order_line_priced_anew BEFORE UPDATE OF price, unit_price, quantity ON order_line
WHEN NEW.unit_price <> '' AND (
    length(NEW.price) - instr(NEW.price || '.', '.') <> length(NEW.unit_price) - instr(NEW.unit_price || '.', '.')
    OR CAST(replace(NEW.price, '.', '') AS INTEGER) <> NEW.quantity * CAST(replace(NEW.unit_price, '.', '') AS INTEGER))
BEGIN SELECT RAISE(ABORT, 'the price of a line is its quantity times the price of one print'); END;
