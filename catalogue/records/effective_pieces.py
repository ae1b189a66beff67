"""Piece rows, computed from what a person stated and from guesses: the steps of ``records.effective`` about one
piece alone. What follows for scans is marked stale here and computed there.
"""

from catalogue.errors import AlreadyExists
from catalogue.records import stated_facts
from catalogue.records.effective_artists import Recomputation
from catalogue.records.folding import fold_name
from catalogue.records.rows import Database, exists, fetch_id, fetch_text
from catalogue.records.stale_rows import mark_stale


def add_piece(db: Database, piece_id: int, artist_id: int, title: str, key: str) -> int:
    """A row for a piece of that id, with no facts but its name; returns the id."""
    db.execute("INSERT INTO piece (id, artist_id, title, key) VALUES (?, ?, ?, ?)", [piece_id, artist_id, title, key])
    return piece_id


def title_of(stated: stated_facts.Row) -> str:
    """A piece's stated title, otherwise the one it was guessed by."""
    return str(stated["known_title"] if stated["title"] is None else stated["title"])


def joined_of_title(db: Database, run: Recomputation, key: str) -> list[stated_facts.Row]:
    """The stated rows of pieces that bore a title, folded, when they were merged into others, in order of id."""
    if run.joined is None:
        run.joined = {}
        for row in db.execute("SELECT * FROM piece_stated WHERE joined_into IS NOT NULL ORDER BY piece_id"):
            run.joined.setdefault(fold_name(title_of(row)) or row["known_key"], []).append(row)
    return run.joined.get(key, [])


def guessed_facts(db: Database, piece_id: int, key: str) -> dict[str, str]:
    """Year, series and inventory number from the scans guessed and filed here.

    Scans guessed under the piece's own title come first, then the scan known longest.
    """
    def first(column: str) -> str:
        return fetch_text(db, f"""SELECT g.{column} FROM scan_guess g JOIN scan c ON c.id = g.scan_id
                                  WHERE g.piece_id = ?1 AND c.piece_id = ?1 AND g.{column} <> ''
                                  ORDER BY g.title_key <> ?2, g.scan_id LIMIT 1""", [piece_id, key])

    return {"year": first("year"), "series": first("series"), "inventory_number": first("number")}


def free_piece_key(db: Database, piece_id: int, artist_id: int, key: str, stated: stated_facts.Row,
                    held: stated_facts.Row | None) -> int:
    """Make way for a piece under its artist and title; returns the artist under whom it can be.

    A merely guessed piece gives way: its scans then find the one that bears the title by statement. Between two with
    stated facts, the one whose artist is only guessed stays where it is.
    """
    other = fetch_id(db, "SELECT id FROM piece WHERE artist_id = ? AND key = ? AND id <> ?", [artist_id, key, piece_id])
    if other is None:
        return artist_id
    if not exists(db, "SELECT 1 FROM piece_stated WHERE piece_id = ?", [other]) and (
            not stated_facts.is_referred_to(db, other)):
        db.execute("UPDATE piece SET key = ? WHERE id = ?", [f"{key}\n{other}", other])
        mark_filed_scans_stale(db, other)
        mark_stale(db, "piece", [other])
        return artist_id
    if held is not None and stated["artist_id"] is None and stated["title"] is None and (
            held["artist_id"] != artist_id):
        return int(held["artist_id"])
    title = fetch_text(db, "SELECT title FROM piece WHERE id = ?", [other])
    name = fetch_text(db, "SELECT name FROM artist WHERE id = ?", [artist_id])
    raise AlreadyExists(f"{name} already has a piece called {title!r}.",
                        hint="If they are the same, merge them: catalogue piece merge.")


def mark_filed_scans_stale(db: Database, piece_id: int) -> None:
    """Mark stale the scans filed under a piece, or to be filed there by guess or statement."""
    db.execute("""INSERT OR IGNORE INTO unsettled SELECT 'scan', id FROM scan WHERE piece_id = ?1
                  UNION SELECT 'scan', scan_id FROM scan_guess WHERE piece_id = ?1
                  UNION SELECT 'scan', c.id FROM scan_stated s JOIN scan c ON c.sha256 = s.sha256
                  WHERE s.piece_id = ?1""", [piece_id])


def mark_scans_stale(db: Database, piece_id: int, artist_id: int, key: str, stated: stated_facts.Row) -> None:
    """Mark stale the scans whose guess may lead to a piece, or no longer does."""
    db.execute("""INSERT OR IGNORE INTO unsettled
                  SELECT 'scan', scan_id FROM scan_guess WHERE piece_id = ?1 OR title_key IN (?2, ?3)
                  UNION SELECT 'scan', c.id FROM scan_stated s JOIN scan c ON c.sha256 = s.sha256
                  WHERE s.piece_id = ?1""", [piece_id, key, stated["known_key"]])
    mark_stale(db, "piece", [int(row[0]) for row in db.execute(
        "SELECT id FROM piece WHERE artist_id = ? AND key = ? AND id <> ?", [artist_id, key, piece_id])])


def mark_joined_scans_stale(db: Database, piece_id: int) -> None:
    """Mark stale the scans guessed or filed under pieces merged into one that was recreated or deleted."""
    db.execute("""WITH RECURSIVE part (id, known_key, key) AS (
                      SELECT piece_id, known_key, folded(coalesce(title, known_title)) FROM piece_stated
                      WHERE piece_id = ?
                      UNION SELECT s.piece_id, s.known_key, folded(coalesce(s.title, s.known_title))
                      FROM piece_stated s JOIN part ON s.joined_into = part.id)
                  INSERT OR IGNORE INTO unsettled
                  SELECT 'scan', g.scan_id FROM part JOIN scan_guess g ON g.title_key IN (part.known_key, part.key)
                  UNION SELECT 'scan', c.id FROM part JOIN scan_stated s ON s.piece_id = part.id
                  JOIN scan c ON c.sha256 = s.sha256""", [piece_id])
