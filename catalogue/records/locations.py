"""Store and file locations as the system reports them: file system and inode identify a file under any path."""

from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

from catalogue.disjoint import tied_sets
from catalogue.records.rows import Database, fetch_int, now
from catalogue.storage.devices import Device, shares_device, with_noted_numbers
from catalogue.storage.mounts import server_name

# store_place.disks holds, a line each, the whole disks below a store, or its server; store_place.device is the same
# text for all stores that are lost together.
# For queries over `file f LEFT JOIN file_place fp ON fp.file_id = f.id LEFT JOIN store_place sp ON sp.store_id =
# f.store_id`. Where nothing was noted yet the store stands for both, as each was taken for a disk of its own.
DISTINCT_DISK = """CASE WHEN fp.filesystem IS NULL OR fp.filesystem = sp.filesystem
    THEN coalesce(sp.device, 'store ' || f.store_id) ELSE coalesce(
        (SELECT other.device FROM store_place other WHERE other.filesystem = fp.filesystem), fp.filesystem) END"""
# With the device: a file system cloned bit for bit has the same inodes on a disk of its own.
DISTINCT_FILE = f"coalesce({DISTINCT_DISK} || ' ' || fp.filesystem || ' ' || fp.inode, 'file ' || f.id)"


@dataclass(frozen=True, slots=True)
class StoreLocation:
    """A store's root when last seen: on what it lay, and its inode there."""

    device: Device
    inode: int


class SharedDevice(NamedTuple):
    """Names of two stores that are lost together, and the server on which both lie; "" if it is one disk."""

    first: str
    second: str
    server: str


def store_location(db: Database, store_id: int) -> StoreLocation | None:
    """A store's device and inode as last noted; None if they never were."""
    row = db.execute("SELECT filesystem, disks, inode FROM store_place WHERE store_id = ?", [store_id]).fetchone()
    return None if row is None else StoreLocation(_device(row[0], row[1]), int(row[2]))


def note_store(db: Database, store_id: int, device: Device, inode: int) -> None:
    """Record a store's current location, and recompute which stores are lost together."""
    before = store_location(db, store_id)
    if before is not None and before.device.filesystem == device.filesystem:
        # kept: what the system no longer reports
        device = with_noted_numbers(device, before.device) if device.disks else before.device
    db.execute("INSERT OR REPLACE INTO store_place (store_id, filesystem, inode, seen, disks) VALUES (?, ?, ?, ?, ?)",
               [store_id, device.filesystem, inode, now(), "\n".join(sorted(device.disks))])
    devices = {int(row[0]): _device(row[1], row[2])
               for row in db.execute("SELECT store_id, filesystem, disks FROM store_place")}
    sharing = (pair for pair in combinations(devices, 2) if shares_device(*(devices[key] for key in pair)))
    for together in tied_sets(devices, sharing):
        disks = frozenset[str]().union(*(devices[key].disks for key in together))
        text = "\n".join(sorted(disks)) or devices[together[0]].filesystem
        for key in together:
            db.execute("UPDATE store_place SET device = ? WHERE store_id = ? AND device <> ?", [text, key, text])


def _device(filesystem: str, disks: str) -> Device:
    return Device(filesystem, frozenset(disks.split("\n")) if disks else frozenset())


def note_file(db: Database, file_id: int, filesystem: str, inode: int) -> None:
    """Note which file stands under a path now."""
    db.execute("INSERT OR REPLACE INTO file_place VALUES (?, ?, ?)", [file_id, filesystem, inode])


def forget_file(db: Database, file_id: int) -> None:
    """Forget a file's location; its store's location is used instead."""
    db.execute("DELETE FROM file_place WHERE file_id = ?", [file_id])


def inodes_of_store(db: Database, store_id: int) -> list[tuple[int, str, int | None]]:
    """``(file id, path, inode)`` of every file of a store with known content; None if no inode was noted."""
    return [(int(row[0]), str(row[1]), row[2]) for row in db.execute("""
        SELECT f.id, f.path, p.inode FROM file f LEFT JOIN file_place p ON p.file_id = f.id
        WHERE f.store_id = ? AND f.scan_id IS NOT NULL""", [store_id])]


def disks_in_use(db: Database) -> int:
    """How many devices the stores in use are on, as last seen; one never looked at is taken for one of its own."""
    return fetch_int(db, """SELECT count(DISTINCT coalesce(p.device, 'store ' || s.id)) FROM store s
                            LEFT JOIN store_place p ON p.store_id = s.id WHERE s.forgotten IS NULL""")


def shared_disks(db: Database) -> list[SharedDevice]:
    """Stores in use, two and two, whose roots are on one disk or server, as last seen."""
    return [SharedDevice(str(row[0]), str(row[1]), server_name(str(row[2]).split("\n"))) for row in db.execute("""
        SELECT a.name, b.name, p.device FROM store_place p
        JOIN store_place q ON q.device = p.device AND q.store_id <> p.store_id
        JOIN store a ON a.id = p.store_id JOIN store b ON b.id = q.store_id
        WHERE a.forgotten IS NULL AND b.forgotten IS NULL AND a.name < b.name ORDER BY a.name, b.name""")]
