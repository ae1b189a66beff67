"""Rows used by audits: due files, results, damaged regions, scans a store lacks."""

import sqlite3
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from catalogue.records.copies import HELD
from catalogue.records.files import File
from catalogue.records.paths import stored_mtime
from catalogue.records.preferred_names import HeldScan, filed_with_piece, path_rank
from catalogue.records.rows import Database, exists, fetch, fetch_id, fetch_int, fetch_one, fetch_text, now, save_row
from catalogue.records.stores import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class Due(File):
    """A file whose bytes can be checked: what is on record for it."""

    scan_id: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """A scan that a store lacks, with the path to give it there."""

    scan_id: int
    sha256: str
    size: int
    path: str


def first_turn(db: Database, store_id: int) -> int:
    """The turn for an audit of a store: that of the first audit since the last one that finished.

    So an audit after one that was stopped or killed continues with the remaining files.
    """
    return fetch_int(db, """
        SELECT min(id) FROM run WHERE kind = 'audit' AND store_id = ?1 AND id > coalesce(
            (SELECT max(id) FROM run WHERE kind = 'audit' AND store_id = ?1 AND outcome = 'finished'), 0)""",
        [store_id])


def last_audit(db: Database, store_id: int) -> str:
    """When an audit of a store last came to its end; "" for never."""
    return fetch_text(db, """SELECT max(ended) FROM run WHERE kind IN ('audit', 'spot check') AND store_id = ?
                             AND outcome = 'finished'""", [store_id])


def due(db: Database, store_id: int, turn: int) -> "tuple[array[int], int]":
    """Ids of a store's files that had no ``turn`` yet, oldest turn first, then by path; and their bytes."""
    return _ids_and_bytes(db.execute("""
        SELECT f.id, f.size FROM file f LEFT JOIN fixity_turn t ON t.file_id = f.id
        WHERE f.store_id = ? AND f.scan_id IS NOT NULL AND coalesce(t.turn, 0) < ?
        ORDER BY coalesce(t.turn, 0), f.path""", [store_id, turn]))


def sample(db: Database, store_id: int, share: float) -> "tuple[array[int], int]":
    """Ids of a random ``share`` (0 to 1, at least one file) of a store's files with a digest; and their bytes."""
    return _ids_and_bytes(db.execute("""
        SELECT id, size FROM file WHERE store_id = ?1 AND scan_id IS NOT NULL ORDER BY random()
        LIMIT max(1, CAST(round(?2 * (SELECT count(*) FROM file WHERE store_id = ?1 AND scan_id IS NOT NULL))
                          AS INTEGER))""", [store_id, share]))


def _ids_and_bytes(rows: Iterable[sqlite3.Row]) -> "tuple[array[int], int]":
    ids, total = array("q"), 0
    for file_id, size in rows:
        ids.append(file_id)
        total += size
    return ids, total


def checkable(db: Database, store_id: int) -> int:
    """How many of a store's files have a digest to check against."""
    return fetch_int(db, "SELECT count(*) FROM file WHERE store_id = ? AND scan_id IS NOT NULL", [store_id])


def due_file(db: Database, file_id: int) -> Due | None:
    """A file with the digest it is checked against; None if it has no scan."""
    return fetch_one(db, Due, """SELECT f.*, s.sha256 FROM file f JOIN scan s ON s.id = f.scan_id
                                 WHERE f.id = ?""", [file_id])


def set_turn(db: Database, file_id: int, turn: int) -> None:
    """Note in which turn of audits a file was checked."""
    save_row(db, "fixity_turn", {"file_id": file_id}, {"turn": turn})


def touched(db: Database, file_id: int, mtime_ns: int) -> None:
    """Record that the file's time changed but its bytes did not."""
    db.execute("UPDATE file SET mtime_ns = ? WHERE id = ?", [stored_mtime(mtime_ns), file_id])


def save_damage(db: Database, file_id: int, regions: str) -> None:
    """Note where a file is damaged, in place of what was known."""
    db.execute("INSERT OR REPLACE INTO damage VALUES (?, ?, ?)", [file_id, now(), regions])


def clear_damage(db: Database, file_id: int) -> None:
    """Forget where a file was damaged."""
    db.execute("DELETE FROM damage WHERE file_id = ?", [file_id])


def damage(db: Database, file_id: int) -> str | None:
    """The damage of a file as JSON, or None."""
    return fetch_text(db, "SELECT regions FROM damage WHERE file_id = ?", [file_id]) or None


def open_scan_findings(db: Database, kind: str) -> dict[int, tuple[str, int]]:
    """Scan id to ``(detail, finding id)`` of open findings of a kind that belong to a scan, not to a place."""
    return {int(row[0]): (str(row[1]), int(row[2])) for row in db.execute(
        "SELECT scan_id, detail, id FROM finding WHERE kind = ? AND resolved IS NULL AND scan_id IS NOT NULL"
        " AND store_id IS NULL", [kind])}


