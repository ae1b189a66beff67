"""How many sound copies a scan has, where they are, and when they were last checked: the only source of these answers.

Every count of copies, every statement that a file is sound, and every "last checked" in commands, screens, sheets and
services comes from here.

A file is *intact* if its last look found the bytes on record: it is there, no attempt to read it has failed since, and
no open finding says otherwise. It is *sound* if those bytes also show a whole picture: a faithful copy of a truncated
scan is no use. A copy is a sound file; two of them in one store count once, and so does one file under two paths,
whether by a hard link, a bind mount, a linked folder or a folder added twice (records.locations).
"""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.records.locations import DISTINCT_DISK, DISTINCT_FILE
from catalogue.records.rows import Database, exists, fetch, fetch_one

# Open findings that say a file's bytes are not, or may not be, those on record for it.
DOUBTS = ("changed", "edited", "missing", "truncated", "unreadable", "moved", "damaged", "empty", "not a picture",
          "vanished", "changing", "reader crashed")
_DOUBTS = ", ".join(f"'{kind}'" for kind in DOUBTS)

# One row a file that has a digest on record, in stores in use.
HELD = f"""(
    SELECT f.id AS file_id, f.scan_id, f.store_id, t.name AS store, t.kind, f.path, f.checked_at,
           {DISTINCT_FILE} AS true_file, {DISTINCT_DISK} AS disk, f.state = 'present' AS present,
           f.state = 'present' AND f.failed_at IS NULL AND NOT EXISTS (
               SELECT 1 FROM finding n WHERE n.store_id = f.store_id AND n.path = f.path AND n.resolved IS NULL
                                             AND n.kind IN ({_DOUBTS})) AS intact,
           f.state = 'present' AND f.failed_at IS NULL AND c.content_fault = '' AND NOT EXISTS (
               SELECT 1 FROM finding n WHERE n.store_id = f.store_id AND n.path = f.path AND n.resolved IS NULL
                                             AND n.kind IN ({_DOUBTS})) AS sound
    FROM file f JOIN store t ON t.id = f.store_id JOIN scan c ON c.id = f.scan_id
    LEFT JOIN file_place fp ON fp.file_id = f.id LEFT JOIN store_place sp ON sp.store_id = f.store_id
    WHERE t.forgotten IS NULL)"""


@dataclass(frozen=True, slots=True)
class Copies:
    """A scan's copies. ``stores`` and ``off_site`` count stores with a sound file, ``present`` files seen there.

    ``stores`` is never more than there are true files. ``disks`` counts the devices that sound files are on; two
    partitions of one disk are one.

    ``checked_at`` is the latest check among sound files; ``path`` names one of its files, sound or not.
    """

    scan_id: int
    sha256: str
    stores: int
    off_site: int
    disks: int
    present: int
    checked_at: str | None
    path: str

    def counted(self, *, one_disk: bool) -> int:
        """The number of copies: those on one disk count as one, since they are lost together, unless ``one_disk``."""
        return self.stores if one_disk else min(self.stores, self.disks)


@dataclass(frozen=True, slots=True)
class Holder:
    """A file recorded as holding a scan's bytes, with its store. ``sound`` implies ``intact``, which implies
    ``present``."""

    file_id: int
    scan_id: int
    store_id: int
    store: str
    kind: str
    path: str
    checked_at: str | None
    true_file: str
    disk: str
    present: int
    intact: int
    sound: int


_COPIES = """SELECT s.id AS scan_id, s.sha256,
                     min(count(DISTINCT CASE WHEN h.sound THEN h.store_id END),
                         count(DISTINCT CASE WHEN h.sound THEN h.true_file END)) AS stores,
                     count(DISTINCT CASE WHEN h.sound AND h.kind = 'off-site' AND NOT EXISTS (
                         SELECT 1 FROM file_place mine JOIN file_place other USING (inode, filesystem)
                         JOIN file o ON o.id = other.file_id JOIN store ot ON ot.id = o.store_id
                         WHERE mine.file_id = h.file_id AND other.file_id <> h.file_id AND ot.forgotten IS NULL
                               AND ot.kind <> 'off-site' AND NOT EXISTS (
                                   SELECT 1 FROM store_place op WHERE op.store_id = o.store_id
                                          AND op.filesystem = other.filesystem AND op.device <> h.disk))
                         THEN h.store_id END) AS off_site,
                     count(DISTINCT CASE WHEN h.sound THEN h.disk END) AS disks,
                     coalesce(sum(h.present), 0) AS present, max(CASE WHEN h.sound THEN h.checked_at END) AS checked_at,
                     coalesce(min(h.path), '') AS path"""


def of_masters(db: Database, scan_ids: Sequence[int] | None = None) -> list[Copies]:
    """Copies of every master scan that some file is recorded as holding, or of those among ``scan_ids``.

    A scan that no file on record holds, as after an accepted edit, is history and needs no copies.
    """
    some = "" if scan_ids is None else f"AND s.id IN ({', '.join('?' * len(scan_ids))})"
    return fetch(db, Copies, f"""{_COPIES} FROM scan s JOIN {HELD} h ON h.scan_id = s.id
                                 WHERE s.role = 'master' {some} GROUP BY s.id ORDER BY s.id""", scan_ids or [])


def of_scan(db: Database, scan_id: int) -> Copies:
    """One scan's copies; zeros if no file holds it."""
    copies = fetch_one(db, Copies, f"""{_COPIES} FROM scan s JOIN {HELD} h ON h.scan_id = s.id
                                      WHERE s.id = ? GROUP BY s.id""", [scan_id])
    return copies or Copies(scan_id, "", 0, 0, 0, 0, None, "")


def holders(db: Database, sha256: str) -> list[Holder]:
    """Files that should hold a scan: sound ones first, latest check first."""
    return fetch(db, Holder, f"""
        SELECT h.* FROM {HELD} h JOIN scan s ON s.id = h.scan_id WHERE s.sha256 = ?
        ORDER BY h.sound DESC, h.intact DESC, h.checked_at DESC, h.kind <> 'primary', h.store, h.path""", [sha256])


def is_intact(db: Database, file_id: int) -> bool:
    """Whether a file is there and holds the bytes on record for it, as last seen."""
    return exists(db, f"SELECT 1 FROM {HELD} h WHERE h.file_id = ? AND h.intact", [file_id])


def is_sound(db: Database, file_id: int) -> bool:
    """Whether a file is there, holds the bytes on record for it, and they show a whole picture."""
    return exists(db, f"SELECT 1 FROM {HELD} h WHERE h.file_id = ? AND h.sound", [file_id])
