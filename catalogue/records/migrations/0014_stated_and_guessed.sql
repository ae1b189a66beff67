-- What a person said of artists, pieces and scans, apart from what was guessed; artist, piece and scan hold what
-- follows from both (records.effective). NULL in a stated column: nobody said. Search words are folded as keys are.

CREATE TABLE artist_stated (
    artist_id   INTEGER PRIMARY KEY,         -- no reference: an artist joined into another has no row of its own
    name        TEXT,
    contact     TEXT,
    terms       TEXT,
    notes       TEXT,
    joined_into INTEGER,                     -- artist_id; what is guessed for this one belongs there
    known_name  TEXT NOT NULL,               -- as paths and tags spell it
    known_key   TEXT NOT NULL
) STRICT;
CREATE INDEX artist_stated_by_known ON artist_stated (known_key);

CREATE TABLE piece_stated (                  -- also one row, all NULL, for every piece that a statement refers to
    piece_id         INTEGER PRIMARY KEY,
    artist_id        INTEGER,
    title            TEXT,
    year             TEXT,
    series           TEXT,
    inventory_number TEXT,
    width_mm         REAL,
    height_mm        REAL,
    relief_mm        REAL,
    notes            TEXT,
    current_sha256   TEXT,                   -- the master a person chose
    joined_into      INTEGER,                -- piece_id
    known_artist     TEXT NOT NULL,
    known_artist_key TEXT NOT NULL,
    known_title      TEXT NOT NULL,
    known_key        TEXT NOT NULL
) STRICT;
CREATE INDEX piece_stated_by_known ON piece_stated (known_key);
CREATE INDEX piece_stated_by_known_artist ON piece_stated (known_artist_key);
CREATE INDEX piece_stated_by_artist ON piece_stated (artist_id) WHERE artist_id IS NOT NULL;
CREATE INDEX piece_stated_joined ON piece_stated (joined_into) WHERE joined_into IS NOT NULL;

CREATE TABLE scan_stated (                   -- by digest, so that a log of statements can be replayed anywhere
    sha256   TEXT PRIMARY KEY,
    role     TEXT CHECK (role IN ('master', 'tile', 'print file', 'reference', 'unsorted')),
    piece_id INTEGER,
    capture  TEXT                            -- JSON
) STRICT, WITHOUT ROWID;
CREATE INDEX scan_stated_by_piece ON scan_stated (piece_id) WHERE piece_id IS NOT NULL;

CREATE TABLE scan_guess (                    -- derived; thrown away and made anew at will
    scan_id    INTEGER PRIMARY KEY REFERENCES scan (id) ON DELETE CASCADE,
    artist     TEXT NOT NULL DEFAULT '',
    artist_key TEXT NOT NULL DEFAULT '',
    title      TEXT NOT NULL DEFAULT '',
    title_key  TEXT NOT NULL DEFAULT '',
    year       TEXT NOT NULL DEFAULT '',
    number     TEXT NOT NULL DEFAULT '',
    role       TEXT NOT NULL DEFAULT 'unsorted'
               CHECK (role IN ('master', 'tile', 'print file', 'reference', 'unsorted')),
    reason     TEXT NOT NULL DEFAULT '',
    upgraded   INTEGER NOT NULL DEFAULT 0,   -- 1: taken from the row as an older program left it
    piece_id   INTEGER                       -- where the guess leads
) STRICT;
CREATE INDEX scan_guess_by_title ON scan_guess (title_key);
CREATE INDEX scan_guess_by_artist ON scan_guess (artist_key);
CREATE INDEX scan_guess_by_piece ON scan_guess (piece_id) WHERE piece_id IS NOT NULL;
CREATE INDEX scan_guess_upgraded ON scan_guess (scan_id) WHERE upgraded = 1;

CREATE TABLE unsettled (                     -- rows of artist, piece, scan that must be computed anew
    kind TEXT NOT NULL CHECK (kind IN ('artist', 'piece', 'scan', 'current')),
    id   INTEGER NOT NULL,
    PRIMARY KEY (kind, id)
) STRICT, WITHOUT ROWID;

CREATE TABLE issued_id (kind TEXT PRIMARY KEY, last INTEGER NOT NULL) STRICT, WITHOUT ROWID;  -- ids are not used twice

