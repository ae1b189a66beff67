-- Print files made for order lines: the recipe, and what came of it, so that the very same file can be made again.
CREATE TABLE print_file (
    id           INTEGER PRIMARY KEY,
    line_id      INTEGER NOT NULL REFERENCES order_line (id),
    made         TEXT NOT NULL,              -- ISO 8601, UTC
    recipe       TEXT NOT NULL,              -- print_files.recipe.Recipe as JSON
    versions     TEXT NOT NULL,              -- of program and libraries, JSON
    width        INTEGER NOT NULL,           -- pixels of the whole file
    height       INTEGER NOT NULL,
    size         INTEGER NOT NULL,           -- bytes
    sha256       TEXT NOT NULL,              -- of the file
    pixel_digest TEXT NOT NULL,              -- as scan.pixel_digest of it would be
    folder       TEXT NOT NULL,              -- where it was put, as kept paths are
    name         TEXT NOT NULL
) STRICT;
CREATE INDEX print_file_by_line ON print_file (line_id, id);
CREATE INDEX print_file_by_pixels ON print_file (pixel_digest);
CREATE TRIGGER print_file_stays BEFORE UPDATE ON print_file WHEN NOT replaying() BEGIN
    SELECT RAISE(ABORT, 'what was made stays on record as it was'); END;
CREATE TRIGGER print_file_is_history BEFORE DELETE ON print_file WHEN NOT replaying() BEGIN
    SELECT RAISE(ABORT, 'what was made stays on record'); END;
