-- Sidecars as an audit last saw them beside a picture. `beside` is which of storage.sidecars.sidecar_names it has, so
-- that a picture renamed with its sidecars keeps them; `gone`: since when it is missing though its picture is there;
-- `fault`: why it cannot be read, '' where it can. Other programs may edit a sidecar: the digest is no promise.
CREATE TABLE sidecar (
    file_id    INTEGER NOT NULL REFERENCES file (id) ON DELETE CASCADE,
    beside     INTEGER NOT NULL,
    sha256     TEXT NOT NULL,
    mtime_ns   INTEGER NOT NULL,
    fault      TEXT NOT NULL DEFAULT '',
    first_seen TEXT NOT NULL,
    gone       TEXT,
    PRIMARY KEY (file_id, beside)
) STRICT, WITHOUT ROWID;
