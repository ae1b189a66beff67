"""Queries for intake: who holds a scan, the latest capture notes, what an interrupted intake had planned."""

import json
from collections.abc import Iterator
from dataclasses import dataclass

from catalogue.records import pieces
from catalogue.records.rows import Database, exists, fetch, fetch_text, now, save_row
from catalogue.records.scans import COLUMNS, Scan


@dataclass(frozen=True, slots=True)
class FiledFile:
    """A file with what the naming rule needs to know of it."""

    file_id: int
    path: str
    size: int
    sha256: str
    role: str
    captured: str
    mtime_ns: int
    piece_id: int | None
    artist: str
    title: str
    year: str


def of_pixels(db: Database, pixel_digest: str) -> list[Scan]:
    """Scans whose pixels are the same, whatever their metadata."""
    if not pixel_digest:
        return []
    return fetch(db, Scan, f"SELECT {COLUMNS} FROM scan WHERE pixel_digest = ? ORDER BY id", [pixel_digest])


def last_capture(db: Database, artist_id: int | None, relief_mm: float | None) -> dict[str, str]:
    """The notes of the artist's newest noted scan, of the nearest relief depth where one is given; else of anyone's."""
    row = db.execute("""
        SELECT c.capture FROM scan c LEFT JOIN piece p ON p.id = c.piece_id
        WHERE c.capture <> '{}'
        ORDER BY p.artist_id IS NOT ?1,
                 CASE WHEN ?2 IS NULL THEN 0 WHEN p.relief_mm IS NULL THEN 1e9 ELSE abs(p.relief_mm - ?2) END,
                 c.captured DESC, c.id DESC LIMIT 1""", [artist_id, relief_mm]).fetchone()
    return dict(json.loads(row[0])) if row else {}


def set_relief(db: Database, piece_id: int, relief_mm: float) -> None:
    """Note the depth of a piece's relief where nobody has yet."""
    if exists(db, "SELECT 1 FROM piece WHERE id = ? AND relief_mm IS NULL", [piece_id]):
        pieces.state(db, piece_id, {"relief_mm": relief_mm})


def plan(db: Database, run_id: int, store_id: int, source: str, size: int, sha256: str, target: str) -> None:
    """Note what is about to be copied."""
    save_row(db, "intake_file", {"store_id": store_id, "target": target, "sha256": sha256},
             {"run_id": run_id, "source": source, "state": "planned"}, {"size": size})


def set_state(db: Database, store_id: int, target: str, sha256: str, state: str) -> None:
    """``state`` is ``recorded`` or ``source removed``."""
    db.execute("UPDATE intake_file SET state = ? WHERE store_id = ? AND target = ? AND sha256 = ?",
               [state, store_id, target, sha256])


def planned_target(db: Database, store_id: int, sha256: str) -> str | None:
    """Where an intake cut short meant to put these bytes."""
    return fetch_text(db, """SELECT target FROM intake_file WHERE store_id = ? AND sha256 = ? AND state = 'planned'
                             ORDER BY id DESC LIMIT 1""", [store_id, sha256]) or None


def end_killed_runs(db: Database) -> int:
    """Runs of intake that were killed are ended as failed; returns how many."""
    cursor = db.execute("UPDATE run SET ended = ?, outcome = 'failed' WHERE kind = 'intake' AND outcome = 'running'",
                      [now()])
    return int(cursor.rowcount)


def names_in(db: Database, store_id: int, folder: str) -> list[str]:
    """Names of the present files that lie directly in a folder of a store (as kept; "" is its root), as last seen."""
    start = f"{folder}/" if folder else ""
    upper = f"{folder}0" if folder else "\U0010ffff"  # "0" follows "/"
    return [str(row[0]) for row in db.execute("""
        SELECT substr(path, length(?2) + 1) FROM file
        WHERE store_id = ?1 AND path >= ?2 AND path < ?3 AND state = 'present'
              AND instr(substr(path, length(?2) + 1), '/') = 0""", [store_id, start, upper])]


_FILED = """
    SELECT f.id AS file_id, f.path, f.size, c.sha256, c.role, c.captured, f.mtime_ns, c.piece_id,
           coalesce(a.name, '') AS artist, coalesce(p.title, '') AS title, coalesce(p.year, '') AS year
    FROM file f JOIN scan c ON c.id = f.scan_id LEFT JOIN piece p ON p.id = c.piece_id
    LEFT JOIN artist a ON a.id = p.artist_id WHERE f.state = 'present'"""


def filed_files(db: Database, store_id: int) -> Iterator[FiledFile]:
    """A store's present files, piece by piece, in the order of scanning within one; flat in memory."""
    for row in db.execute(_FILED + " AND f.store_id = ? ORDER BY c.piece_id, c.role, c.captured, f.path", [store_id]):
        yield FiledFile(**dict(row))


def pieces_without_master(db: Database, role: str) -> Iterator[tuple[str, str, str, str]]:
    """``(artist, title, store, path)`` of present files in ``role`` whose piece has no master, or that have none."""
    for row in db.execute("""
            SELECT coalesce(a.name, ''), coalesce(p.title, ''), s.name, f.path
            FROM scan c JOIN file f ON f.scan_id = c.id AND f.state = 'present' JOIN store s ON s.id = f.store_id
            LEFT JOIN piece p ON p.id = c.piece_id LEFT JOIN artist a ON a.id = p.artist_id
            WHERE c.role = ? AND s.forgotten IS NULL AND NOT EXISTS (
                SELECT 1 FROM scan m WHERE m.piece_id = c.piece_id AND m.role = 'master')
            ORDER BY 1, 2, f.path""", [role]):
        yield tuple(row)


def moved(db: Database, file_id: int, path: str) -> None:
    """Record that a file has a new path in the same store.

    A row at that path is deleted if its file is missing, or is this very file, found by an index run in between.
    """
    db.execute("""DELETE FROM file WHERE path = ?2 AND id <> ?1
                  AND store_id = (SELECT store_id FROM file WHERE id = ?1)
                  AND (state = 'missing' OR scan_id = (SELECT scan_id FROM file WHERE id = ?1))""", [file_id, path])
    db.execute("UPDATE file SET path = ?, state = 'present' WHERE id = ?", [path, file_id])
