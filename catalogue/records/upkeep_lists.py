"""Lists for the upkeep pages: open findings page by page, audits, growth of the archive."""

from dataclasses import dataclass

from catalogue.records import stores
from catalogue.records.browsing import in_order
from catalogue.records.finding_kinds import DAMAGE_KINDS, IS_DAMAGE
from catalogue.records.findings import Finding, by_id, by_kind
from catalogue.records.fixity import last_audit
from catalogue.records.rows import Database, fetch, fetch_int, fetch_one


def findings_of_store(db: Database, store_id: int) -> int:
    """How many findings of a store are open."""
    return fetch_int(db, "SELECT count(*) FROM finding WHERE store_id = ? AND resolved IS NULL", [store_id])


@dataclass(frozen=True, slots=True)
class KindCount:
    kind: str
    count: int


@dataclass(frozen=True, slots=True)
class FindingItem:
    """One open finding in a list; ``store`` is "" if it belongs to no store."""

    id: int
    kind: str
    store: str
    path: str
    detail: str
    first_seen: str

    @property
    def is_damage(self) -> bool:
        """Whether bytes are wrong or gone."""
        return self.kind in DAMAGE_KINDS


def kinds(db: Database) -> list[KindCount]:
    """Kinds of open findings: damage before all others, then most frequent first."""
    return sorted((KindCount(kind, count) for kind, count in by_kind(db).items()),
                  key=lambda each: each.kind not in DAMAGE_KINDS)


def findings(db: Database, kind: str, beyond: FindingItem | None, limit: int, *,
             forward: bool = True) -> list[FindingItem]:
    """Open findings, damage before all others, then newest first; of one kind, or of all with ``""``."""
    items: list[FindingItem] = []
    for damage in (True, False) if forward else (False, True):
        if beyond is not None and beyond.is_damage is not damage and beyond.is_damage is not forward:
            continue    # that part of the list is on the other side of the row
        start = beyond if beyond is not None and beyond.is_damage is damage else None
        items += _findings(db, kind, damage, start, limit - len(items), forward)
        if len(items) == limit:
            break
    return in_order(items, forward)


def _findings(db: Database, kind: str, damage: bool, beyond: FindingItem | None, limit: int,
              forward: bool) -> list[FindingItem]:
    """Findings that are damage, or those that are not, beyond one of the same sort."""
    sign, order = ("<", "DESC") if forward else (">", "ASC")
    start = beyond.id if beyond else 1 << 62 if forward else 0
    return fetch(db, FindingItem, f"""
        SELECT f.id, f.kind, coalesce(s.name, '') AS store,
               coalesce(nullif(f.path, ''), (SELECT path FROM file x WHERE x.scan_id = f.scan_id LIMIT 1), '') AS path,
               f.detail, f.first_seen
        FROM finding f LEFT JOIN store s ON s.id = f.store_id
        WHERE f.resolved IS NULL AND f.id {sign} ?1 AND (?2 = '' OR f.kind = ?2) AND {IS_DAMAGE} = ?4
        ORDER BY f.id {order} LIMIT ?3""", [start, kind, limit, damage])


def finding(db: Database, finding_id: int) -> Finding | None:
    """An open finding, or None if it was closed meanwhile."""
    known = by_id(db, finding_id)
    return known if known is not None and known.resolved is None else None


def last_audits(db: Database) -> list[tuple[str, str]]:
    """Store names and when an audit of each last came to its end; "" for never."""
    return [(store.name, last_audit(db, store.id)) for store in sorted(stores.listed(db), key=lambda s: s.name)]


@dataclass(frozen=True, slots=True)
class Growth:
    """What one year brought: by the scan's own date, else by when it was first indexed."""

    year: str
    scans: int
    bytes: int


@dataclass(frozen=True, slots=True)
class Coverage:
    """Present files by the time since they were last checked; the spans do not overlap."""

    files: int
    month: int
    quarter: int
    year: int
    older: int
    never: int


def growth(db: Database) -> list[Growth]:
    """Scans by year, oldest first."""
    return fetch(db, Growth, """
        SELECT substr(CASE WHEN captured GLOB '[12][0-9][0-9][0-9]*' THEN captured ELSE first_indexed END, 1, 4)
                   AS year, count(*) AS scans, sum(bytes) AS bytes FROM scan GROUP BY 1 ORDER BY 1""")


def coverage(db: Database) -> Coverage:
    """How far audits have come over the stores in use."""
    row = fetch_one(db, Coverage, """
        WITH checked AS (SELECT julianday('now') - julianday(f.checked_at) AS days FROM file f
                         JOIN store s ON s.id = f.store_id WHERE f.state = 'present' AND s.forgotten IS NULL)
        SELECT count(*) AS files, coalesce(sum(days <= 30), 0) AS month,
               coalesce(sum(days > 30 AND days <= 90), 0) AS quarter,
               coalesce(sum(days > 90 AND days <= 365), 0) AS year, coalesce(sum(days > 365), 0) AS older,
               coalesce(sum(days IS NULL), 0) AS never FROM checked""")
    return row or Coverage(0, 0, 0, 0, 0, 0)
