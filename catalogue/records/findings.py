"""Finding rows: what is wrong with which file, since when, and how it was resolved."""

from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass

from catalogue.records.finding_kinds import KINDS
from catalogue.records.rows import Database, fetch, fetch_one, now

STAND_IN = "stand-in"   # the cause of an offline store where another folder, or its own without marker, is in its place


@dataclass(frozen=True, slots=True)
class Finding:
    id: int
    kind: str
    store_id: int | None
    path: str
    file_id: int | None
    scan_id: int | None
    detail: str
    hint: str
    offset: int | None
    first_seen: str
    last_seen: str
    resolved: str | None
    resolution: str
    former_sha256: str
    cause: str


@dataclass(frozen=True, slots=True)
class Observed:
    """One thing wrong with one file, as just seen. ``scan_id`` is the content it speaks of.

    ``former_sha256`` is, for an edit, what was held before it; ``cause`` is given where it decides what to do, as
    ``ACCESS_DENIED`` of reading.model does.
    """

    kind: str
    detail: str
    hint: str = ""
    offset: int | None = None
    scan_id: int | None = None
    former_sha256: str = ""
    cause: str = ""


def observe(db: Database, store_id: int, path: str, seen: Sequence[Observed], *, file_id: int | None,
            settled: Collection[str] = (), resolution: str = "") -> None:
    """Update the open findings of one path after a look at it.

    What is ``seen`` is opened, or seen again keeping its first date. Open findings of a kind in ``settled`` that were
    not seen are closed; other kinds are kept, since this look does not check them.
    """
    held = {(observed.kind, observed.scan_id or 0) for observed in seen}
    for row in db.execute("SELECT id, kind, coalesce(scan_id, 0) FROM finding WHERE store_id = ? AND path = ?"
                          " AND resolved IS NULL", [store_id, path]).fetchall():
        if row[1] in settled and (row[1], row[2]) not in held:
            resolve_by_id(db, row[0], resolution)
    for observed in seen:
        record(db, **asdict(observed), store_id=store_id, path=path, file_id=file_id)


def record(db: Database, kind: str, detail: str, *, store_id: int | None = None, path: str = "",
           file_id: int | None = None, scan_id: int | None = None, hint: str = "", offset: int | None = None,
           former_sha256: str = "", cause: str = "") -> int:
    """Open a finding, or see an open one of the same kind and path again."""
    moment = now()
    row = db.execute("""
        INSERT INTO finding (kind, store_id, path, file_id, scan_id, detail, hint, offset, first_seen, last_seen,
                             former_sha256, cause)
        VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
        ON CONFLICT (kind, coalesce(store_id, 0), path, coalesce(scan_id, 0)) WHERE resolved IS NULL
        DO UPDATE SET last_seen = excluded.last_seen, detail = excluded.detail, hint = excluded.hint,
                      cause = excluded.cause, offset = excluded.offset, file_id = coalesce(excluded.file_id, file_id)
        RETURNING id""",
        [kind, store_id, path, file_id, scan_id, detail, hint, offset, moment, moment, former_sha256,
         cause]).fetchone()
    return int(row[0])


def resolve(db: Database, resolution: str, *, store_id: int | None = None, path: str | None = None,
            kinds: Sequence[str] = ()) -> int:
    """Close open findings of one place, of some kinds or all; returns how many."""
    where, values = _open(store_id, path, kinds)
    return db.execute(f"UPDATE finding SET resolved = ?, resolution = ? WHERE {where}",
                      [now(), resolution, *values]).rowcount


def _open(store_id: int | None = None, path: str | None = None, kinds: Sequence[str] = ()) -> tuple[str, list[object]]:
    """The condition that open findings of a store or place and of some kinds, or all, meet; and its values."""
    where, values = "resolved IS NULL", list[object]()
    for column, value in (("store_id", store_id), ("path", path)):
        if value is not None:
            where, values = f"{where} AND {column} = ?", [*values, value]
    if kinds:
        where, values = f"{where} AND kind IN ({', '.join('?' * len(kinds))})", [*values, *kinds]
    return where, values


