-- Chinese and Japanese are written without spaces between words: the search index holds such text a second time, each
-- character a word of its own. Only rows with text beyond ASCII are folded and indexed anew.
DROP TRIGGER artist_words_in;
DROP TRIGGER artist_words_out;
DROP TRIGGER artist_words_anew;
INSERT INTO artist_words (artist_words, rowid, name)
    SELECT 'delete', id, folded(name) FROM artist WHERE name GLOB '*[^ -~]*';
INSERT INTO artist_words (rowid, name) SELECT id, searchable(name) FROM artist WHERE name GLOB '*[^ -~]*';
DROP VIEW artist_text;
CREATE VIEW artist_text AS SELECT id, searchable(name) AS name FROM artist;
CREATE TRIGGER artist_words_in AFTER INSERT ON artist BEGIN
    INSERT INTO artist_words (rowid, name) VALUES (NEW.id, searchable(NEW.name)); END;
CREATE TRIGGER artist_words_out AFTER DELETE ON artist BEGIN
    INSERT INTO artist_words (artist_words, rowid, name) VALUES ('delete', OLD.id, searchable(OLD.name)); END;
CREATE TRIGGER artist_words_anew AFTER UPDATE OF name ON artist BEGIN
    INSERT INTO artist_words (artist_words, rowid, name) VALUES ('delete', OLD.id, searchable(OLD.name));
    INSERT INTO artist_words (rowid, name) VALUES (NEW.id, searchable(NEW.name)); END;

DROP TRIGGER file_words_in;
DROP TRIGGER file_words_out;
DROP TRIGGER file_words_anew;
INSERT INTO file_words (file_words, rowid, path)
    SELECT 'delete', id, folded(path) FROM file WHERE path GLOB '*[^ -~]*';
INSERT INTO file_words (rowid, path) SELECT id, searchable(path) FROM file WHERE path GLOB '*[^ -~]*';
DROP VIEW file_text;
CREATE VIEW file_text AS SELECT id, searchable(path) AS path FROM file;
CREATE TRIGGER file_words_in AFTER INSERT ON file BEGIN
    INSERT INTO file_words (rowid, path) VALUES (NEW.id, searchable(NEW.path)); END;
CREATE TRIGGER file_words_out AFTER DELETE ON file BEGIN
    INSERT INTO file_words (file_words, rowid, path) VALUES ('delete', OLD.id, searchable(OLD.path)); END;
CREATE TRIGGER file_words_anew AFTER UPDATE OF path ON file BEGIN
    INSERT INTO file_words (file_words, rowid, path) VALUES ('delete', OLD.id, searchable(OLD.path));
    INSERT INTO file_words (rowid, path) VALUES (NEW.id, searchable(NEW.path)); END;

DROP VIEW piece_text;
CREATE VIEW piece_text AS  -- each apart: a title of signs alone keeps them
    SELECT p.id, searchable(a.name) || ' ' || searchable(p.title) || ' ' || searchable(p.year) || ' '
                 || searchable(p.series) || ' ' || searchable(p.inventory_number) AS words
    FROM piece p JOIN artist a ON a.id = p.artist_id;
UPDATE piece_words SET words = (SELECT words FROM piece_text t WHERE t.id = piece_words.rowid)
    WHERE words GLOB '*[^ -~]*';

DROP VIEW order_text;
CREATE VIEW order_text AS  -- the triggers fold this once more, which changes nothing
    SELECT o.id, searchable(o.number || ' ' || o.placed || ' ' || o.buyer || ' ' || o.notes || ' ' || coalesce((
        SELECT group_concat(a.name || ' ' || p.title || ' ' || l.medium || ' ' || l.notes || ' '
               || CAST(round(l.width_mm / 10) AS INTEGER) || 'x' || CAST(round(l.height_mm / 10) AS INTEGER) || ' '
               || CAST(round(l.height_mm / 10) AS INTEGER) || 'x' || CAST(round(l.width_mm / 10) AS INTEGER), ' ')
        FROM order_line l JOIN piece p ON p.id = l.piece_id JOIN artist a ON a.id = p.artist_id
        WHERE l.order_id = o.id), '')) AS words FROM orders o;
UPDATE order_words SET words = (SELECT words FROM order_text t WHERE t.id = order_words.rowid)
    WHERE words GLOB '*[^ -~]*';
