"""Where stores and files lie as the system said it: by file system and inode one file is known under two paths."""

from dataclasses import dataclass

from catalogue.records.rows import Database, fetch_int, now
from catalogue.storage.identity import Device, shares_device

# store_place.filesystem holds the file system and, a line each, the whole disks below it; those of stores that share a
# device are the same lines. So what follows the first line, or else the file system, tells devices apart.
_DEVICE = "substr({0}.filesystem, instr({0}.filesystem, char(10)) + 1)"
_ON = "instr({0}.filesystem || char(10), fp.filesystem || char(10)) = 1"
# For queries over `file f LEFT JOIN file_place fp ON fp.file_id = f.id LEFT JOIN store_place sp ON sp.store_id =
# f.store_id`. Where nothing was noted yet the store stands for both, as each was taken for a disk of its own.
DISTINCT_FILE = "coalesce(fp.filesystem || ' ' || fp.inode, 'file ' || f.id)"
DISTINCT_DISK = f"""CASE WHEN fp.filesystem IS NULL OR {_ON.format("sp")}
    THEN coalesce({_DEVICE.format("sp")}, 'store ' || f.store_id) ELSE coalesce(
        (SELECT {_DEVICE.format("other")} FROM store_place other WHERE {_ON.format("other")}), fp.filesystem) END"""


@dataclass(frozen=True, slots=True)
class StoreLocation:
    """A store's root when last seen: which file system, and its inode there."""

    filesystem: str
    inode: int


def store_location(db: Database, store_id: int) -> StoreLocation | None:
    """A store's file system and inode as last noted; None where they never were."""
    row = db.execute("SELECT filesystem, inode FROM store_place WHERE store_id = ?", [store_id]).fetchone()
    return None if row is None else StoreLocation(_device(row[0]).filesystem, int(row[1]))


def note_store(db: Database, store_id: int, device: Device, inode: int) -> None:
    """Note what a store's root is now. Stores that share a device with it get the disks of all of them noted."""
    others = {int(row[0]): _device(row[1]) for row in db.execute("SELECT store_id, filesystem FROM store_place")}
    before = others.pop(store_id, device)
    if not device.disks and before.filesystem == device.filesystem:
        device = before  # the system does not tell now what it told then
    together = {store_id: device} | {key: other for key, other in others.items() if shares_device(device, other)}
    disks = frozenset[str]().union(*(each.disks for each in together.values()))
    db.execute("INSERT OR REPLACE INTO store_place VALUES (?, '', ?, ?)", [store_id, inode, now()])
    for key, each in together.items():
        db.execute("UPDATE store_place SET filesystem = ? WHERE store_id = ?",
                   ["\n".join((each.filesystem, *sorted(disks))), key])


def _device(text: str) -> Device:
    filesystem, *disks = text.split("\n")
    return Device(filesystem, frozenset(disks))


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
    """How many devices the stores in use lie on, as last seen; one never looked at is taken for one of its own."""
    return fetch_int(db, f"""SELECT count(DISTINCT coalesce({_DEVICE.format("p")}, 'store ' || s.id)) FROM store s
                             LEFT JOIN store_place p ON p.store_id = s.id WHERE s.forgotten IS NULL""")


def shared_disks(db: Database) -> list[tuple[str, str]]:
    """Names of stores in use, two and two, whose roots lie on one device, as last seen."""
    return [(str(row[0]), str(row[1])) for row in db.execute(f"""
        SELECT a.name, b.name FROM store_place p JOIN store_place q
             ON {_DEVICE.format("q")} = {_DEVICE.format("p")} AND q.store_id <> p.store_id
        JOIN store a ON a.id = p.store_id JOIN store b ON b.id = q.store_id
        WHERE a.forgotten IS NULL AND b.forgotten IS NULL AND a.name < b.name ORDER BY a.name, b.name""")]
