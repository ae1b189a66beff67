"""What path and tags suggest of each scan: derived, replaced at will."""

from collections.abc import Iterator
from dataclasses import dataclass

from catalogue.records.database import Database, fetch, fetch_one
from catalogue.records.folding import folded


@dataclass(frozen=True, slots=True)
class Guess:
    """Artist, title, year, inventory number and role as guessed; empty where nothing suggests it. ``reason``: from
    what."""

    artist: str = ""
    title: str = ""
    year: str = ""
    number: str = ""
    role: str = "unsorted"
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Guessed:
    """A scan with a guess on record and one file it lies in, present ones and primary stores first. ``upgraded``: 1
    where an older program left no word of where its values came from."""

    scan_id: int
    path: str
    format: str
    artist: str
    title: str
    year: str
    number: str
    role: str
    reason: str
    upgraded: int
    piece_id: int | None

    @property
    def guess(self) -> Guess:
        return Guess(self.artist, self.title, self.year, self.number, self.role, self.reason)


_LISTED = """
    SELECT g.scan_id, f.path, c.format, g.artist, g.title, g.year, g.number, g.role, g.reason, g.upgraded, g.piece_id
    FROM scan_guess g JOIN scan c ON c.id = g.scan_id JOIN file f ON f.id = (
        SELECT f.id FROM file f JOIN store s ON s.id = f.store_id WHERE f.scan_id = g.scan_id
        ORDER BY s.forgotten IS NOT NULL, f.state = 'missing', s.kind <> 'primary', f.id LIMIT 1)"""


def of_scan(db: Database, scan_id: int) -> Guess | None:
    return fetch_one(db, Guess, "SELECT artist, title, year, number, role, reason FROM scan_guess WHERE scan_id = ?",
                     [scan_id])


def save(db: Database, scan_id: int, guess: Guess) -> None:
    """Keep a guess in place of the one before."""
    db.execute("""
        INSERT INTO scan_guess (scan_id, artist, artist_key, title, title_key, year, number, role, reason)
        VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
        ON CONFLICT (scan_id) DO UPDATE SET artist = excluded.artist, artist_key = excluded.artist_key,
            title = excluded.title, title_key = excluded.title_key, year = excluded.year, number = excluded.number,
            role = excluded.role, reason = excluded.reason, upgraded = 0""",
               [scan_id, guess.artist, folded(guess.artist), guess.title, folded(guess.title), guess.year,
                guess.number, guess.role, guess.reason])


def listed(db: Database) -> Iterator[Guessed]:
    """Every scan that has a file, with its guess; read before anything is written."""
    yield from fetch(db, Guessed, _LISTED + " ORDER BY g.scan_id")


def upgraded(db: Database, limit: int) -> list[Guessed]:
    """Scans whose guess an older program left without a reason."""
    if db.execute("SELECT 1 FROM scan_guess WHERE upgraded = 1 LIMIT 1").fetchone() is None:
        return []
    db.execute("""UPDATE scan_guess SET upgraded = 0 WHERE upgraded = 1
                  AND NOT EXISTS (SELECT 1 FROM file WHERE file.scan_id = scan_guess.scan_id)""")
    return fetch(db, Guessed, _LISTED + " WHERE g.upgraded = 1 ORDER BY g.scan_id LIMIT ?", [limit])


def upgraded_of_piece(db: Database, piece_id: int) -> list[Guessed]:
    """Those of :func:`upgraded` that were filed under one piece."""
    return fetch(db, Guessed, _LISTED + " WHERE g.upgraded = 1 AND g.piece_id = ? ORDER BY g.scan_id", [piece_id])


def accept_upgraded(db: Database, scan_id: int) -> None:
    """The guess left by an older program was looked at."""
    db.execute("UPDATE scan_guess SET upgraded = 0 WHERE scan_id = ?", [scan_id])
