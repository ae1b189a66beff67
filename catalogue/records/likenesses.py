"""Likenesses between scans as the catalogue keeps them: findings, verdicts, and which scans were compared."""

from array import array
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from catalogue.records.rows import Database, fetch, fetch_among, fetch_int, fetch_one, now, query_among, save_row


@dataclass(frozen=True, slots=True)
class LikenessRow:
    """One pair. ``evidence`` is JSON; ``verdict`` is empty while nobody has judged."""

    id: int
    a_scan_id: int
    b_scan_id: int
    a_sha256: str
    b_sha256: str
    relation: str
    sure: float
    evidence: str
    verdict: str
    judged: str | None


@dataclass(frozen=True, slots=True)
class ComparedScan:
    """A scan with what comparing needs. ``phash`` is 16 hex digits or empty, ``notes`` JSON."""

    id: int
    sha256: str
    pixel_digest: str
    format: str
    width: int | None
    height: int | None
    bits: int | None
    ppi_x: float | None
    profile_name: str
    captured: str
    role: str
    role_source: str
    piece_id: int | None
    piece_source: str
    notes: str
    phash: str


_PAIR = """SELECT l.id, l.a_scan_id, l.b_scan_id, a.sha256 AS a_sha256, b.sha256 AS b_sha256, l.relation, l.sure,
                  l.evidence, l.verdict, l.judged
           FROM likeness l JOIN scan a ON a.id = l.a_scan_id JOIN scan b ON b.id = l.b_scan_id"""

_SCAN = """SELECT s.id, s.sha256, s.pixel_digest, s.format, s.width, s.height, s.bits, s.ppi_x,
                  CASE WHEN s.profile_name = '' AND s.profile_digest <> '' THEN 'unnamed' ELSE s.profile_name END
                      AS profile_name,
                  s.captured, s.role, s.role_source, s.piece_id, s.piece_source, s.notes,
                  coalesce(h.value, '') AS phash
           FROM scan s LEFT JOIN picture_hash h
             ON h.scan_id = s.id AND h.algorithm = 'phash' AND h.orientation = 1"""


def uncompared(db: Database) -> Sequence[int]:
    """Ids of scans with a preview not compared yet, oldest first; 8 bytes each."""
    return array("q", (row[0] for row in db.execute("""
        SELECT id FROM scan WHERE has_preview = 1 AND id NOT IN (SELECT scan_id FROM likeness_seen) ORDER BY id""")))


def uncompared_in(db: Database, store_id: int) -> int:
    """How many scans with a preview that a store holds were not compared yet."""
    return fetch_int(db, """
        SELECT count(*) FROM scan s WHERE has_preview = 1 AND id NOT IN (SELECT scan_id FROM likeness_seen) AND EXISTS (
            SELECT 1 FROM file f WHERE f.scan_id = s.id AND f.store_id = ? AND f.state = 'present')""", [store_id])


def with_preview(db: Database) -> Sequence[int]:
    """Ids of all scans with a preview, oldest first; 8 bytes each."""
    return array("q", (row[0] for row in db.execute("SELECT id FROM scan WHERE has_preview = 1 ORDER BY id")))


def previews(db: Database) -> int:
    """How many scans have a preview."""
    return fetch_int(db, "SELECT count(*) FROM scan WHERE has_preview = 1")


def compared_scans(db: Database, ids: Iterable[int]) -> dict[int, ComparedScan]:
    """Scans by id, with what comparing needs."""
    return {scan.id: scan for scan in fetch_among(db, ComparedScan, f"{_SCAN} WHERE s.id IN", ids)}


def ids_of(db: Database, digests: Iterable[str]) -> dict[str, int]:
    """Scan ids by SHA-256; digests the catalogue does not know are left out."""
    return {str(row[0]): int(row[1])
            for row in query_among(db, "SELECT sha256, id FROM scan WHERE sha256 IN", digests)}


def of_same_pixels(db: Database, scan_id: int) -> list[int]:
    """Other scans whose decoded pixels are equal."""
    return [int(row[0]) for row in db.execute("""
        SELECT o.id FROM scan s JOIN scan o ON o.pixel_digest = s.pixel_digest AND o.id <> s.id
        WHERE s.id = ? AND o.pixel_digest <> ''""", [scan_id])]


def count_across(db: Database, digests: Iterable[str]) -> int:
    """How many pairs join one of these scans with one that is not among them."""
    ids = set(ids_of(db, digests).values())
    return sum((row[0] in ids) is not (row[1] in ids) for row in query_among(
        db, "SELECT a_scan_id, b_scan_id FROM likeness WHERE a_scan_id IN", ids)) + sum(
        row[0] not in ids for row in query_among(
            db, "SELECT a_scan_id, b_scan_id FROM likeness WHERE b_scan_id IN", ids))


