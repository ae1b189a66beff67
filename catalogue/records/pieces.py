"""Artists and pieces: who made it, what it is called, which master is current."""

import re
import unicodedata
from dataclasses import dataclass

from catalogue.records.copies import HELD
from catalogue.records.database import Database, fetch, fetch_one, inserted


@dataclass(frozen=True, slots=True)
class Artist:
    id: int
    name: str
    key: str
    contact: str
    terms: str
    notes: str


@dataclass(frozen=True, slots=True)
class ArtistRow:
    """An artist in a list, with counts."""

    id: int
    name: str
    pieces: int
    scans: int
    orders: int


@dataclass(frozen=True, slots=True)
class Piece:
    id: int
    artist_id: int
    artist: str
    title: str
    year: str
    series: str
    inventory_number: str
    width_mm: float | None
    height_mm: float | None
    relief_mm: float | None
    current_scan_id: int | None
    current_source: str
    notes: str


_PIECE = """SELECT p.id, p.artist_id, a.name AS artist, p.title, p.year, p.series, p.inventory_number, p.width_mm,
                   p.height_mm, p.relief_mm, p.current_scan_id, p.current_source, p.notes
            FROM piece p JOIN artist a ON a.id = p.artist_id"""


def folded(name: str) -> str:
    """A name as compared: case, accents, punctuation and spacing folded."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))
    return re.sub(r"[\W_]+", " ", plain.casefold()).strip() or name.casefold().strip()


def artist_called(db: Database, name: str) -> Artist:
    """The artist of that name, made if new. Two spellings that fold alike are one artist."""
    key = folded(name)
    found = fetch_one(db, Artist, "SELECT * FROM artist WHERE key = ?", [key])
    if found is None:
        inserted(db, "INSERT INTO artist (name, key) VALUES (?, ?)", [name.strip(), key])
        found = fetch_one(db, Artist, "SELECT * FROM artist WHERE key = ?", [key])
    assert found is not None
    return found


def artist_by_surname(db: Database, surname: str) -> Artist | None:
    """The one artist whose name ends in this word; None for several words, for none and for two such artists."""
    key = folded(surname)
    fitting = fetch(db, Artist, "SELECT * FROM artist WHERE key LIKE '% ' || ? LIMIT 2", [key]) if key else []
    return fitting[0] if len(fitting) == 1 else None


def join_short_names(db: Database) -> None:
    """Give the pieces of an artist known by surname alone to the one artist whose full name has since been met.

    Only what was guessed from folders is joined: an artist with a contact, terms, orders or editions stays.
    """
    for artist in fetch(db, Artist, """
            SELECT * FROM artist a WHERE instr(a.name, ' ') = 0 AND a.contact = '' AND a.terms = '' AND NOT EXISTS (
                SELECT 1 FROM piece p WHERE p.artist_id = a.id AND (
                    p.id IN (SELECT piece_id FROM order_line) OR p.id IN (SELECT piece_id FROM edition)))"""):
        full = artist_by_surname(db, artist.name)
        if full is None:
            continue
        for piece in fetch(db, Piece, _PIECE + " WHERE p.artist_id = ?", [artist.id]):
            same = piece_called(db, full.id, piece.title, year=piece.year, inventory_number=piece.inventory_number)
            db.execute("UPDATE scan SET piece_id = ? WHERE piece_id = ?", [same, piece.id])
            db.execute("DELETE FROM piece WHERE id = ?", [piece.id])
            propose_current(db, same)
        db.execute("DELETE FROM artist WHERE id = ?", [artist.id])


def piece_called(db: Database, artist_id: int, title: str, year: str = "", inventory_number: str = "") -> int:
    """Id of the artist's piece of that title, made if new; year and number are noted where not yet known."""
    key = folded(title)
    row = db.execute("SELECT id FROM piece WHERE artist_id = ? AND key = ?", [artist_id, key]).fetchone()
    if row is not None:
        db.execute("""UPDATE piece SET year = CASE year WHEN '' THEN ?1 ELSE year END,
                      inventory_number = CASE inventory_number WHEN '' THEN ?2 ELSE inventory_number END
                      WHERE id = ?3 AND (year = '' AND ?1 <> '' OR inventory_number = '' AND ?2 <> '')""",
                   [year, inventory_number, row[0]])
        return int(row[0])
    return inserted(db, "INSERT INTO piece (artist_id, title, key, year, inventory_number) VALUES (?, ?, ?, ?, ?)",
                    [artist_id, title.strip(), key, year, inventory_number])


def known_piece(db: Database, artist: str, title: str) -> int | None:
    """Id of a piece by names, or None; makes nothing."""
    row = db.execute("""SELECT p.id FROM piece p JOIN artist a ON a.id = p.artist_id
                        WHERE a.key = ? AND p.key = ?""", [folded(artist), folded(title)]).fetchone()
    return None if row is None else int(row[0])


def by_id(db: Database, piece_id: int) -> Piece | None:
    return fetch_one(db, Piece, _PIECE + " WHERE p.id = ?", [piece_id])


def matching(db: Database, words: str, limit: int = 20) -> list[Piece]:
    """Pieces whose title, or artist and title, fold to exactly these words, else contain them."""
    key = folded(words)
    exact = fetch(db, Piece, _PIECE + " WHERE p.key = ? OR a.key || ' ' || p.key = ? LIMIT ?", [key, key, limit])
    return exact or fetch(db, Piece, _PIECE + " WHERE instr(a.key || ' ' || p.key, ?) ORDER BY a.name, p.title LIMIT ?",
                          [key, limit])


