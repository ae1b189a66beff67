"""Lists for the screens: a page before or after a row, never an offset, so the last page costs what the first does.

Every list function takes ``beyond``, the row the page starts beyond (None: from the end of the list on that side), and
gives at most ``limit`` rows in list order, whichever direction was read.
"""

from dataclasses import dataclass
from typing import TypeVar

from catalogue.records.finding_kinds import IS_DAMAGE
from catalogue.records.rows import Database, fetch, fetch_int, fetch_one

T = TypeVar("T")

# Sorts after any real text: U+10FFFF is a noncharacter.
_LAST = "\U0010ffff"


@dataclass(frozen=True, slots=True)
class ArtistItem:
    id: int
    key: str
    name: str
    pieces: int


@dataclass(frozen=True, slots=True)
class PieceItem:
    """``sha256`` and ``file`` name the current master's picture and one place it is in."""

    id: int
    key: str
    artist_id: int
    artist: str
    title: str
    year: str
    scans: int
    last_order: str | None
    findings: int
    damaged: int
    sha256: str | None


@dataclass(frozen=True, slots=True)
class Totals:
    artists: int
    pieces: int
    scans: int
    lines: int


def in_order(rows: list[T], forward: bool) -> list[T]:
    """Rows in list order, whichever direction they were read in."""
    return rows if forward else rows[::-1]


_ARTIST_ITEM = """SELECT a.id, a.key, a.name, (SELECT count(*) FROM piece p WHERE p.artist_id = a.id) AS pieces
                  FROM artist a"""


def artists(db: Database, beyond: ArtistItem | None, limit: int, *, forward: bool = True) -> list[ArtistItem]:
    """Artists by name."""
    sign, order = (">", "ASC") if forward else ("<", "DESC")
    start = beyond.key if beyond else "" if forward else _LAST
    return in_order(fetch(db, ArtistItem, f"{_ARTIST_ITEM} WHERE a.key {sign} ? ORDER BY a.key {order} LIMIT ?",
                          [start, limit]), forward)


def artist(db: Database, artist_id: int) -> ArtistItem | None:
    """One artist as the list shows it."""
    return fetch_one(db, ArtistItem, f"{_ARTIST_ITEM} WHERE a.id = ?", [artist_id])


PIECE_COLUMNS = f"""
    p.id, p.key, p.artist_id, a.name AS artist, p.title, p.year,
    (SELECT count(*) FROM scan c WHERE c.piece_id = p.id) AS scans,
    (SELECT max(o.placed) FROM order_line l JOIN orders o ON o.id = l.order_id WHERE l.piece_id = p.id) AS last_order,
    (SELECT count(*) FROM scan c JOIN finding f ON f.scan_id = c.id
     WHERE c.piece_id = p.id AND f.resolved IS NULL) AS findings,
    (SELECT count(*) FROM scan c JOIN finding f ON f.scan_id = c.id
     WHERE c.piece_id = p.id AND f.resolved IS NULL AND {IS_DAMAGE}) AS damaged,
    (SELECT sha256 FROM scan c WHERE c.id = p.current_scan_id) AS sha256"""


def pieces(db: Database, artist_id: int | None, beyond: PieceItem | None, limit: int, *,
           forward: bool = True) -> list[PieceItem]:
    """Pieces by title, of one artist or of all."""
    sign, order = (">", "ASC") if forward else ("<", "DESC")
    start = (beyond.key, beyond.id) if beyond else ("", 0) if forward else (_LAST, 0)
    chosen = "AND artist_id = ?4" if artist_id is not None else ""
    values: list[object] = [*start, limit, *([artist_id] if artist_id is not None else [])]
    return in_order(fetch(db, PieceItem, f"""
        WITH page AS (SELECT * FROM piece WHERE (key, id) {sign} (?1, ?2) {chosen}
                      ORDER BY key {order}, id {order} LIMIT ?3)
        SELECT {PIECE_COLUMNS} FROM page p JOIN artist a ON a.id = p.artist_id
        ORDER BY p.key {order}, p.id {order}""", values), forward)


def piece(db: Database, piece_id: int) -> PieceItem | None:
    """One piece as the list shows it."""
    return fetch_one(db, PieceItem, f"""SELECT {PIECE_COLUMNS} FROM piece p JOIN artist a ON a.id = p.artist_id
                                        WHERE p.id = ?""", [piece_id])


def totals(db: Database) -> Totals:
    """How many artists, pieces, scans and order lines there are."""
    row = fetch_one(db, Totals, """
        SELECT (SELECT count(*) FROM artist) AS artists, (SELECT count(*) FROM piece) AS pieces,
               (SELECT count(*) FROM scan) AS scans, (SELECT count(*) FROM order_line) AS lines""")
    return row or Totals(0, 0, 0, 0)


def damaged(db: Database) -> int:
    """The number of open findings that are damage."""
    return fetch_int(db, f"SELECT count(*) FROM finding f WHERE f.resolved IS NULL AND {IS_DAMAGE}")
