-- What the original is made of, as a person says it; a series that a place rule reads from a folder's name.
ALTER TABLE piece ADD COLUMN medium TEXT NOT NULL DEFAULT '';
ALTER TABLE piece_stated ADD COLUMN medium TEXT;
ALTER TABLE scan_guess ADD COLUMN series TEXT NOT NULL DEFAULT '';
CREATE TRIGGER scan_guess_series_unsettles AFTER UPDATE OF series ON scan_guess BEGIN
    INSERT INTO unsettled VALUES ('scan', NEW.scan_id) ON CONFLICT DO NOTHING;
    INSERT INTO unsettled SELECT 'piece', NEW.piece_id WHERE NEW.piece_id IS NOT NULL ON CONFLICT DO NOTHING;
END;
