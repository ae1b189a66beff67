"""Where stores and files lie as the system said it: by file system and inode one file is known under two paths."""

from dataclasses import dataclass

from catalogue.records.database import Database, fetch_one, now

# For queries over `file f LEFT JOIN file_place fp ON fp.file_id = f.id LEFT JOIN store_place sp ON sp.store_id =
# f.store_id`. Where nothing was noted yet the store stands for both, as each was taken for a disk of its own.
DISTINCT_FILE = "coalesce(fp.filesystem || ' ' || fp.inode, 'file ' || f.id)"
DISTINCT_DISK = "coalesce(fp.filesystem, sp.filesystem, 'store ' || f.store_id)"


@dataclass(frozen=True, slots=True)
class StorePlace:
    """A store's root when last seen: which file system, and its inode there."""

    filesystem: str
    inode: int


@dataclass(frozen=True, slots=True)
class Spread:
    """How far the files of one scan lie apart: stores, true files (hard links and second mounts once), disks."""

    stores: int
    files: int
    disks: int


def store_place(db: Database, store_id: int) -> StorePlace | None:
    return fetch_one(db, StorePlace, "SELECT filesystem, inode FROM store_place WHERE store_id = ?", [store_id])


def note_store(db: Database, store_id: int, filesystem: str, inode: int) -> None:
    """Note what a store's root is now."""
    db.execute("INSERT OR REPLACE INTO store_place VALUES (?, ?, ?, ?)", [store_id, filesystem, inode, now()])


def note_file(db: Database, file_id: int, filesystem: str, inode: int) -> None:
    """Note which file stands under a path now."""
    db.execute("INSERT OR REPLACE INTO file_place VALUES (?, ?, ?)", [file_id, filesystem, inode])


def spread(db: Database, sha256: str) -> Spread:
    """How far the present files of a scan lie apart, as last seen."""
    found = fetch_one(db, Spread, f"""
        SELECT count(DISTINCT f.store_id) AS stores, count(DISTINCT {DISTINCT_FILE}) AS files,
               count(DISTINCT {DISTINCT_DISK}) AS disks
        FROM file f JOIN scan c ON c.id = f.scan_id JOIN store s ON s.id = f.store_id
        LEFT JOIN file_place fp ON fp.file_id = f.id LEFT JOIN store_place sp ON sp.store_id = f.store_id
        WHERE c.sha256 = ? AND f.state = 'present' AND s.forgotten IS NULL""", [sha256])
    return found or Spread(0, 0, 0)