def artists(db: Database, after: str = "", limit: int = 500) -> list[ArtistRow]:
    """Artists by name from ``after`` (a name, exclusive) on: a page at a time."""
    return fetch(db, ArtistRow, """
        SELECT a.id, a.name,
               (SELECT count(*) FROM piece p WHERE p.artist_id = a.id) AS pieces,
               (SELECT count(*) FROM scan c JOIN piece p ON p.id = c.piece_id WHERE p.artist_id = a.id) AS scans,
               (SELECT count(DISTINCT l.order_id) FROM order_line l JOIN piece p ON p.id = l.piece_id
                WHERE p.artist_id = a.id) AS orders
        FROM artist a WHERE a.key > ? ORDER BY a.key LIMIT ?""", [folded(after) if after else "", limit])


def set_current(db: Database, piece_id: int, scan_id: int | None, source: str) -> None:
    """Choose the current master; ``source`` is ``"proposed"`` or ``"person"``."""
    db.execute("UPDATE piece SET current_scan_id = ?, current_source = ? WHERE id = ?", [scan_id, source, piece_id])


def propose_current(db: Database, piece_id: int) -> None:
    """Propose the current master unless a person chose: one that is there and sound, then most true pixels (within a
    tenth they count as equal: margins differ), 16 bit, profiled, newest.

    Between equals the one known first stays: a mere re-save must not take a master's place. The rules are those of
    ``likeness.grouping.propose_current``, which gives the reasons; a test holds the two together.
    """
    db.execute(f"""
        UPDATE piece SET current_scan_id = (
            SELECT id FROM (
                SELECT *, max(pixels) OVER (PARTITION BY present, sound, genuine) AS most FROM (
                    SELECT c.*, coalesce(c.width, 0) * coalesce(c.height, 0) AS pixels,
                           EXISTS (SELECT 1 FROM {HELD} h WHERE h.scan_id = c.id AND h.present) AS present,
                           EXISTS (SELECT 1 FROM {HELD} h WHERE h.scan_id = c.id AND h.sound) AS sound,
                           NOT EXISTS (SELECT 1 FROM json_each(c.notes) n
                                       WHERE n.value ->> 'kind' = 'upscaled') AS genuine
                    FROM scan c WHERE c.piece_id = :piece AND c.role = 'master'))
            ORDER BY present DESC, sound DESC, genuine DESC, pixels >= 0.9 * most DESC, coalesce(bits, 0) >= 16 DESC,
                     profile_name || profile_digest <> '' DESC, captured DESC, id LIMIT 1)
        WHERE id = :piece AND current_source = 'proposed'""", {"piece": piece_id})


def rename(db: Database, piece_id: int, title: str) -> None:
    db.execute("UPDATE piece SET title = ?, key = ? WHERE id = ?", [title.strip(), folded(title), piece_id])


def counts(db: Database) -> dict[str, int]:
    """How much the catalogue holds, by kind of row."""
    tables = ("artist", "piece", "scan", "file", "orders", "order_line", "store")
    found = {t: int(db.execute(f"SELECT count(*) FROM {t}").fetchone()[0]) for t in tables}
    found["finding"] = int(db.execute("SELECT count(*) FROM finding WHERE resolved IS NULL").fetchone()[0])
    return found


def names(db: Database) -> dict[int, str]:
    """Artist and title of every piece, folded, by id: to find what a slip of the pen meant."""
    return {int(row[0]): f"{row[1]} {row[2]}" for row in db.execute(
        "SELECT p.id, a.key, p.key FROM piece p JOIN artist a ON a.id = p.artist_id")}


def titled(db: Database, title: str) -> list[int]:
    """Ids of the pieces of exactly this title, whoever made them."""
    return [int(row[0]) for row in db.execute("SELECT id FROM piece WHERE key = ?", [folded(title)])]


def artists_matching(db: Database, words: str, limit: int = 20) -> list[Artist]:
    """Artists whose name folds to exactly these words, else contains them."""
    key = folded(words)
    exact = fetch(db, Artist, "SELECT * FROM artist WHERE key = ?", [key])
    return exact or fetch(db, Artist, "SELECT * FROM artist WHERE instr(key, ?) ORDER BY key LIMIT ?", [key, limit])


def artist_by_id(db: Database, artist_id: int) -> Artist | None:
    return fetch_one(db, Artist, "SELECT * FROM artist WHERE id = ?", [artist_id])


def describe_artist(db: Database, artist_id: int, *, contact: str, terms: str, notes: str) -> None:
    """How to reach an artist, what was agreed, and anything else."""
    db.execute("UPDATE artist SET contact = ?, terms = ?, notes = ? WHERE id = ?", [contact, terms, notes, artist_id])


def describe(db: Database, piece_id: int, *, year: str, series: str, inventory_number: str, width_mm: float | None,
             height_mm: float | None, relief_mm: float | None, notes: str) -> None:
    """What a person says of the original: lengths in mm, as measured."""
    db.execute("""UPDATE piece SET year = ?, series = ?, inventory_number = ?, width_mm = ?, height_mm = ?,
                  relief_mm = ?, notes = ? WHERE id = ?""",
               [year, series, inventory_number, width_mm, height_mm, relief_mm, notes, piece_id])


def artists_whole(db: Database) -> list[Artist]:
    """Every artist, by name."""
    return fetch(db, Artist, "SELECT * FROM artist ORDER BY key")


def every(db: Database) -> list[Piece]:
    """Every piece, by artist and title."""
    return fetch(db, Piece, _PIECE + " ORDER BY a.key, p.key")
