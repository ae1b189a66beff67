"""Files of one store that hold the same bytes, as last seen."""

from dataclasses import dataclass, replace

from catalogue.records.copies import HELD
from catalogue.records.preferred_names import HeldScan, filed_with_piece
from catalogue.records.rows import Database, fetch


@dataclass(frozen=True, slots=True)
class DoubledFile:
    """One of two or more files of a store with the same bytes. ``sound``: its last look gave these bytes; ``artist``
    and ``title`` are those of the scan's piece, "" if it has none; ``names``: how many names of this store lead to
    it, more than one for a hard link; ``filed``: it lies where its piece lies."""

    file_id: int
    scan_id: int
    sha256: str
    path: str
    size: int
    mtime_ns: int
    sound: int
    artist: str = ""
    title: str = ""
    names: int = 1
    piece_id: int | None = None
    filed: bool = False


def in_store(db: Database, store_id: int) -> list[DoubledFile]:
    """Doubled files by scan, then path. Two names of one file, as hard links have, are no doubles."""
    doubled = fetch(db, DoubledFile, f"""
        WITH held AS (SELECT * FROM {HELD} h WHERE h.store_id = ?1 AND h.present)
        SELECT held.file_id, held.scan_id, s.sha256, held.path, f.size, f.mtime_ns, held.sound,
               coalesce(a.name, '') AS artist, coalesce(p.title, '') AS title,
               count(*) OVER (PARTITION BY held.true_file) AS names, s.piece_id
        FROM held JOIN scan s ON s.id = held.scan_id JOIN file f ON f.id = held.file_id
        LEFT JOIN piece p ON p.id = s.piece_id LEFT JOIN artist a ON a.id = p.artist_id
        WHERE held.scan_id IN (SELECT scan_id FROM held GROUP BY scan_id HAVING count(DISTINCT true_file) > 1)
        ORDER BY held.scan_id, held.path""", [store_id])
    filed = filed_with_piece(db, [HeldScan(store_id, file.path, file.scan_id, file.piece_id) for file in doubled])
    return [replace(file, filed=True) if (store_id, file.path) in filed else file for file in doubled]
