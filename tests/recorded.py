"""What tests record and read that the program itself has no need of in this form."""

from dataclasses import dataclass, replace

from catalogue.reading.model import Reading
from catalogue.records import effective, guesses, scans
from catalogue.records.database import Database, fetch, transaction
from catalogue.records.editions import Number
from catalogue.records.events import Event
from catalogue.records.findings import Finding
from catalogue.records.orders import SELECT_LINE, Line, line_of
from catalogue.records.print_moves import PrintMove


@dataclass(frozen=True, slots=True)
class Run:
    """A row of ``run``: one pass of indexing, audit or copying over a store."""

    id: int
    kind: str
    store_id: int | None
    started: str
    ended: str | None
    outcome: str
    counts: str


def save_scan(db: Database, reading: Reading, *, role: str, piece_id: int | None) -> int:
    """Record a reading's content with a guess of role and piece; gives the scan's id."""
    names = db.execute("""SELECT coalesce(s.known_artist, a.name), coalesce(s.known_title, p.title)
                          FROM piece p JOIN artist a ON a.id = p.artist_id
                          LEFT JOIN piece_stated s ON s.piece_id = p.id WHERE p.id = ?""", [piece_id]).fetchone()
    with transaction(db):
        scan_id = scans.save_reading(db, reading)
        guess = guesses.Guess(role=role)
        guesses.save(db, scan_id, replace(guess, artist=names[0], title=names[1]) if names else guess)
        effective.recompute(db)
    return scan_id


def events(db: Database, *, sha256: str = "") -> list[Event]:
    """Events in order, of one scan or of all."""
    return fetch(db, Event, "SELECT * FROM event WHERE ?1 IN ('', sha256) ORDER BY id", [sha256])


def runs(db: Database, kind: str | None = None) -> list[Run]:
    """Runs of a kind or of all, newest first."""
    return fetch(db, Run, "SELECT * FROM run WHERE ?1 IS NULL OR kind = ?1 ORDER BY id DESC", [kind])


def order_lines(db: Database) -> list[Line]:
    """Every line, newest first."""
    return [line_of(row) for row in db.execute(f"{SELECT_LINE} ORDER BY o.placed DESC, l.id DESC")]


def findings_of_scan(db: Database, scan_id: int) -> list[Finding]:
    """Open findings of a scan."""
    return fetch(db, Finding, "SELECT * FROM finding WHERE scan_id = ? AND resolved IS NULL ORDER BY id", [scan_id])


def moves(db: Database, edition_id: int) -> list[PrintMove]:
    """Every move of an edition's prints, oldest first."""
    return fetch(db, PrintMove, """SELECT edition_id, series, number, nth, day, place, holder, notes FROM print_move
                                   WHERE edition_id = ? ORDER BY day, id""", [edition_id])


def numbers_of_line(db: Database, line_id: int) -> list[Number]:
    """Numbers whose first print is one line's."""
    return [Number(*row) for row in db.execute(
        "SELECT series, number FROM edition_print WHERE line_id = ? AND nth = 1 ORDER BY series, number", [line_id])]
