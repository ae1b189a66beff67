-- What the system said a store's root and a file were when last looked at: two rows with one inode of one file system
-- are one file, under whatever path. `filesystem` is storage.identity.filesystem_id, which stays over unmounting.

CREATE TABLE store_place (
    store_id   INTEGER PRIMARY KEY REFERENCES store (id) ON DELETE CASCADE,
    filesystem TEXT NOT NULL,
    inode      INTEGER NOT NULL,
    seen       TEXT NOT NULL
) STRICT;

CREATE TABLE file_place (
    file_id    INTEGER PRIMARY KEY REFERENCES file (id) ON DELETE CASCADE,
    filesystem TEXT NOT NULL,
    inode      INTEGER NOT NULL
) STRICT;
CREATE INDEX file_place_by_inode ON file_place (inode, filesystem);
