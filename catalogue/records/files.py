"""File rows: one path in one store."""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from catalogue.records.paths import stored_mtime
from catalogue.records.rows import Database, chunks, fetch, fetch_one, fetch_text, now

UNREAD = "not read yet"  # ``File.failure`` of a file found with another size or time, or back after it was missing
NOT_READ_HERE = "not read on this disk"  # ``File.failure`` of a file that was read on the disk its store was on before


@dataclass(frozen=True, slots=True)
class File:
    """``scan_id``, ``size`` and ``mtime_ns`` are those of the last known content, whatever later looks found.

    ``failed_at`` and ``failure`` tell of the last look where that did not give this content; None and "" otherwise.
    """

    id: int
    store_id: int
    path: str
    size: int
    mtime_ns: int
    scan_id: int | None
    state: str
    first_seen: str
    read_at: str
    checked_at: str | None
    failed_at: str | None
    failure: str


@dataclass(frozen=True, slots=True)
class Located:
    """A file with the store it is in, for showing and opening."""

    id: int
    store_id: int
    store: str
    root: str
    kind: str
    path: str
    size: int
    state: str
    checked_at: str | None
    read_at: str


_LOCATED = """SELECT f.id, f.store_id, s.name AS store, s.root, s.kind, f.path, f.size, f.state, f.checked_at, f.read_at
              FROM file f JOIN store s ON s.id = f.store_id"""
_IN_USE = "AND s.forgotten IS NULL ORDER BY f.state = 'missing', s.kind <> 'primary', s.name, f.path"


def pictures_called(db: Database, store_id: int, named: str, *, masters_only: bool = False) -> list[File]:
    """Present files whose path, with or without its suffix, is ``named``."""
    return fetch(db, File, """
        SELECT f.* FROM file f LEFT JOIN scan s ON s.id = f.scan_id
        WHERE f.store_id = ?1 AND f.path >= ?2 AND f.path < ?2 || '/' AND f.state = 'present'
              AND (NOT ?3 OR s.role = 'master') AND (f.path = ?2 OR (substr(f.path, length(?2) + 1, 1) = '.'
                  AND instr(substr(f.path, length(?2) + 2), '.') = 0
                  AND instr(substr(f.path, length(?2) + 2), '/') = 0))
        ORDER BY f.path""", [store_id, named, int(masters_only)])


def paths_of_scan(db: Database, store_id: int, scan_id: int) -> list[str]:
    """Paths of a store's present files with a scan's bytes."""
    return [str(row[0]) for row in db.execute("""SELECT path FROM file WHERE store_id = ? AND scan_id = ?
                                                 AND state = 'present' ORDER BY path""", [store_id, scan_id])]


def known(db: Database, store_id: int) -> Iterator[tuple[str, int, int, str, int, int]]:
    """``(path, size, mtime_ns, state, id, failed)`` of every file of a store in binary order of path; flat in memory.

    ``failed`` is 1 where the last look did not give the known content.
    """
    cursor = db.conn.cursor()
    cursor.row_factory = None  # plain tuples: this runs once a file on every index run
    cursor.execute("SELECT path, size, mtime_ns, state, id, failed_at IS NOT NULL FROM file WHERE store_id = ?"
                   " ORDER BY path", [store_id])
    yield from cursor


def missing_twin(db: Database, store_id: int, scan_id: int, but: str) -> File | None:
    """A missing file of the same store with the same scan: where the file found at ``but`` was moved from."""
    return fetch_one(db, File, """SELECT * FROM file WHERE scan_id = ? AND store_id = ? AND state = 'missing'
                                  AND path <> ? ORDER BY id LIMIT 1""", [scan_id, store_id, but])


def by_path(db: Database, store_id: int, path: str) -> File | None:
    """The file on record at a path of a store; None if there is none."""
    return fetch_one(db, File, "SELECT * FROM file WHERE store_id = ? AND path = ?", [store_id, path])


def by_id(db: Database, file_id: int) -> File | None:
    """The file of that id; None if there is none."""
    return fetch_one(db, File, "SELECT * FROM file WHERE id = ?", [file_id])


def save(db: Database, store_id: int, path: str, size: int, mtime_ns: int, scan_id: int | None, *,
         verified: bool) -> int:
    """Record the content of the file at ``path``; returns its id. ``verified``: its digest was taken now. If not,
    that content was never checked there, whatever was before."""
    moment = now()
    row = db.execute("""
        INSERT INTO file (store_id, path, size, mtime_ns, scan_id, state, first_seen, read_at, checked_at)
        VALUES (?, ?, ?, ?, ?, 'present', ?, ?, ?)
        ON CONFLICT (store_id, path) DO UPDATE SET size = excluded.size, mtime_ns = excluded.mtime_ns,
            scan_id = excluded.scan_id, state = 'present', read_at = excluded.read_at, failed_at = NULL, failure = '',
            checked_at = excluded.checked_at
        RETURNING id""",
        [store_id, path, size, stored_mtime(mtime_ns), scan_id, moment, moment,
         moment if verified else None]).fetchone()
    return int(row[0])


def sha256_of(db: Database, file_id: int) -> str:
    """The digest of a file's last known content; "" if it has none."""
    return fetch_text(db, "SELECT s.sha256 FROM file f JOIN scan s ON s.id = f.scan_id WHERE f.id = ?", [file_id])


def note_failure(db: Database, file_id: int, failure: str, *, present: bool | None = None) -> None:
    """Record a look that did not find the file's known content, which is kept; the next index run tries again.

    ``present`` says whether something was there; None if the look does not tell.
    """
    db.execute("""UPDATE file SET failed_at = ?, failure = ?,
                  state = CASE ? WHEN 1 THEN 'present' WHEN 0 THEN 'missing' ELSE state END WHERE id = ?""",
               [now(), failure, present, file_id])