def wanted_by(db: Database, target: Store, source: Store | None = None, *, masters_only: bool = False) -> list[Wanted]:
    """Scans held intact by primary stores (or by ``source``) that ``target`` has no intact file of, by path.

    Of several files with the same bytes the path is taken that says best what they are.
    """
    rows = db.execute(f"""
        SELECT s.id, s.sha256, s.bytes, h.path, coalesce(a.name, ''), coalesce(p.title, ''), h.store_id, s.piece_id
        FROM {HELD} h JOIN scan s ON s.id = h.scan_id
        LEFT JOIN piece p ON p.id = s.piece_id LEFT JOIN artist a ON a.id = p.artist_id
        WHERE h.store_id <> ?1 AND h.intact
              AND CASE WHEN ?2 IS NULL THEN h.kind = 'primary' ELSE h.store_id = ?2 END
              AND (NOT ?3 OR s.role = 'master')
              AND s.id NOT IN (SELECT o.scan_id FROM {HELD} o WHERE o.store_id = ?1 AND o.intact)
        ORDER BY s.id""", [target.id, source and source.id, int(masters_only)])
    wanted: list[Wanted] = []
    doubled: list[list[sqlite3.Row]] = []
    for _, group in groupby(rows, key=lambda row: row[0]):
        first, *others = group
        if others:
            doubled.append([first, *others])
        else:
            wanted.append(Wanted(*first[:4]))
    filed = filed_with_piece(db, [HeldScan(row[6], row[3], row[0], row[7]) for held in doubled for row in held])
    for held in doubled:
        best = min(held, key=lambda row: (path_rank(row[3], row[4], row[5], filed=(row[6], row[3]) in filed), row[3]))
        wanted.append(Wanted(*best[:4]))
    return sorted(wanted, key=lambda each: each.path)


def without_source(db: Database, target: Store, source: Store | None, *, masters_only: bool) -> list[tuple[str, bool]]:
    """``(path, could be read)`` of what the sources of :func:`wanted_by` hold, ``target`` lacks, and none has intact.

    Files that never could be read are among them: nobody knows what they show, so they count as masters.
    """
    rows = db.execute(f"""
        SELECT min(h.path) AS path, 1 FROM {HELD} h JOIN scan s ON s.id = h.scan_id
        WHERE h.store_id <> ?1 AND h.present AND (NOT ?3 OR s.role = 'master')
              AND CASE WHEN ?2 IS NULL THEN h.kind = 'primary' ELSE h.store_id = ?2 END
              AND s.id NOT IN (SELECT o.scan_id FROM {HELD} o WHERE o.intact AND (o.store_id = ?1 OR CASE
                                   WHEN ?2 IS NULL THEN o.kind = 'primary' ELSE o.store_id = ?2 END))
        GROUP BY s.id
        UNION ALL
        SELECT f.path, 0 FROM file f JOIN store t ON t.id = f.store_id
        WHERE f.scan_id IS NULL AND f.state = 'present' AND t.forgotten IS NULL AND t.id <> ?1
              AND CASE WHEN ?2 IS NULL THEN t.kind = 'primary' ELSE t.id = ?2 END
        ORDER BY path""", [target.id, source and source.id, int(masters_only)])
    return [(str(row[0]), bool(row[1])) for row in rows]


def manifest_rows(db: Database, store_id: int) -> Iterator[tuple[str, str, int]]:
    """``(path, sha256, size)`` of a store's files with a digest, missing ones included, by path."""
    for row in db.execute("""SELECT f.path, s.sha256, f.size FROM file f JOIN scan s ON s.id = f.scan_id
                             WHERE f.store_id = ? ORDER BY f.path""", [store_id]):
        yield str(row[0]), str(row[1]), int(row[2])


def consented(db: Database, store_id: int) -> bool:
    """Whether a manifest may be written into the store."""
    return exists(db, "SELECT 1 FROM manifest_export WHERE store_id = ? AND consent = 1", [store_id])


def manifest_written(db: Database, store_id: int, sha256: str) -> None:
    """Note that a manifest was written into the store, which took consent."""
    save_row(db, "manifest_export", {"store_id": store_id}, {"consent": 1, "written": now(), "sha256": sha256})


@dataclass(frozen=True, slots=True)
class Baggable:
    """A scan with what its receiver wants to know; ``path`` is that of its file in a primary store, if it has one."""

    sha256: str
    bytes: int
    path: str
    role: str
    artist: str
    title: str
    year: str
    width: int | None
    height: int | None
    ppi_x: float | None
    bits: int | None
    profile_name: str
    captured: str


def baggable(db: Database, *, artist_id: int | None = None, piece_id: int | None = None,
             masters_only: bool = False) -> list[Baggable]:
    """Scans of a piece, of an artist or all, that have a file on record, by artist, title and path."""
    return fetch(db, Baggable, """
        SELECT s.sha256, s.bytes, (SELECT f.path FROM file f JOIN store t ON t.id = f.store_id
                                   WHERE f.scan_id = s.id AND t.forgotten IS NULL
                                   ORDER BY f.state = 'missing', t.kind <> 'primary', t.name, f.path LIMIT 1) AS path,
               s.role, coalesce(a.name, s.creator) AS artist, coalesce(p.title, s.title) AS title,
               coalesce(p.year, '') AS year, s.width, s.height, s.ppi_x, s.bits, s.profile_name, s.captured
        FROM scan s LEFT JOIN piece p ON p.id = s.piece_id LEFT JOIN artist a ON a.id = p.artist_id
        WHERE (?1 IS NULL OR p.artist_id = ?1) AND (?2 IS NULL OR p.id = ?2) AND (NOT ?3 OR s.role = 'master')
              AND EXISTS (SELECT 1 FROM file f JOIN store t ON t.id = f.store_id
                          WHERE f.scan_id = s.id AND t.forgotten IS NULL)
        ORDER BY artist, title, path""", [artist_id, piece_id, int(masters_only)])


def drop_fileless_scan(db: Database, scan_id: int) -> int | None:
    """Drop a scan that no file holds any more; returns the piece that loses it."""
    return fetch_id(db, """DELETE FROM scan WHERE id = ?1 AND NOT EXISTS (SELECT 1 FROM file WHERE scan_id = ?1)
                           RETURNING piece_id""", [scan_id])