def rename(db: Database, store_id: int, path: str, new_path: str) -> None:
    """Move open findings along when the program renames a file. Findings of a missing file that had the new path
    before are closed."""
    resolve(db, f"{path} has this name now", store_id=store_id, path=new_path)
    db.execute("UPDATE finding SET path = ? WHERE store_id = ? AND path = ? AND resolved IS NULL",
               [new_path, store_id, path])


def resolve_by_id(db: Database, finding_id: int, resolution: str) -> None:
    """Close a finding; one that is closed stays as it was closed."""
    db.execute("UPDATE finding SET resolved = ?, resolution = ? WHERE id = ? AND resolved IS NULL",
               [now(), resolution, finding_id])


def note_accepted(db: Database, kind: str, store: str, path: str, sha256: str, reason: str) -> None:
    """Keep that a person said a finding is as it should be; a stated fact."""
    db.execute("INSERT INTO finding_accepted (at, kind, store, path, sha256, reason) VALUES (?, ?, ?, ?, ?, ?)",
               [now(), kind, store, path, sha256, reason])


def by_id(db: Database, finding_id: int) -> Finding | None:
    """The finding of that id, open or closed; None if there is none."""
    return fetch_one(db, Finding, "SELECT * FROM finding WHERE id = ?", [finding_id])


def open_at(db: Database, store_id: int, path: str | None = None, kinds: Sequence[str] = ()) -> list[Finding]:
    """Open findings of one place, or of a store with None, of some kinds or all."""
    where, values = _open(store_id, path, kinds)
    return fetch(db, Finding, f"SELECT * FROM finding WHERE {where} ORDER BY id", values)


def transfer(db: Database, finding_id: int, scan_id: int | None, former_sha256: str) -> None:
    """Move an open finding to another content: the edit an audit saw has now been read."""
    db.execute("UPDATE finding SET scan_id = ?, former_sha256 = ? WHERE id = ?", [scan_id, former_sha256, finding_id])


def update_detail(db: Database, finding_id: int, detail: str, hint: str) -> None:
    """Update the detail of an open finding seen again."""
    db.execute("UPDATE finding SET detail = ?, hint = ?, last_seen = ? WHERE id = ?", [detail, hint, now(), finding_id])


def list_open(db: Database, *, kind: str | None = None, store_id: int | None = None, after: int = 0,
              limit: int = -1) -> list[Finding]:
    """Open findings in order of id from ``after`` on; at most ``limit``, -1 for all of them."""
    where, values = _open(store_id, kinds=[kind] if kind is not None else ())
    return fetch(db, Finding, f"SELECT * FROM finding WHERE {where} AND id > ? ORDER BY id LIMIT ?",
                 [*values, after, limit])


def of_piece(db: Database, piece_id: int) -> list[Finding]:
    """Open findings of a piece's scans, oldest first."""
    return fetch(db, Finding, """SELECT finding.* FROM finding JOIN scan ON scan.id = finding.scan_id
                                 WHERE scan.piece_id = ? AND resolved IS NULL ORDER BY finding.id""", [piece_id])


def seen_since(db: Database, store_id: int, moment: str) -> dict[str, int]:
    """How many open findings of a store were found at ``moment`` or later, by kind."""
    return {row[0]: int(row[1]) for row in db.execute(
        "SELECT kind, count(*) FROM finding WHERE resolved IS NULL AND store_id = ? AND last_seen >= ? GROUP BY kind",
        [store_id, moment])}


def by_kind(db: Database) -> dict[str, int]:
    """How many are open, by kind, most frequent first."""
    return {row[0]: int(row[1]) for row in db.execute(
        "SELECT kind, count(*) FROM finding WHERE resolved IS NULL GROUP BY kind ORDER BY count(*) DESC, kind")}


def known_kinds(db: Database) -> list[str]:
    """Kinds there can be: :data:`.finding_kinds.KINDS`, and what a newer or older program has recorded besides."""
    return [*KINDS, *(row[0] for row in db.execute("SELECT DISTINCT kind FROM finding ORDER BY kind")
                      if row[0] not in KINDS)]
