"""Sizes ordered of each piece compared with its current master, and capture notes of similar originals."""

import json
from dataclasses import dataclass

from catalogue.records.orders import NewLine
from catalogue.records.rows import Database, fetch


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand(NewLine):
    """One way a piece was ordered, with how many prints by now. ``scan_id`` is the current master, None if none is
    chosen."""

    artist: str
    title: str
    last: str
    scan_id: int | None


@dataclass(frozen=True, slots=True)
class Captured:
    """Capture notes of an earlier scan. ``relief_mm`` is that of the original."""

    scan_id: int
    artist: str
    title: str
    relief_mm: float | None
    captured: str
    notes: dict[str, str]


def sizes_ordered(db: Database) -> list[Demand]:
    """Every size, finish and medium ordered of each piece. Cancelled orders count too, since they show demand."""
    return fetch(db, Demand, """
        SELECT p.id AS piece_id, a.name AS artist, p.title, l.width_mm, l.height_mm, l.medium, l.border_mm, l.wrap_mm,
               l.edge, sum(l.quantity) AS quantity, max(o.placed) AS last, p.current_scan_id AS scan_id
        FROM order_line l JOIN orders o ON o.id = l.order_id JOIN piece p ON p.id = l.piece_id
        JOIN artist a ON a.id = p.artist_id
        GROUP BY p.id, l.width_mm, l.height_mm, l.medium, l.border_mm, l.wrap_mm, l.edge ORDER BY p.id""")


def captured_like(db: Database, piece_id: int, limit: int = 5) -> list[Captured]:
    """Capture notes of the same artist's scans: this piece first, then the nearest relief depth, then the newest."""
    rows = db.execute("""
        SELECT c.id, a.name, p.title, p.relief_mm, coalesce(nullif(c.captured, ''), c.first_indexed), c.capture
        FROM piece me JOIN piece p ON p.artist_id = me.artist_id JOIN artist a ON a.id = p.artist_id
        JOIN scan c ON c.piece_id = p.id
        WHERE me.id = ?1 AND c.capture NOT IN ('', '{}')
        ORDER BY p.id <> me.id, abs(p.relief_mm - me.relief_mm) IS NULL, abs(p.relief_mm - me.relief_mm),
                 coalesce(nullif(c.captured, ''), c.first_indexed) DESC, c.id DESC LIMIT ?2""", [piece_id, limit])
    return [Captured(scan_id, artist, title, relief, captured, dict(json.loads(notes)))
            for scan_id, artist, title, relief, captured, notes in rows]
