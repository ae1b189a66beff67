"""The origin of a fact: stated by a person, read from the file's tags, or guessed, with the reason.

The reasons of a guess are in ``scan_guess.reason``, one line a field: ``artist (read): the file's tags``.
"""

import re
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from catalogue.records.database import Database

STATED, READ, GUESSED = "stated", "read", "guessed"
TAGS = "the file's tags"


@dataclass(frozen=True, slots=True)
class Origin:
    """``source`` is ``stated``, ``read`` or ``guessed``; "" if there is no value."""

    source: str = ""
    why: str = ""

    def __str__(self) -> str:
        return f"{self.source}: {self.why}" if self.why else self.source


NONE = Origin()


def reasons_text(origins: Mapping[str, Origin]) -> str:
    """Origins by field as ``scan_guess.reason`` keeps them."""
    return "\n".join(f"{field} ({origin.source}): {' '.join(origin.why.split())}"
                     for field, origin in origins.items() if origin.source)


_LINE = re.compile(r"(\w+) \((read|guessed)\): (.*)")
_FORMER = re.compile(r"(?:^|; )(artist|title|role): ")          # as written before reasons had lines
_OLDEST = re.compile(r"(artist|title) from the (tags|path)")    # before there was guessing from the tree


def origins_of(reason: str) -> dict[str, Origin]:
    """What :func:`reasons_text` wrote, or an older version of the program; by field."""
    origins = {line[1]: Origin(line[2], line[3]) for text in reason.splitlines() if (line := _LINE.fullmatch(text))}
    if not origins:
        parts = _FORMER.split(reason)[1:]
        origins = {field: Origin(READ, TAGS) if why == "stated in the file" else Origin(GUESSED, why)
                 for field, why in zip(parts[::2], parts[1::2], strict=True)}
    if not origins:
        origins = {field: Origin(READ, TAGS) if where == "tags" else Origin(GUESSED, "its path")
                 for field, where in _OLDEST.findall(reason)}
    return origins


@dataclass(frozen=True, slots=True)
class FileFact:
    """One file in a store with what its scan is filed as, each value with its origin."""

    store: str
    path: str
    state: str
    sha256: str
    role: str
    artist: str
    title: str
    year: str
    origins: dict[str, Origin]  # of role, artist, title and year


# A scan beside its piece, and what was stated and guessed of both; NULL where there is no such row.
_FACTS = """
    c.sha256, c.role, c.role_source, c.piece_source, a.name AS artist, a.key AS artist_key, p.title,
    p.key AS title_key, p.year, p.series, p.inventory_number, d.artist_id AS stated_artist, n.name AS stated_name,
    d.title AS stated_title, d.year AS stated_year, d.series AS stated_series, d.inventory_number AS stated_number,
    d.medium AS stated_medium, d.width_mm AS stated_width, d.height_mm AS stated_height,
    d.relief_mm AS stated_relief, g.artist_key AS guessed_artist, g.title_key AS guessed_title,
    g.year AS guessed_year, g.series AS guessed_series, g.number AS guessed_number, g.role AS guessed_role, g.reason,
    EXISTS (SELECT 1 FROM artist_stated o WHERE o.known_key = g.artist_key AND o.joined_into IS NOT NULL) AS joined"""
_BESIDE = """
    LEFT JOIN artist a ON a.id = p.artist_id LEFT JOIN piece_stated d ON d.piece_id = p.id
    LEFT JOIN artist_stated n ON n.artist_id = a.id LEFT JOIN scan_guess g ON g.scan_id = c.id"""


def of_files(db: Database, store_id: int | None = None) -> Iterator[FileFact]:
    """Every file of the stores in use, or of one, by store and path."""
    for row in db.execute(f"""
            SELECT s.name AS store, f.path, f.state, {_FACTS}
            FROM file f JOIN store s ON s.id = f.store_id LEFT JOIN scan c ON c.id = f.scan_id
            LEFT JOIN piece p ON p.id = c.piece_id {_BESIDE}
            WHERE s.forgotten IS NULL AND (?1 IS NULL OR s.id = ?1) ORDER BY s.name, f.path""", [store_id]).fetchall():
        yield FileFact(row["store"], row["path"], row["state"], row["sha256"] or "", row["role"] or "",
                       row["artist"] or "", row["title"] or "", row["year"] or "", {
                           "role": _role(row), "artist": _filed(row) or _artist(row),
                           "title": _filed(row) or _title(row), "year": _fact(row, "year", "year")})


