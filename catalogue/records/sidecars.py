"""Sidecar rows: what was beside a picture at the last audit, and the faults that follow for each copy."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from catalogue.records.finding_kinds import SIDECAR_KINDS
from catalogue.records.rows import Database, exists, fetch, now

MISSING, DAMAGED, DIFFERS = KINDS = SIDECAR_KINDS


@dataclass(frozen=True, slots=True)
class SeenSidecar:
    """One sidecar as just read. ``beside``: which of ``storage.sidecars.sidecar_names`` it has; ``fault``: why it
    cannot be read, "" if it can."""

    beside: int
    sha256: str
    mtime_ns: int
    fault: str = ""


@dataclass(frozen=True, slots=True)
class SidecarFault:
    """One thing wrong with a sidecar of a picture that is there. ``other``: the store that has it, or the newer one
    (``mtime_ns``), "" if none is on record; ``fault`` as in :class:`SeenSidecar`."""

    kind: str
    store_id: int
    path: str
    file_id: int
    scan_id: int | None
    beside: int
    fault: str
    other: str
    mtime_ns: int


def note(db: Database, file_id: int, seen: Sequence[SeenSidecar]) -> None:
    """Note what is beside a file; what was there before and no longer is counts as missing. Within a transaction."""
    known = {int(row[0]) for row in db.execute("SELECT beside FROM sidecar WHERE file_id = ?", [file_id])}
    present = {sidecar.beside for sidecar in seen}
    for sidecar in seen:
        db.execute("""INSERT INTO sidecar (file_id, beside, sha256, mtime_ns, fault, first_seen)
                      VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET sha256 = excluded.sha256,
                      mtime_ns = excluded.mtime_ns, fault = excluded.fault, gone = NULL""",
                   [file_id, sidecar.beside, sidecar.sha256, sidecar.mtime_ns, sidecar.fault, now()])
    for beside in known - present:
        if beside ^ 1 in present:  # the same name with its suffix in other capitals
            db.execute("DELETE FROM sidecar WHERE file_id = ? AND beside = ?", [file_id, beside])
        else:
            db.execute("UPDATE sidecar SET gone = coalesce(gone, ?) WHERE file_id = ? AND beside = ?",
                       [now(), file_id, beside])


def accept_missing(db: Database, file_id: int) -> None:
    """Note that the sidecars missing beside a file are so on purpose, those that copies have too: until one was seen
    there again, it is not missing. Within a transaction."""
    db.execute("UPDATE sidecar SET gone = '' WHERE file_id = ? AND gone IS NOT NULL", [file_id])
    db.execute("""INSERT INTO sidecar (file_id, beside, sha256, mtime_ns, first_seen, gone)
                  SELECT f.id, o.beside, '', 0, ?, '' FROM file f
                  JOIN file c ON c.scan_id = f.scan_id AND c.store_id <> f.store_id JOIN sidecar o ON o.file_id = c.id
                  WHERE f.id = ? AND NOT EXISTS (
                      SELECT 1 FROM sidecar own WHERE own.file_id = f.id AND own.beside / 2 = o.beside / 2)
                  GROUP BY o.beside""", [now(), file_id])


def newest_elsewhere(db: Database, file_id: int) -> tuple[str, str, bool] | None:
    """Name and kind of the store that has the newest sound sidecar of a file's copies in other stores, and whether it
    is newer than one beside the file that differs, which such are asked for first; None if none is on record."""
    row = db.execute("""
        SELECT t.name, t.kind, coalesce(s.mtime_ns > own.mtime_ns, 0) AS newer
        FROM file f JOIN file c ON c.scan_id = f.scan_id AND c.store_id <> f.store_id
               AND c.state = 'present' JOIN store t ON t.id = c.store_id AND t.forgotten IS NULL
        JOIN sidecar s ON s.file_id = c.id AND s.gone IS NULL AND s.fault = ''
        LEFT JOIN sidecar own ON own.file_id = f.id AND own.beside / 2 = s.beside / 2 AND own.gone IS NULL
                  AND own.fault = '' AND own.sha256 <> s.sha256
        WHERE f.id = ? ORDER BY newer DESC, s.mtime_ns DESC, t.kind <> 'primary', t.name LIMIT 1""",
                     [file_id]).fetchone()
    return None if row is None else (str(row[0]), str(row[1]), bool(row[2]))


def any_gone(db: Database, file_id: int) -> bool:
    """Whether a sidecar of a file is missing."""
    return exists(db, "SELECT 1 FROM sidecar WHERE file_id = ? AND gone <> ''", [file_id])


# A picture that is there in a store in use, and a sidecar as last seen beside it.
_SEEN = """sidecar s JOIN file f ON f.id = s.file_id AND f.state = 'present'
           JOIN store t ON t.id = f.store_id AND t.forgotten IS NULL"""
# A sound sidecar `o` of the same name beside a file `of` with the same bytes in another store `ot`.
_OTHER = """SELECT {} FROM file of JOIN sidecar o ON o.file_id = of.id JOIN store ot ON ot.id = of.store_id
            WHERE of.scan_id = f.scan_id AND of.store_id <> f.store_id AND of.state = 'present'
                  AND ot.forgotten IS NULL AND o.beside / 2 = s.beside / 2 AND o.gone IS NULL AND o.fault = ''"""
_NEWEST = "ORDER BY o.mtime_ns DESC, ot.kind <> 'primary', ot.name, of.path LIMIT 1"


def faults(db: Database) -> Iterator[SidecarFault]:
    """What is wrong with sidecars, as last seen, in order of store and path.

    Missing is what was seen beside a file, and what a master has in a primary store though its copy was audited since.
    Of two that differ the older one is named, for masters; those of one store are not compared.
    """
    yield from fetch(db, SidecarFault, f"""
        SELECT CASE WHEN s.gone IS NULL THEN ? ELSE ? END AS kind, f.store_id, f.path, f.id AS file_id, f.scan_id,
               s.beside, s.fault, coalesce(({_OTHER.format("ot.name")} {_NEWEST}), '') AS other, 0 AS mtime_ns
        FROM {_SEEN} WHERE s.gone <> '' OR s.gone IS NULL AND s.fault <> ''
        UNION
        SELECT ?, c.store_id, c.path, c.id, c.scan_id, s.beside, '', min(t.name), 0
        FROM {_SEEN} JOIN scan ON scan.id = f.scan_id AND scan.role = 'master'
        JOIN file c ON c.scan_id = f.scan_id AND c.store_id <> f.store_id AND c.state = 'present'
             AND c.checked_at >= s.first_seen
        JOIN store ct ON ct.id = c.store_id AND ct.forgotten IS NULL AND ct.kind <> 'primary'
        WHERE t.kind = 'primary' AND s.gone IS NULL AND s.fault = ''
              AND NOT EXISTS (SELECT 1 FROM sidecar own WHERE own.file_id = c.id AND own.beside / 2 = s.beside / 2)
        GROUP BY c.id, s.beside / 2
        UNION
        SELECT ?, w.store_id, w.path, w.file_id, w.scan_id, w.beside, '', ot.name, o.mtime_ns FROM (
            SELECT f.store_id, f.path, f.id AS file_id, f.scan_id, s.beside, (
                {_OTHER.format("o.file_id")} AND o.sha256 <> s.sha256
                    AND (o.mtime_ns > s.mtime_ns OR o.mtime_ns = s.mtime_ns AND of.id < f.id) {_NEWEST}) AS newer
            FROM {_SEEN} JOIN scan ON scan.id = f.scan_id AND scan.role = 'master'
            WHERE s.gone IS NULL AND s.fault = '') w
        JOIN file nf ON nf.id = w.newer JOIN store ot ON ot.id = nf.store_id
        JOIN sidecar o ON o.file_id = w.newer AND o.beside / 2 = w.beside / 2
        ORDER BY store_id, path, kind, beside""", [DAMAGED, MISSING, MISSING, DIFFERS])