def mark_compared(db: Database, scan_id: int) -> None:
    """Note that a scan was compared with all others."""
    db.execute("INSERT OR REPLACE INTO likeness_seen VALUES (?, ?)", [scan_id, now()])


def forget_compared(db: Database) -> None:
    """Compare everything again at the next update; pairs that somebody judged stay. Within a transaction."""
    db.execute("""INSERT INTO issued_id SELECT 'likeness', max(id) FROM likeness HAVING max(id) IS NOT NULL
                  ON CONFLICT (kind) DO UPDATE SET last = max(last, excluded.last)""")
    db.execute("DELETE FROM likeness WHERE verdict = ''")
    db.execute("DELETE FROM likeness_seen")


def keep(db: Database, a_scan_id: int, b_scan_id: int, relation: str, sure: float, evidence: str, *,
         files_together: bool = False) -> None:
    """Record a finding. A pair somebody has judged keeps its row as it was judged. ``files_together``: so sure that
    a scan filed nowhere is filed where the other is. Its number was never another pair's: lists that were printed
    before all was compared again are still judged by."""
    db.execute("""
        INSERT INTO likeness (id, a_scan_id, b_scan_id, relation, sure, evidence, found, files_together)
        VALUES (1 + max(coalesce((SELECT max(id) FROM likeness), 0),
                        coalesce((SELECT last FROM issued_id WHERE kind = 'likeness'), 0)), ?, ?, ?, ?, ?, ?, ?)
        ON CONFLICT (min(a_scan_id, b_scan_id), max(a_scan_id, b_scan_id)) DO UPDATE SET
            a_scan_id = excluded.a_scan_id, b_scan_id = excluded.b_scan_id, relation = excluded.relation,
            sure = excluded.sure, evidence = excluded.evidence, found = excluded.found,
            files_together = excluded.files_together
        WHERE verdict = ''""", [a_scan_id, b_scan_id, relation, sure, evidence, now(), int(files_together)])


def by_id(db: Database, likeness_id: int) -> LikenessRow | None:
    """The pair of that id; None if there is none."""
    return fetch_one(db, LikenessRow, _PAIR + " WHERE l.id = ?", [likeness_id])


def of_scan(db: Database, scan_id: int) -> list[LikenessRow]:
    """Everything found about one scan, rejected pairs included."""
    return fetch(db, LikenessRow, _PAIR + " WHERE l.a_scan_id = ?1 OR l.b_scan_id = ?1 ORDER BY l.sure DESC, l.id",
                 [scan_id])


def partners(db: Database, scan_id: int) -> set[int]:
    """Ids of the scans with which a pair is on record."""
    return {int(row[0]) for row in db.execute("""SELECT b_scan_id FROM likeness WHERE a_scan_id = ?1 UNION
                                                 SELECT a_scan_id FROM likeness WHERE b_scan_id = ?1""", [scan_id])}


def is_located(db: Database, scan_id: int, wholes: Iterable[str], parts: Iterable[str]) -> bool:
    """Whether a pair, not rejected, ties the scan to another in one of the relations ``wholes``, or as the part in one
    of ``parts``."""
    whole, part = set(wholes), set(parts)
    rows = db.execute("""SELECT relation, a_scan_id FROM likeness
                         WHERE (a_scan_id = ?1 OR b_scan_id = ?1) AND verdict <> 'rejected'""", [scan_id])
    return any(relation in whole or (relation in part and a == scan_id) for relation, a in rows)


def listed(db: Database) -> list[LikenessRow]:
    """Every pair, in the order found."""
    return fetch(db, LikenessRow, _PAIR + " ORDER BY l.id")


def set_verdict(db: Database, likeness_id: int, verdict: str) -> None:
    """``confirmed``, ``rejected``, or empty to take a verdict back. Kept by the two contents, whatever is found.

    The same verdict given again changes nothing: it was judged when it was first given.
    """
    pair = by_id(db, likeness_id)
    if pair is None or pair.verdict == verdict:
        return
    first, second = sorted((pair.a_sha256, pair.b_sha256))
    if not verdict:
        db.execute("DELETE FROM likeness_verdict WHERE a_sha256 = ? AND b_sha256 = ?", [first, second])
        return
    save_row(db, "likeness_verdict", {"a_sha256": first, "b_sha256": second},
             {"verdict": verdict, "relation": pair.relation, "judged": now()})


def piece_titles(db: Database, ids: Iterable[int]) -> dict[int, str]:
    """"Artist: title" of pieces, by id."""
    return {int(row[0]): f"{row[1]}: {row[2]}" for row in query_among(db, """
        SELECT p.id, a.name, p.title FROM piece p JOIN artist a ON a.id = p.artist_id WHERE p.id IN""", ids)}