def of_piece(db: Database, piece_id: int) -> dict[str, Origin]:
    """Origins of a piece's facts by name as in ``stated_facts.PIECE_FACTS``, the artist's under ``artist``."""
    row = db.execute(f"""
        SELECT {_FACTS} FROM piece p LEFT JOIN scan c ON c.id = (
            SELECT x.id FROM scan x JOIN scan_guess y ON y.scan_id = x.id
            JOIN piece z ON z.id = x.piece_id WHERE x.piece_id = p.id AND y.piece_id = p.id
            ORDER BY y.title_key <> z.key, x.id LIMIT 1)
        {_BESIDE} WHERE p.id = ?""", [piece_id]).fetchone()
    if row is None:
        return {}
    measured = {"medium": row["stated_medium"], "width_mm": row["stated_width"], "height_mm": row["stated_height"],
                "relief_mm": row["stated_relief"]}
    return {
        "artist": _artist(row), "title": _title(row),
        "year": _fact(row, "year", "year"), "series": _fact(row, "series", "series"),
        "inventory_number": _fact(row, "inventory_number", "number"),
        **{name: NONE if value is None else Origin(STATED) for name, value in measured.items()}}


def of_scan(db: Database, sha256: str) -> dict[str, Origin]:
    """Origins of a scan's ``role`` and ``piece``."""
    row = db.execute(f"""
        SELECT {_FACTS} FROM scan c LEFT JOIN piece p ON p.id = c.piece_id
        {_BESIDE} WHERE c.sha256 = ?""", [sha256]).fetchone()
    return {"role": _role(row), "piece": _filed(row) or _guessed("title", row["reason"])} if row else {}


def of_artist(db: Database, artist_id: int) -> dict[str, Origin]:
    """Origin of an artist's ``name``."""
    row = db.execute("""
        SELECT n.name, (SELECT g.reason FROM scan_guess g WHERE g.artist_key = a.key ORDER BY g.scan_id LIMIT 1)
        FROM artist a LEFT JOIN artist_stated n ON n.artist_id = a.id WHERE a.id = ?""", [artist_id]).fetchone()
    if row is None:
        return {}
    return {"name": Origin(STATED) if row[0] is not None else _guessed("artist", row[1])}


def _role(row: sqlite3.Row) -> Origin:
    if row["sha256"] is None:
        return NONE
    if row["role_source"] == "person":
        return Origin(STATED)
    if row["guessed_role"] is not None and row["role"] != row["guessed_role"]:
        return Origin(GUESSED, "likeness shows it as a tile of another scan")
    return _guessed("role", row["reason"])


def _filed(row: sqlite3.Row) -> Origin | None:
    """The origin of artist and title alike, where not the file's own names file the scan."""
    if row["title"] is None:
        return NONE
    if row["piece_source"] == "person":
        return Origin(STATED, "the scan was filed under this piece")
    if row["piece_source"] == "likeness":
        return Origin(GUESSED, "it shows the same as other scans of this piece")
    return None


def _artist(row: sqlite3.Row) -> Origin:
    if row["stated_artist"] is not None:
        return Origin(STATED)
    if row["artist_key"] == row["guessed_artist"]:
        return _guessed("artist", row["reason"])
    if row["stated_name"] is not None:
        return Origin(STATED, "the artist's name was corrected")
    if row["joined"]:
        return Origin(STATED, "two artists were joined")
    why = _guessed("artist", row["reason"])
    return Origin(GUESSED, f"{why.why}; the only artist with that surname") if row["guessed_artist"] else why


def _title(row: sqlite3.Row) -> Origin:
    if row["title"] is None:
        return NONE
    if row["stated_title"] is not None:
        return Origin(STATED)
    if row["guessed_title"] is not None and row["title_key"] != row["guessed_title"]:
        return Origin(STATED, "two pieces were merged")
    return _guessed("title", row["reason"])


def _fact(row: sqlite3.Row, column: str, field: str) -> Origin:
    """Of a piece's column, by the name that statements and guesses know it by."""
    if row[f"stated_{field}"] is not None:
        return Origin(STATED)
    if not row[column]:
        return NONE
    if row[f"guessed_{field}"] == row[column]:
        return _guessed(field, row["reason"])
    return Origin(GUESSED, "another scan of the piece")


def _guessed(field: str, reason: str | None) -> Origin:
    return origins_of(reason or "").get(field, Origin(GUESSED, "its path"))
