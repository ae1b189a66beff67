-- A piece that was joined into another is found by the title it bore then, too: scans guessed under that are looked at
-- again when it changes.
DROP TRIGGER piece_joined_unsettles;
CREATE TRIGGER piece_joined_unsettles AFTER UPDATE OF joined_into, known_key, title, artist_id ON piece_stated BEGIN
    INSERT INTO unsettled
        SELECT 'scan', scan_id FROM scan_guess
            WHERE title_key IN (OLD.known_key, NEW.known_key, folded(OLD.title), folded(NEW.title))
        UNION SELECT 'scan', c.id FROM scan_stated s JOIN scan c ON c.sha256 = s.sha256
              WHERE s.piece_id = NEW.piece_id
            ON CONFLICT DO NOTHING; END;
DROP TRIGGER piece_parted_unsettles;
CREATE TRIGGER piece_parted_unsettles AFTER DELETE ON piece_stated BEGIN
    INSERT INTO unsettled SELECT 'scan', scan_id FROM scan_guess WHERE title_key IN (OLD.known_key, folded(OLD.title))
        ON CONFLICT DO NOTHING; END;
