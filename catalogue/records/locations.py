"""Where stores and files lie as the system said it: by file system and inode one file is known under two paths."""

from dataclasses import dataclass

from catalogue.records.rows import Database, fetch_int, fetch_one, now

# For queries over `file f LEFT JOIN file_place fp ON fp.file_id = f.id LEFT JOIN store_place sp ON sp.store_id =
# f.store_id`. Where nothing was noted yet the store stands for both, as each was taken for a disk of its own.
DISTINCT_FILE = "coalesce(fp.filesystem || ' ' || fp.inode, 'file ' || f.id)"
DISTINCT_DISK = "coalesce(fp.filesystem, sp.filesystem, 'store ' || f.store_id)"


@dataclass(frozen=True, slots=True)
class StoreLocation:
    """A store's root when last seen: which file system, and its inode there."""

    filesystem: str
    inode: int


def store_location(db: Database, store_id: int) -> StoreLocation | None:
    return fetch_one(db, StoreLocation, "SELECT filesystem, inode FROM store_place WHERE store_id = ?", [store_id])


def note_store(db: Database, store_id: int, filesystem: str, inode: int) -> None:
    """Note what a store's root is now."""
    db.execute("INSERT OR REPLACE INTO store_place VALUES (?, ?, ?, ?)", [store_id, filesystem, inode, now()])


def note_file(db: Database, file_id: int, filesystem: str, inode: int) -> None:
    """Note which file stands under a path now."""
    db.execute("INSERT OR REPLACE INTO file_place VALUES (?, ?, ?)", [file_id, filesystem, inode])


def forget_file(db: Database, file_id: int) -> None:
    """Where a file lies is not known any more: its store's place stands for it."""
    db.execute("DELETE FROM file_place WHERE file_id = ?", [file_id])


def inodes_of_store(db: Database, store_id: int) -> list[tuple[int, str, int | None]]:
    """``(file id, path, inode)`` of every file of a store with known content; None where no inode was noted."""
    return [(int(row[0]), str(row[1]), row[2]) for row in db.execute("""
        SELECT f.id, f.path, p.inode FROM file f LEFT JOIN file_place p ON p.file_id = f.id
        WHERE f.store_id = ? AND f.scan_id IS NOT NULL""", [store_id])]


def disks_in_use(db: Database) -> int:
    """How many file systems the stores in use lie on, as last seen; one never looked at is taken for one of its own."""
    return fetch_int(db, """SELECT count(DISTINCT coalesce(p.filesystem, 'store ' || s.id)) FROM store s
                            LEFT JOIN store_place p ON p.store_id = s.id WHERE s.forgotten IS NULL""")


def shared_disks(db: Database) -> list[tuple[str, str]]:
    """Names of stores in use, two and two, whose roots lie on one file system, as last seen."""
    return [(str(row[0]), str(row[1])) for row in db.execute("""
        SELECT a.name, b.name FROM store_place p JOIN store_place q
             ON q.filesystem = p.filesystem AND q.store_id <> p.store_id
        JOIN store a ON a.id = p.store_id JOIN store b ON b.id = q.store_id
        WHERE a.forgotten IS NULL AND b.forgotten IS NULL AND a.name < b.name ORDER BY a.name, b.name""")]
