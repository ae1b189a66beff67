-- The findings of a store are closed when it is retired and open again when it returns, by a command or by an undoing.
CREATE TRIGGER store_retired_closes_findings AFTER UPDATE OF forgotten ON store
WHEN OLD.forgotten IS NULL AND NEW.forgotten IS NOT NULL BEGIN
    UPDATE finding SET resolved = NEW.forgotten, resolution = 'the store was retired'
    WHERE store_id = NEW.id AND resolved IS NULL; END;
CREATE TRIGGER store_returned_opens_findings AFTER UPDATE OF forgotten ON store
WHEN OLD.forgotten IS NOT NULL AND NEW.forgotten IS NULL BEGIN
    UPDATE OR IGNORE finding SET resolved = NULL, resolution = ''
    WHERE store_id = NEW.id AND resolution = 'the store was retired' AND resolved >= OLD.forgotten; END;