-- Keys: finer than before (kana's voicing marks tell names apart); what would now be one with another stays.
UPDATE OR IGNORE artist SET key = folded(name) WHERE key <> folded(name) AND folded(name) <> '';
UPDATE OR IGNORE piece SET key = folded(title) WHERE key <> folded(title) AND folded(title) <> '';

-- What an older catalogue holds.
INSERT INTO scan_stated (sha256, role, piece_id, capture)
    SELECT sha256, CASE role_source WHEN 'person' THEN role END, CASE piece_source WHEN 'person' THEN piece_id END,
           CASE WHEN capture <> '{}' THEN capture END
    FROM scan WHERE role_source = 'person' OR piece_source = 'person' AND piece_id IS NOT NULL OR capture <> '{}';
INSERT INTO scan_guess (scan_id, artist, artist_key, title, title_key, year, number, role, reason, upgraded, piece_id)
    SELECT s.id, coalesce(a.name, ''), coalesce(a.key, ''), coalesce(p.title, ''), coalesce(p.key, ''),
           coalesce(p.year, ''), coalesce(p.inventory_number, ''),
           CASE s.role_source WHEN 'guess' THEN s.role ELSE 'unsorted' END, 'as an earlier version filed it', 1, p.id
    FROM scan s LEFT JOIN piece p ON p.id = s.piece_id AND s.piece_source = 'guess'
    LEFT JOIN artist a ON a.id = p.artist_id;
INSERT INTO piece_stated (piece_id, artist_id, title, year, series, inventory_number, width_mm, height_mm, relief_mm,
                          notes, current_sha256, known_artist, known_artist_key, known_title, known_key)
    SELECT p.id, iif(p.guessed, NULL, p.artist_id), iif(p.guessed, NULL, p.title),
           iif(p.guessed, NULL, nullif(p.year, '')), nullif(p.series, ''),
           iif(p.guessed, NULL, nullif(p.inventory_number, '')), p.width_mm, p.height_mm, p.relief_mm,
           nullif(p.notes, ''), CASE p.current_source WHEN 'person' THEN c.sha256 END, a.name, a.key, p.title, p.key
    FROM (SELECT *, EXISTS (SELECT 1 FROM scan_guess g WHERE g.piece_id = piece.id) AS guessed FROM piece) p
    JOIN artist a ON a.id = p.artist_id LEFT JOIN scan c ON c.id = p.current_scan_id
    WHERE NOT p.guessed OR p.series <> '' OR p.notes <> '' OR p.current_source = 'person'
          OR coalesce(p.width_mm, p.height_mm, p.relief_mm) IS NOT NULL
          OR p.id IN (SELECT piece_id FROM order_line) OR p.id IN (SELECT piece_id FROM edition)
          OR p.id IN (SELECT piece_id FROM scan_stated WHERE piece_id IS NOT NULL);
INSERT INTO artist_stated (artist_id, name, contact, terms, notes, known_name, known_key)
    SELECT id, CASE WHEN id NOT IN (SELECT artist_id FROM piece) THEN name END, nullif(contact, ''), nullif(terms, ''),
           nullif(notes, ''), name, key
    FROM artist WHERE contact <> '' OR terms <> '' OR notes <> '' OR id NOT IN (SELECT artist_id FROM piece);

-- 1: so sure that both show one piece that an unfiled scan is filed with the other (likeness.thresholds.SURE_ENOUGH)
ALTER TABLE likeness ADD COLUMN files_together INTEGER NOT NULL DEFAULT 0;
UPDATE likeness SET files_together = 1 WHERE sure >= 0.95 AND relation NOT IN ('look-alike', 'cannot tell');

-- In triggers ON CONFLICT DO NOTHING, not INSERT OR IGNORE: that would give way to the policy of the outer statement.

-- A piece that a statement refers to is pinned: its row is kept, and found again by its guessed name.
CREATE TRIGGER piece_pinned_by_line AFTER INSERT ON order_line BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT p.id, a.name, a.key, p.title, p.key FROM piece p JOIN artist a ON a.id = p.artist_id
        WHERE p.id = NEW.piece_id ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_line_anew AFTER UPDATE OF piece_id ON order_line BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT p.id, a.name, a.key, p.title, p.key FROM piece p JOIN artist a ON a.id = p.artist_id
        WHERE p.id = NEW.piece_id ON CONFLICT DO NOTHING;
    INSERT INTO unsettled VALUES ('piece', OLD.piece_id), ('piece', NEW.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_edition AFTER INSERT ON edition BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT p.id, a.name, a.key, p.title, p.key FROM piece p JOIN artist a ON a.id = p.artist_id
        WHERE p.id = NEW.piece_id ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_edition_anew AFTER UPDATE OF piece_id ON edition BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT p.id, a.name, a.key, p.title, p.key FROM piece p JOIN artist a ON a.id = p.artist_id
        WHERE p.id = NEW.piece_id ON CONFLICT DO NOTHING;
    INSERT INTO unsettled VALUES ('piece', OLD.piece_id), ('piece', NEW.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_scan AFTER INSERT ON scan_stated WHEN NEW.piece_id IS NOT NULL BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT p.id, a.name, a.key, p.title, p.key FROM piece p JOIN artist a ON a.id = p.artist_id
        WHERE p.id = NEW.piece_id ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_pinned_by_scan_anew AFTER UPDATE OF piece_id ON scan_stated WHEN NEW.piece_id IS NOT NULL BEGIN
    INSERT INTO piece_stated (piece_id, known_artist, known_artist_key, known_title, known_key)
        SELECT p.id, a.name, a.key, p.title, p.key FROM piece p JOIN artist a ON a.id = p.artist_id
        WHERE p.id = NEW.piece_id ON CONFLICT DO NOTHING; END;

-- What must be computed anew.
CREATE TRIGGER artist_stated_unsettles_in AFTER INSERT ON artist_stated BEGIN
    INSERT INTO unsettled VALUES ('artist', NEW.artist_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER artist_stated_unsettles_anew AFTER UPDATE ON artist_stated BEGIN
    INSERT INTO unsettled VALUES ('artist', NEW.artist_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER artist_stated_unsettles_out AFTER DELETE ON artist_stated BEGIN
    INSERT INTO unsettled VALUES ('artist', OLD.artist_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_stated_unsettles_in AFTER INSERT ON piece_stated BEGIN
    INSERT INTO unsettled VALUES ('piece', NEW.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_stated_unsettles_anew AFTER UPDATE ON piece_stated BEGIN
    INSERT INTO unsettled VALUES ('piece', NEW.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_stated_unsettles_out AFTER DELETE ON piece_stated BEGIN
    INSERT INTO unsettled VALUES ('piece', OLD.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_joined_unsettles AFTER UPDATE OF joined_into, known_key ON piece_stated BEGIN
    INSERT INTO unsettled
        SELECT 'scan', scan_id FROM scan_guess WHERE title_key IN (OLD.known_key, NEW.known_key)
            ON CONFLICT DO NOTHING; END;
CREATE TRIGGER piece_parted_unsettles AFTER DELETE ON piece_stated BEGIN
    INSERT INTO unsettled SELECT 'scan', scan_id FROM scan_guess WHERE title_key = OLD.known_key
        ON CONFLICT DO NOTHING; END;
CREATE TRIGGER scan_stated_unsettles_in AFTER INSERT ON scan_stated BEGIN
    INSERT INTO unsettled SELECT 'scan', id FROM scan WHERE sha256 = NEW.sha256 ON CONFLICT DO NOTHING; END;
CREATE TRIGGER scan_stated_unsettles_anew AFTER UPDATE ON scan_stated BEGIN
    INSERT INTO unsettled SELECT 'scan', id FROM scan WHERE sha256 = NEW.sha256 ON CONFLICT DO NOTHING; END;
CREATE TRIGGER scan_stated_unsettles_out AFTER DELETE ON scan_stated BEGIN
    INSERT INTO unsettled SELECT 'scan', id FROM scan WHERE sha256 = OLD.sha256 ON CONFLICT DO NOTHING;
    INSERT INTO unsettled SELECT 'piece', OLD.piece_id WHERE OLD.piece_id IS NOT NULL ON CONFLICT DO NOTHING; END;
CREATE TRIGGER likeness_verdict_unsettles_in AFTER INSERT ON likeness_verdict BEGIN
    INSERT INTO unsettled SELECT 'scan', id FROM scan WHERE sha256 IN (NEW.a_sha256, NEW.b_sha256)
        ON CONFLICT DO NOTHING; END;
CREATE TRIGGER likeness_verdict_unsettles_anew AFTER UPDATE ON likeness_verdict BEGIN
    INSERT INTO unsettled SELECT 'scan', id FROM scan WHERE sha256 IN (NEW.a_sha256, NEW.b_sha256)
        ON CONFLICT DO NOTHING; END;
CREATE TRIGGER likeness_verdict_unsettles_out AFTER DELETE ON likeness_verdict BEGIN
    INSERT INTO unsettled SELECT 'scan', id FROM scan WHERE sha256 IN (OLD.a_sha256, OLD.b_sha256)
        ON CONFLICT DO NOTHING; END;
CREATE TRIGGER scan_guess_unsettles_in AFTER INSERT ON scan_guess BEGIN
    INSERT INTO unsettled VALUES ('scan', NEW.scan_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER scan_guess_unsettles_anew
AFTER UPDATE OF artist, artist_key, title, title_key, year, number, role ON scan_guess BEGIN
    INSERT INTO unsettled VALUES ('scan', NEW.scan_id) ON CONFLICT DO NOTHING;
    INSERT INTO unsettled SELECT 'piece', NEW.piece_id WHERE NEW.piece_id IS NOT NULL ON CONFLICT DO NOTHING; END;
CREATE TRIGGER likeness_unsettles_in AFTER INSERT ON likeness WHEN NEW.files_together BEGIN
    INSERT INTO unsettled VALUES ('scan', NEW.a_scan_id), ('scan', NEW.b_scan_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER likeness_unsettles_anew AFTER UPDATE OF relation, files_together ON likeness BEGIN
    INSERT INTO unsettled VALUES ('scan', NEW.a_scan_id), ('scan', NEW.b_scan_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER scan_gone_unsettles AFTER DELETE ON scan WHEN OLD.piece_id IS NOT NULL BEGIN
    INSERT INTO unsettled VALUES ('piece', OLD.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER file_unsettles_in AFTER INSERT ON file WHEN NEW.scan_id IS NOT NULL BEGIN
    INSERT INTO unsettled SELECT 'current', piece_id FROM scan WHERE id = NEW.scan_id AND piece_id IS NOT NULL
        ON CONFLICT DO NOTHING;
END;
CREATE TRIGGER file_unsettles_anew AFTER UPDATE OF state, scan_id, failed_at ON file
WHEN OLD.state <> NEW.state OR OLD.scan_id IS NOT NEW.scan_id
     OR (OLD.failed_at IS NULL) <> (NEW.failed_at IS NULL) BEGIN
    INSERT INTO unsettled
        SELECT 'current', piece_id FROM scan WHERE id IN (OLD.scan_id, NEW.scan_id) AND piece_id IS NOT NULL
            ON CONFLICT DO NOTHING; END;
CREATE TRIGGER file_unsettles_out AFTER DELETE ON file WHEN OLD.scan_id IS NOT NULL BEGIN
    INSERT INTO unsettled SELECT 'current', piece_id FROM scan WHERE id = OLD.scan_id AND piece_id IS NOT NULL
        ON CONFLICT DO NOTHING;
END;
CREATE TRIGGER finding_unsettles_in AFTER INSERT ON finding WHEN NEW.store_id IS NOT NULL AND NEW.path <> '' BEGIN
    INSERT INTO unsettled SELECT 'current', c.piece_id FROM file f JOIN scan c ON c.id = f.scan_id
        WHERE f.store_id = NEW.store_id AND f.path = NEW.path AND c.piece_id IS NOT NULL ON CONFLICT DO NOTHING; END;
CREATE TRIGGER finding_unsettles_anew AFTER UPDATE OF resolved ON finding
WHEN NEW.store_id IS NOT NULL AND NEW.path <> '' BEGIN
    INSERT INTO unsettled SELECT 'current', c.piece_id FROM file f JOIN scan c ON c.id = f.scan_id
        WHERE f.store_id = NEW.store_id AND f.path = NEW.path AND c.piece_id IS NOT NULL ON CONFLICT DO NOTHING; END;
CREATE TRIGGER content_unsettles AFTER UPDATE OF content_fault ON scan
WHEN NEW.content_fault <> OLD.content_fault AND NEW.piece_id IS NOT NULL BEGIN
    INSERT INTO unsettled VALUES ('current', NEW.piece_id) ON CONFLICT DO NOTHING; END;
CREATE TRIGGER store_unsettles AFTER UPDATE OF forgotten ON store WHEN OLD.forgotten IS NOT NEW.forgotten BEGIN
    INSERT INTO unsettled SELECT 'current', c.piece_id FROM file f JOIN scan c ON c.id = f.scan_id
        WHERE f.store_id = NEW.id AND c.piece_id IS NOT NULL ON CONFLICT DO NOTHING; END;
CREATE TRIGGER artist_id_issued AFTER DELETE ON artist BEGIN
    INSERT INTO issued_id VALUES ('artist', OLD.id) ON CONFLICT (kind) DO UPDATE SET last = max(last, excluded.last);
END;
CREATE TRIGGER piece_id_issued AFTER DELETE ON piece BEGIN
    INSERT INTO issued_id VALUES ('piece', OLD.id) ON CONFLICT (kind) DO UPDATE SET last = max(last, excluded.last);
END;

CREATE TABLE refiling (                      -- guesses before place rules were applied anew, to be put back
    id     INTEGER PRIMARY KEY,
    at     TEXT NOT NULL,
    before TEXT NOT NULL,                    -- JSON
    undone TEXT
) STRICT;

-- The search index holds folded words, parted by spaces alone: it never parts a word otherwise than Python does.
DROP TRIGGER artist_words_in;
DROP TRIGGER artist_words_out;
DROP TRIGGER artist_words_anew;
DROP TABLE artist_words;
CREATE VIEW artist_text AS SELECT id, folded(name) AS name FROM artist;
CREATE VIRTUAL TABLE artist_words USING fts5 (
    name, content='artist_text', content_rowid='id',
    tokenize="unicode61 remove_diacritics 0 categories 'L* M* N* P* S* C*'", prefix='1 2 3');
INSERT INTO artist_words (rowid, name) SELECT id, folded(name) FROM artist;
CREATE TRIGGER artist_words_in AFTER INSERT ON artist BEGIN
    INSERT INTO artist_words (rowid, name) VALUES (NEW.id, folded(NEW.name)); END;
CREATE TRIGGER artist_words_out AFTER DELETE ON artist BEGIN
    INSERT INTO artist_words (artist_words, rowid, name) VALUES ('delete', OLD.id, folded(OLD.name)); END;
CREATE TRIGGER artist_words_anew AFTER UPDATE OF name ON artist BEGIN
    INSERT INTO artist_words (artist_words, rowid, name) VALUES ('delete', OLD.id, folded(OLD.name));
    INSERT INTO artist_words (rowid, name) VALUES (NEW.id, folded(NEW.name)); END;

DROP TRIGGER file_words_in;
DROP TRIGGER file_words_out;
DROP TRIGGER file_words_anew;
DROP TABLE file_words;
CREATE VIEW file_text AS SELECT id, folded(path) AS path FROM file;
CREATE VIRTUAL TABLE file_words USING fts5 (
    path, content='file_text', content_rowid='id',
    tokenize="unicode61 remove_diacritics 0 categories 'L* M* N* P* S* C*'", prefix='1 2 3 4 5');
INSERT INTO file_words (rowid, path) SELECT id, folded(path) FROM file;
CREATE TRIGGER file_words_in AFTER INSERT ON file BEGIN
    INSERT INTO file_words (rowid, path) VALUES (NEW.id, folded(NEW.path)); END;
CREATE TRIGGER file_words_out AFTER DELETE ON file BEGIN
    INSERT INTO file_words (file_words, rowid, path) VALUES ('delete', OLD.id, folded(OLD.path)); END;
CREATE TRIGGER file_words_anew AFTER UPDATE OF path ON file BEGIN
    INSERT INTO file_words (file_words, rowid, path) VALUES ('delete', OLD.id, folded(OLD.path));
    INSERT INTO file_words (rowid, path) VALUES (NEW.id, folded(NEW.path)); END;

DROP TRIGGER piece_words_in;
DROP TRIGGER piece_words_out;
DROP TRIGGER piece_words_anew;
DROP TRIGGER piece_words_artist;
DROP TABLE piece_words;
CREATE VIRTUAL TABLE piece_words USING fts5 (
    words, tokenize="unicode61 remove_diacritics 0 categories 'L* M* N* P* S* C*'", prefix='1 2 3');
DROP VIEW piece_text;
CREATE VIEW piece_text AS  -- folded apart: a title of signs alone keeps them
    SELECT p.id, folded(a.name) || ' ' || folded(p.title) || ' ' || folded(p.year) || ' ' || folded(p.series) || ' '
                 || folded(p.inventory_number) AS words
    FROM piece p JOIN artist a ON a.id = p.artist_id;
INSERT INTO piece_words (rowid, words) SELECT id, words FROM piece_text;
CREATE TRIGGER piece_words_in AFTER INSERT ON piece BEGIN
    INSERT INTO piece_words (rowid, words) SELECT id, words FROM piece_text WHERE id = NEW.id; END;
CREATE TRIGGER piece_words_out AFTER DELETE ON piece BEGIN
    DELETE FROM piece_words WHERE rowid = OLD.id; END;
CREATE TRIGGER piece_words_anew AFTER UPDATE OF artist_id, title, year, series, inventory_number ON piece BEGIN
    DELETE FROM piece_words WHERE rowid = OLD.id;
    INSERT INTO piece_words (rowid, words) SELECT id, words FROM piece_text WHERE id = NEW.id; END;
CREATE TRIGGER piece_words_artist AFTER UPDATE OF name ON artist BEGIN
    DELETE FROM piece_words WHERE rowid IN (SELECT id FROM piece WHERE artist_id = NEW.id);
    INSERT INTO piece_words (rowid, words)
        SELECT t.id, t.words FROM piece_text t JOIN piece p ON p.id = t.id WHERE p.artist_id = NEW.id; END;

DROP TRIGGER order_words_in;
DROP TRIGGER order_words_out;
DROP TRIGGER order_words_anew;
DROP TRIGGER order_words_line;
DROP TRIGGER order_words_line_anew;
DROP TRIGGER order_words_line_out;
DROP TRIGGER order_words_piece;
DROP TABLE order_words;
CREATE VIRTUAL TABLE order_words USING fts5 (
    words, tokenize="unicode61 remove_diacritics 0 categories 'L* M* N* P* S* C*'", prefix='1 2 3');
INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text;
CREATE TRIGGER order_words_in AFTER INSERT ON orders BEGIN
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id = NEW.id; END;
CREATE TRIGGER order_words_out AFTER DELETE ON orders BEGIN
    DELETE FROM order_words WHERE rowid = OLD.id; END;
CREATE TRIGGER order_words_anew AFTER UPDATE ON orders BEGIN
    DELETE FROM order_words WHERE rowid = OLD.id;
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id = NEW.id; END;
CREATE TRIGGER order_words_line AFTER INSERT ON order_line BEGIN
    DELETE FROM order_words WHERE rowid = NEW.order_id;
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id = NEW.order_id; END;
CREATE TRIGGER order_words_line_anew AFTER UPDATE ON order_line BEGIN
    DELETE FROM order_words WHERE rowid = NEW.order_id;
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id = NEW.order_id; END;
CREATE TRIGGER order_words_line_out AFTER DELETE ON order_line BEGIN
    DELETE FROM order_words WHERE rowid = OLD.order_id;
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id = OLD.order_id; END;
CREATE TRIGGER order_words_piece AFTER UPDATE OF title, artist_id ON piece BEGIN
    DELETE FROM order_words WHERE rowid IN (SELECT order_id FROM order_line WHERE piece_id = NEW.id);
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text
        WHERE id IN (SELECT order_id FROM order_line WHERE piece_id = NEW.id); END;
CREATE TRIGGER order_words_artist AFTER UPDATE OF name ON artist BEGIN
    DELETE FROM order_words WHERE rowid IN (
        SELECT l.order_id FROM order_line l JOIN piece p ON p.id = l.piece_id WHERE p.artist_id = NEW.id);
    INSERT INTO order_words (rowid, words) SELECT id, folded(words) FROM order_text WHERE id IN (
        SELECT l.order_id FROM order_line l JOIN piece p ON p.id = l.piece_id WHERE p.artist_id = NEW.id); END;