def mark_missing(db: Database, file_ids: Iterable[int]) -> int:
    """Returns how many of them were recorded as present until now."""
    cursor = db.conn.executemany("UPDATE file SET state = 'missing' WHERE id = ? AND state <> 'missing'",
                               [(i,) for i in file_ids])
    return max(0, cursor.rowcount)


def mark_present(db: Database, file_ids: Iterable[int]) -> None:
    """Note that these files are there again."""
    db.conn.executemany("UPDATE file SET state = 'present' WHERE id = ?", [(i,) for i in file_ids])


def mark_unread(db: Database, file_ids: Iterable[int]) -> None:
    """Record that something not read yet is at these paths: no copy until it is read.

    The reason of an earlier failed look is kept.
    """
    moment = now()
    db.conn.executemany("""UPDATE file SET state = 'present', failed_at = coalesce(failed_at, ?),
                           failure = CASE WHEN failed_at IS NULL THEN ? ELSE failure END WHERE id = ?""",
                        [(moment, UNREAD, i) for i in file_ids])


def mark_not_read_here(db: Database, file_ids: Iterable[int]) -> None:
    """Record that whatever is at these paths now is not the file that was read: no copy until it is read.

    The reason of an earlier failed look is kept.
    """
    db.conn.executemany("UPDATE file SET failed_at = ?, failure = ? WHERE id = ? AND failed_at IS NULL",
                        [(now(), NOT_READ_HERE, i) for i in file_ids])


def mark_checked(db: Database, file_id: int, moment: str) -> None:
    """Its bytes agreed with its digest at ``moment``."""
    db.execute("UPDATE file SET checked_at = ?, state = 'present', failed_at = NULL, failure = '' WHERE id = ?",
               [moment, file_id])


def forget(db: Database, file_id: int) -> None:
    """Delete the row of a file that was found at another path."""
    db.execute("DELETE FROM file WHERE id = ?", [file_id])


def of_scan(db: Database, scan_id: int) -> list[Located]:
    """Where one scan lies, primary stores first."""
    return fetch(db, Located, f"{_LOCATED} WHERE f.scan_id = ? {_IN_USE}", [scan_id])


def present_files(db: Database, sha256: str) -> list[Located]:
    """Where a scan is now, as last seen, in stores in use; primary stores first."""
    return fetch(db, Located, f"""{_LOCATED} JOIN scan c ON c.id = f.scan_id
        WHERE c.sha256 = ? AND f.state = 'present' {_IN_USE}""", [sha256])


def of_piece(db: Database, piece_id: int) -> list[tuple[int, Located]]:
    """``(scan_id, file)`` for every scan of a piece."""
    return _with_scan(db, "JOIN scan c ON c.id = f.scan_id WHERE c.piece_id = ?", [piece_id])


def _with_scan(db: Database, where: str, values: list[int]) -> list[tuple[int, Located]]:
    rows = db.execute(_LOCATED.replace("SELECT ", "SELECT f.scan_id AS scan_id, ", 1) + f" {where} {_IN_USE}", values)
    return [(row["scan_id"], Located(**{name: row[name] for name in row.keys() if name != "scan_id"}))  # noqa: SIM118
            for row in rows]


def first_of_scans(db: Database, scan_ids: Iterable[int]) -> dict[int, Located]:
    """One place of each scan, that which :func:`of_scan` puts first; scans without a file are left out."""
    located: dict[int, Located] = {}
    for part in chunks(scan_ids):
        for scan_id, file in _with_scan(db, f"WHERE f.scan_id IN ({', '.join('?' * len(part))})", part):
            located.setdefault(scan_id, file)
    return located


def ending_with(db: Database, path: str) -> list[Located]:
    """Files whose path is ``path`` or ends with ``/path``; at most ten."""
    return fetch(db, Located, f"""{_LOCATED} WHERE s.forgotten IS NULL
        AND (f.path = ?1 OR substr(f.path, -length(?1) - 1) = '/' || ?1) ORDER BY s.name, f.path LIMIT 10""", [path])


def with_hidden_signs(db: Database) -> list[Located]:
    """Files whose path contains control characters or undecodable bytes."""
    return fetch(db, Located, f"""{_LOCATED} WHERE s.forgotten IS NULL
        AND (instr(f.path, '//') OR f.path GLOB '*[' || char(1) || '-' || char(31) || ']*') ORDER BY s.name, f.path""")


def located(db: Database, file_id: int) -> Located | None:
    """A file with its store; None if there is no such file."""
    return fetch_one(db, Located, _LOCATED + " WHERE f.id = ?", [file_id])


@dataclass(frozen=True, slots=True)
class FilenameMatch:
    """A file found by its bare name, with the content it holds; ``kind`` is its store's."""

    path: str
    kind: str
    sha256: str
    piece_id: int | None
    role: str


def bare_name(path: str) -> str:
    """The last part of a path as names are compared: Unicode composed, case folded."""
    return unicodedata.normalize("NFC", re.split(r"[/\\]", path)[-1]).casefold()


def find_by_filename(db: Database, names: set[str]) -> dict[str, list[FilenameMatch]]:
    """Readable files by :func:`bare_name`, one entry a content and path, for the names wanted; one pass over all."""
    matches: dict[str, list[FilenameMatch]] = {}
    for path, *facts in db.execute("""SELECT f.path, s.kind, c.sha256, c.piece_id, c.role FROM file f
                                      JOIN scan c ON c.id = f.scan_id JOIN store s ON s.id = f.store_id
                                      ORDER BY f.id"""):
        name = bare_name(path)
        if name in names:
            matches.setdefault(name, []).append(FilenameMatch(path, *facts))
    return matches
