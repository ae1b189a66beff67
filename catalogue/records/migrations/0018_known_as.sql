-- By which names guesses find a piece, for the row that pins it: its title, and of its artist the name by which guesses
-- find them, whatever a person has called them since. Where one was joined into another, the name that led here.
CREATE VIEW piece_known_as AS
    SELECT p.id AS piece_id, coalesce(s.known_name, a.name) AS artist, coalesce(s.known_key, a.key) AS artist_key,
           p.title AS title, p.key AS title_key
    FROM piece p JOIN artist a ON a.id = p.artist_id
    LEFT JOIN artist_stated s ON s.artist_id = coalesce(
        (SELECT named.artist_id FROM scan_guess g JOIN artist_stated named ON named.known_key = g.artist_key
         WHERE g.piece_id = p.id ORDER BY named.joined_into IS NOT NULL, g.scan_id, named.artist_id LIMIT 1),
        p.artist_id);

-- Pieces pinned before under the name that a person had given their artist.
UPDATE piece_stated SET (known_artist, known_artist_key) = (
        SELECT s.known_name, s.known_key FROM piece p JOIN artist_stated s ON s.artist_id = p.artist_id
        WHERE p.id = piece_stated.piece_id)
    WHERE artist_id IS NULL AND EXISTS (
        SELECT 1 FROM piece p JOIN artist a ON a.id = p.artist_id JOIN artist_stated s ON s.artist_id = a.id
        WHERE p.id = piece_stated.piece_id AND a.key = piece_stated.known_artist_key AND s.known_key <> a.key
              AND NOT EXISTS (SELECT 1 FROM artist_stated o WHERE o.known_key = a.key));

DROP TRIGGER piece_pinned_by_line;
DROP TRIGGER piece_pinned_by_line_anew;
DROP TRIGGER piece_pinned_by_edition;
DROP TRIGGER piece_pinned_by_edition_anew;
DROP TRIGGER piece_pinned_by_scan;
DROP TRIGGER piece_pinned_by_scan_anew;
CREATE TRIGGER piece_pinned_by_line AFTER INSERT ON order_line BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT * FROM piece_known_as WHERE piece_id = NEW.piece_id ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_line_anew AFTER UPDATE OF piece_id ON order_line BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT * FROM piece_known_as WHERE piece_id = NEW.piece_id ON CONFLICT DO NOTHING;
    INSERT INTO unsettled VALUES ('piece', OLD.piece_id), ('piece', NEW.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_edition AFTER INSERT ON edition BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT * FROM piece_known_as WHERE piece_id = NEW.piece_id ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_edition_anew AFTER UPDATE OF piece_id ON edition BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT * FROM piece_known_as WHERE piece_id = NEW.piece_id ON CONFLICT DO NOTHING;
    INSERT INTO unsettled VALUES ('piece', OLD.piece_id), ('piece', NEW.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_scan AFTER INSERT ON scan_stated WHEN NEW.piece_id IS NOT NULL BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT * FROM piece_known_as WHERE piece_id = NEW.piece_id ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_scan_anew AFTER UPDATE OF piece_id ON scan_stated WHEN NEW.piece_id IS NOT NULL BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT * FROM piece_known_as WHERE piece_id = NEW.piece_id ON CONFLICT DO NOTHING; END;
