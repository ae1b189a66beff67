-- Stores, files, scans, pieces, findings, events, orders, editions. Times are ISO 8601 UTC text, lengths mm,
-- money decimal text, digests lower-case hex.

CREATE TABLE store (
    id        INTEGER PRIMARY KEY,
    name      TEXT NOT NULL UNIQUE COLLATE NOCASE,
    root      TEXT NOT NULL,                 -- last known mount point
    kind      TEXT NOT NULL CHECK (kind IN ('primary', 'copy', 'off-site')),
    marker    TEXT NOT NULL UNIQUE,          -- written once at the root, so a disk is known again elsewhere
    added     TEXT NOT NULL,
    one_reader INTEGER NOT NULL DEFAULT 0,   -- a spinning disk: one reader at a time
    forgotten TEXT
) STRICT;

CREATE TABLE artist (
    id       INTEGER PRIMARY KEY,
    name     TEXT NOT NULL,
    key      TEXT NOT NULL UNIQUE,           -- folded name: case, accents, spacing
    contact  TEXT NOT NULL DEFAULT '',
    terms    TEXT NOT NULL DEFAULT '',
    notes    TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE piece (
    id        INTEGER PRIMARY KEY,
    artist_id INTEGER NOT NULL REFERENCES artist (id),
    title     TEXT NOT NULL,
    key       TEXT NOT NULL,
    year      TEXT NOT NULL DEFAULT '',
    series    TEXT NOT NULL DEFAULT '',
    inventory_number TEXT NOT NULL DEFAULT '',
    width_mm  REAL,                          -- of the original, if someone measured it
    height_mm REAL,
    relief_mm REAL,
    current_scan_id INTEGER REFERENCES scan (id) ON DELETE SET NULL,
    current_source TEXT NOT NULL DEFAULT 'proposed' CHECK (current_source IN ('proposed', 'person')),
    notes     TEXT NOT NULL DEFAULT '',
    UNIQUE (artist_id, key)
) STRICT;

CREATE TABLE scan (
    id            INTEGER PRIMARY KEY,
    sha256        TEXT NOT NULL UNIQUE,
    pixel_digest  TEXT NOT NULL DEFAULT '',
    bytes         INTEGER NOT NULL,
    format        TEXT NOT NULL DEFAULT '',
    width         INTEGER,
    height        INTEGER,
    bits          INTEGER,
    samples       INTEGER,
    photometric   TEXT NOT NULL DEFAULT '',
    compression   TEXT NOT NULL DEFAULT '',
    ppi_x         REAL,
    ppi_y         REAL,
    profile_name  TEXT NOT NULL DEFAULT '',
    profile_digest TEXT NOT NULL DEFAULT '',
    role          TEXT NOT NULL DEFAULT 'unsorted'
                  CHECK (role IN ('master', 'tile', 'print file', 'reference', 'unsorted')),
    role_source   TEXT NOT NULL DEFAULT 'guess' CHECK (role_source IN ('guess', 'person')),
    piece_id      INTEGER REFERENCES piece (id) ON DELETE SET NULL,
    piece_source  TEXT NOT NULL DEFAULT 'guess' CHECK (piece_source IN ('guess', 'likeness', 'person')),
    title         TEXT NOT NULL DEFAULT '',
    creator       TEXT NOT NULL DEFAULT '',
    captured      TEXT NOT NULL DEFAULT '',
    device        TEXT NOT NULL DEFAULT '',
    has_preview   INTEGER NOT NULL DEFAULT 0,
    picture       TEXT NOT NULL DEFAULT '{}', -- reading.model.Picture as JSON
    metadata      TEXT NOT NULL DEFAULT '{}', -- reading.model.Metadata as JSON
    notes         TEXT NOT NULL DEFAULT '[]', -- reading.model.Note list as JSON
    capture       TEXT NOT NULL DEFAULT '{}', -- capture notes: free fields with units
    first_indexed TEXT NOT NULL
) STRICT;
CREATE INDEX scan_by_piece ON scan (piece_id);
CREATE INDEX scan_by_pixels ON scan (pixel_digest) WHERE pixel_digest <> '';
CREATE INDEX scan_by_role ON scan (role);

CREATE TABLE file (
    id         INTEGER PRIMARY KEY,
    store_id   INTEGER NOT NULL REFERENCES store (id) ON DELETE CASCADE,
    path       TEXT NOT NULL,                -- relative to the root, '/' between parts; see records.paths
    size       INTEGER NOT NULL,
    mtime_ns   INTEGER NOT NULL,
    scan_id    INTEGER REFERENCES scan (id), -- NULL: nothing could be read
    state      TEXT NOT NULL DEFAULT 'present' CHECK (state IN ('present', 'missing')),
    first_seen TEXT NOT NULL,
    read_at    TEXT NOT NULL,
    checked_at TEXT,                         -- last time its bytes agreed with its digest
    UNIQUE (store_id, path)
) STRICT;
CREATE INDEX file_by_scan ON file (scan_id);
CREATE INDEX file_by_check ON file (store_id, checked_at);

CREATE TABLE picture_hash (
    scan_id     INTEGER NOT NULL REFERENCES scan (id) ON DELETE CASCADE,
    algorithm   TEXT NOT NULL,
    orientation INTEGER NOT NULL,
    value       TEXT NOT NULL,
    library     TEXT NOT NULL,
    PRIMARY KEY (scan_id, algorithm, orientation)
) STRICT, WITHOUT ROWID;

CREATE TABLE segment (                       -- one row a scan: its segments packed, see records.scans
    scan_id INTEGER PRIMARY KEY REFERENCES scan (id) ON DELETE CASCADE,
    packed  BLOB NOT NULL
) STRICT;

CREATE TABLE run (
    id       INTEGER PRIMARY KEY,
    kind     TEXT NOT NULL,                  -- 'index', 'audit', 'copy', …
    store_id INTEGER REFERENCES store (id) ON DELETE SET NULL,
    started  TEXT NOT NULL,
    ended    TEXT,
    outcome  TEXT NOT NULL DEFAULT 'running' CHECK (outcome IN ('running', 'finished', 'cancelled', 'failed')),
    counts   TEXT NOT NULL DEFAULT '{}'
) STRICT;

CREATE TABLE finding (
    id         INTEGER PRIMARY KEY,
    kind       TEXT NOT NULL,
    store_id   INTEGER REFERENCES store (id) ON DELETE CASCADE,
    path       TEXT NOT NULL DEFAULT '',     -- kept even where no file row could be made
    file_id    INTEGER REFERENCES file (id) ON DELETE SET NULL,
    scan_id    INTEGER REFERENCES scan (id) ON DELETE SET NULL,
    detail     TEXT NOT NULL,
    hint       TEXT NOT NULL DEFAULT '',
    offset     INTEGER,
    first_seen TEXT NOT NULL,
    last_seen  TEXT NOT NULL,
    resolved   TEXT,
    resolution TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE UNIQUE INDEX finding_open ON finding (kind, coalesce(store_id, 0), path, coalesce(scan_id, 0)) WHERE resolved IS NULL;
CREATE INDEX finding_by_file ON finding (file_id);
CREATE INDEX finding_by_scan ON finding (scan_id);

CREATE TABLE event (                         -- PREMIS 3 eventType vocabulary; append-only, chained (records.events)
    id      INTEGER PRIMARY KEY,
    at      TEXT NOT NULL,
    type    TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('success', 'fail', 'warning')),
    agent   TEXT NOT NULL,                   -- who and which program version
    store   TEXT NOT NULL DEFAULT '',
    path    TEXT NOT NULL DEFAULT '',
    sha256  TEXT NOT NULL DEFAULT '',
    detail  TEXT NOT NULL DEFAULT '',
    chain   TEXT NOT NULL                    -- SHA-256 over the previous chain value and this row
) STRICT;
CREATE INDEX event_by_sha ON event (sha256) WHERE sha256 <> '';
CREATE TRIGGER event_never_changed BEFORE UPDATE ON event BEGIN SELECT RAISE(ABORT, 'the event log is append-only'); END;
CREATE TRIGGER event_never_deleted BEFORE DELETE ON event BEGIN SELECT RAISE(ABORT, 'the event log is append-only'); END;

CREATE TABLE edition (
    id         INTEGER PRIMARY KEY,
    piece_id   INTEGER NOT NULL REFERENCES piece (id),
    size_limit INTEGER NOT NULL CHECK (size_limit >= 1),   -- N, fixed at launch
    proofs     INTEGER NOT NULL DEFAULT 0 CHECK (proofs >= 0),
    scope      TEXT NOT NULL DEFAULT 'all sizes' CHECK (scope IN ('all sizes', 'one size')),
    width_mm   REAL,                         -- with scope 'one size'
    height_mm  REAL,
    medium     TEXT NOT NULL DEFAULT '',
    opened     TEXT NOT NULL DEFAULT '',
    closed     TEXT NOT NULL DEFAULT '',
    notes      TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX edition_by_piece ON edition (piece_id);

CREATE TABLE orders (
    id       INTEGER PRIMARY KEY,
    number   TEXT NOT NULL UNIQUE,           -- the invoice or job number as the shop writes it
    placed   TEXT NOT NULL,                  -- ISO date
    buyer    TEXT NOT NULL DEFAULT '',
    status   TEXT NOT NULL DEFAULT 'asked'
             CHECK (status IN ('asked', 'approved', 'printed', 'collected', 'cancelled')),
    currency TEXT NOT NULL DEFAULT '',
    notes    TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX orders_by_date ON orders (placed);

CREATE TABLE order_line (
    id          INTEGER PRIMARY KEY,
    order_id    INTEGER NOT NULL REFERENCES orders (id),
    piece_id    INTEGER NOT NULL REFERENCES piece (id),
    width_mm    REAL NOT NULL CHECK (width_mm > 0),
    height_mm   REAL NOT NULL CHECK (height_mm > 0),
    medium      TEXT NOT NULL DEFAULT '',
    border_mm   REAL NOT NULL DEFAULT 0,
    wrap_mm     REAL NOT NULL DEFAULT 0,
    edge        TEXT NOT NULL DEFAULT '',
    quantity    INTEGER NOT NULL CHECK (quantity >= 1),
    edition_id  INTEGER REFERENCES edition (id),
    scan_sha256 TEXT NOT NULL DEFAULT '',    -- the very bytes it was printed from; '' where an import could not tell
    scan_name   TEXT NOT NULL DEFAULT '',    -- file name as known then
    profile     TEXT NOT NULL DEFAULT '',    -- printer profile
    settings    TEXT NOT NULL DEFAULT '',    -- print notes: intent, settings
    price       TEXT NOT NULL DEFAULT '',    -- decimal, in the order's currency, for the line
    notes       TEXT NOT NULL DEFAULT '',
    repeat_of   INTEGER REFERENCES order_line (id)
) STRICT;
CREATE INDEX order_line_by_order ON order_line (order_id);
CREATE INDEX order_line_by_piece ON order_line (piece_id);
CREATE INDEX order_line_by_scan ON order_line (scan_sha256) WHERE scan_sha256 <> '';

CREATE TABLE edition_number (                -- one row a print issued; a number is never issued twice
    edition_id INTEGER NOT NULL REFERENCES edition (id),
    series     TEXT NOT NULL CHECK (series IN ('number', 'proof')),
    number     INTEGER NOT NULL CHECK (number >= 1),
    line_id    INTEGER REFERENCES order_line (id),
    issued     TEXT NOT NULL,
    PRIMARY KEY (edition_id, series, number)
) STRICT, WITHOUT ROWID;
CREATE INDEX edition_number_by_line ON edition_number (line_id);
CREATE TRIGGER edition_number_within_limit BEFORE INSERT ON edition_number
WHEN NEW.number > (SELECT CASE NEW.series WHEN 'number' THEN size_limit ELSE proofs END FROM edition WHERE id = NEW.edition_id)
BEGIN SELECT RAISE(ABORT, 'beyond the edition'); END;

-- Search: one index a kind, kept by triggers, so that a screen asks four small questions instead of a large one.
CREATE VIRTUAL TABLE artist_words USING fts5 (
    name, content='artist', content_rowid='id', tokenize="unicode61 remove_diacritics 2", prefix='1 2 3');
CREATE TRIGGER artist_words_in AFTER INSERT ON artist BEGIN
    INSERT INTO artist_words (rowid, name) VALUES (NEW.id, NEW.name); END;
CREATE TRIGGER artist_words_out AFTER DELETE ON artist BEGIN
    INSERT INTO artist_words (artist_words, rowid, name) VALUES ('delete', OLD.id, OLD.name); END;
CREATE TRIGGER artist_words_anew AFTER UPDATE OF name ON artist BEGIN
    INSERT INTO artist_words (artist_words, rowid, name) VALUES ('delete', OLD.id, OLD.name);
    INSERT INTO artist_words (rowid, name) VALUES (NEW.id, NEW.name); END;

CREATE VIRTUAL TABLE file_words USING fts5 (
    path, content='file', content_rowid='id', tokenize="unicode61 remove_diacritics 2", prefix='1 2 3 4 5');
CREATE TRIGGER file_words_in AFTER INSERT ON file BEGIN
    INSERT INTO file_words (rowid, path) VALUES (NEW.id, NEW.path); END;
CREATE TRIGGER file_words_out AFTER DELETE ON file BEGIN
    INSERT INTO file_words (file_words, rowid, path) VALUES ('delete', OLD.id, OLD.path); END;
CREATE TRIGGER file_words_anew AFTER UPDATE OF path ON file BEGIN
    INSERT INTO file_words (file_words, rowid, path) VALUES ('delete', OLD.id, OLD.path);
    INSERT INTO file_words (rowid, path) VALUES (NEW.id, NEW.path); END;

CREATE VIEW piece_text AS
    SELECT p.id, a.name || ' ' || p.title || ' ' || p.year || ' ' || p.series || ' ' || p.inventory_number AS words
    FROM piece p JOIN artist a ON a.id = p.artist_id;
CREATE VIRTUAL TABLE piece_words USING fts5 (words, tokenize="unicode61 remove_diacritics 2", prefix='1 2 3');
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

-- "50x70" finds both the size as ordered and the size turned.
CREATE VIEW order_text AS
    SELECT o.id, o.number || ' ' || o.placed || ' ' || o.buyer || ' ' || o.notes || ' ' || coalesce((
        SELECT group_concat(a.name || ' ' || p.title || ' ' || l.medium || ' ' || l.notes || ' '
               || CAST(round(l.width_mm / 10) AS INTEGER) || 'x' || CAST(round(l.height_mm / 10) AS INTEGER) || ' '
               || CAST(round(l.height_mm / 10) AS INTEGER) || 'x' || CAST(round(l.width_mm / 10) AS INTEGER), ' ')
        FROM order_line l JOIN piece p ON p.id = l.piece_id JOIN artist a ON a.id = p.artist_id
        WHERE l.order_id = o.id), '') AS words FROM orders o;
CREATE VIRTUAL TABLE order_words USING fts5 (words, tokenize="unicode61 remove_diacritics 2", prefix='1 2 3');
CREATE TRIGGER order_words_in AFTER INSERT ON orders BEGIN
    INSERT INTO order_words (rowid, words) SELECT id, words FROM order_text WHERE id = NEW.id; END;
CREATE TRIGGER order_words_out AFTER DELETE ON orders BEGIN
    DELETE FROM order_words WHERE rowid = OLD.id; END;
CREATE TRIGGER order_words_anew AFTER UPDATE ON orders BEGIN
    DELETE FROM order_words WHERE rowid = OLD.id;
    INSERT INTO order_words (rowid, words) SELECT id, words FROM order_text WHERE id = NEW.id; END;
CREATE TRIGGER order_words_line AFTER INSERT ON order_line BEGIN
    DELETE FROM order_words WHERE rowid = NEW.order_id;
    INSERT INTO order_words (rowid, words) SELECT id, words FROM order_text WHERE id = NEW.order_id; END;
CREATE TRIGGER order_words_line_anew AFTER UPDATE ON order_line BEGIN
    DELETE FROM order_words WHERE rowid = NEW.order_id;
    INSERT INTO order_words (rowid, words) SELECT id, words FROM order_text WHERE id = NEW.order_id; END;
CREATE TRIGGER order_words_line_out AFTER DELETE ON order_line BEGIN
    DELETE FROM order_words WHERE rowid = OLD.order_id;
    INSERT INTO order_words (rowid, words) SELECT id, words FROM order_text WHERE id = OLD.order_id; END;
CREATE TRIGGER order_words_piece AFTER UPDATE OF title, artist_id ON piece BEGIN
    DELETE FROM order_words WHERE rowid IN (SELECT order_id FROM order_line WHERE piece_id = NEW.id);
    INSERT INTO order_words (rowid, words) SELECT id, words FROM order_text
        WHERE id IN (SELECT order_id FROM order_line WHERE piece_id = NEW.id); END;
