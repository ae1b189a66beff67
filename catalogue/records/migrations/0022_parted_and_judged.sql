-- What files a scan is looked at again whenever it changes: a verdict that a pair gets on being found again, as after a
-- rebuild; and a piece that is joined into another or parted from it, for scans that a person filed under it too.
DROP TRIGGER likeness_unsettles_anew;
CREATE TRIGGER likeness_unsettles_anew AFTER UPDATE OF relation, files_together, verdict ON likeness BEGIN
    INSERT INTO unsettled VALUES ('scan', NEW.a_scan_id), ('scan', NEW.b_scan_id) ON CONFLICT DO NOTHING; END;
DROP TRIGGER piece_joined_unsettles;
CREATE TRIGGER piece_joined_unsettles AFTER UPDATE OF joined_into, known_key ON piece_stated BEGIN
    INSERT INTO unsettled
        SELECT 'scan', scan_id FROM scan_guess WHERE title_key IN (OLD.known_key, NEW.known_key)
        UNION SELECT 'scan', c.id FROM scan_stated s JOIN scan c ON c.sha256 = s.sha256
              WHERE s.piece_id = NEW.piece_id
            ON CONFLICT DO NOTHING; END;
