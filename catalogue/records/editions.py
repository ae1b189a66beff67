"""Editions and the numbers issued in them. What may be issued is decided in :mod:`catalogue.ledger.editions`."""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from catalogue.errors import Refused
from catalogue.records.database import Database, fetch, fetch_one, inserted, now
from catalogue.records.numbers import Number, written

SCOPES = ("all sizes", "one size")


@dataclass(frozen=True, slots=True)
class Edition:
    """N prints and some proofs of one piece. Lengths in mm, given with scope ``one size``."""

    id: int
    piece_id: int
    size_limit: int
    proofs: int
    scope: str
    width_mm: float | None
    height_mm: float | None
    medium: str
    opened: str
    closed: str
    notes: str


@dataclass(frozen=True, slots=True)
class Issued:
    """One print of an edition that is out, with the order that took it and its losses."""

    series: str
    number: int
    issued: str
    line_id: int | None
    order_number: str
    placed: str
    buyer: str
    status: str
    width_mm: float | None
    height_mm: float | None
    medium: str
    scan_sha256: str
    destroyed: str      # date of the last loss, or ""
    reason: str
    replaced_in: str    # number of the order that printed it anew, or ""

    @property
    def lost(self) -> bool:
        """Destroyed and not printed again."""
        return bool(self.destroyed) and not self.replaced_in


def add(db: Database, piece_id: int, size_limit: int, *, proofs: int = 0, scope: str = "all sizes",
        width_mm: float | None = None, height_mm: float | None = None, medium: str = "", opened: str = "",
        closed: str = "", notes: str = "") -> int:
    return inserted(db, """INSERT INTO edition (piece_id, size_limit, proofs, scope, width_mm, height_mm, medium,
                                                opened, closed, notes) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)""",
                    [piece_id, size_limit, proofs, scope, width_mm, height_mm, medium, opened, closed, notes])


def change(db: Database, edition_id: int, *, size_limit: int, proofs: int, medium: str, opened: str, closed: str,
           notes: str) -> None:
    """Raises Refused where numbers already out forbid another N or fewer proofs."""
    try:
        db.execute("""UPDATE edition SET size_limit = ?, proofs = ?, medium = ?, opened = ?, closed = ?, notes = ?
                      WHERE id = ?""", [size_limit, proofs, medium, opened, closed, notes, edition_id])
    except sqlite3.IntegrityError as error:
        raise Refused(f"The edition stays as it is: {error}.", hint="N is fixed once a number is out.") from error


def by_id(db: Database, edition_id: int) -> Edition | None:
    return fetch_one(db, Edition, "SELECT * FROM edition WHERE id = ?", [edition_id])


def of_piece(db: Database, piece_id: int) -> list[Edition]:
    """A piece's editions: open ones first, those of one size before those of all."""
    return fetch(db, Edition, """SELECT * FROM edition WHERE piece_id = ?
                                 ORDER BY closed <> '', scope = 'all sizes', id""", [piece_id])


def listed(db: Database, artist_id: int | None = None) -> list[Edition]:
    """Every edition, of one artist or of all, by artist and title."""
    return fetch(db, Edition, """
        SELECT e.* FROM edition e JOIN piece p ON p.id = e.piece_id JOIN artist a ON a.id = p.artist_id
        WHERE ?1 IS NULL OR a.id = ?1 ORDER BY a.key, p.key, e.id""", [artist_id])


def taken(db: Database, edition_id: int, series: str) -> set[int]:
    """Numbers of one series that are out."""
    return {int(row[0]) for row in db.execute(
        "SELECT number FROM edition_number WHERE edition_id = ? AND series = ?", [edition_id, series])}


def take(db: Database, edition_id: int, numbers: Iterable[Number], line_id: int | None) -> None:
    """Issue these very numbers; raises Refused at the first that is out already or beyond the edition."""
    for series, number in numbers:
        try:
            # a number held for an order that only its sheet knew goes to that order once it is entered again
            held = db.execute("""UPDATE edition_number SET line_id = ?1
                WHERE edition_id = ?2 AND series = ?3 AND number = ?4 AND line_id IS NULL AND EXISTS (
                    SELECT 1 FROM order_line l JOIN orders o ON o.id = l.order_id
                    JOIN order_number_known k ON k.number = o.number WHERE l.id = ?1)""",
                              [line_id, edition_id, series, number])
            if held.rowcount != 1:
                db.execute("""INSERT INTO edition_number (edition_id, series, number, line_id, issued)
                              VALUES (?, ?, ?, ?, ?)""", [edition_id, series, number, line_id, now()])
        except sqlite3.IntegrityError as error:
            name = written([(series, number)])
            if "beyond" in str(error):
                raise Refused(f"Number {name} is beyond the edition.") from error
            raise Refused(f"Number {name} is out already.", hint="See who has it: catalogue edition show.") from error


def release(db: Database, line_id: int) -> int:
    """Free the numbers of a line that was never printed; gives how many. One destroyed was printed, and stays out."""
    return int(db.execute("""DELETE FROM edition_number AS n WHERE line_id = ? AND NOT EXISTS (
        SELECT 1 FROM destroyed_print d
        WHERE d.edition_id = n.edition_id AND d.series = n.series AND d.number = n.number)""", [line_id]).rowcount)


def of_line(db: Database, line_id: int) -> list[Number]:
    """Numbers one line took."""
    return [Number(*row) for row in db.execute(
        "SELECT series, number FROM edition_number WHERE line_id = ? ORDER BY series, number", [line_id])]


def issued(db: Database, edition_id: int) -> list[Issued]:
    """Every print that is out, numbers first, then proofs."""
    return fetch(db, Issued, """
        SELECT n.series, n.number, n.issued, n.line_id, coalesce(o.number, '') AS order_number,
               coalesce(o.placed, '') AS placed, coalesce(o.buyer, '') AS buyer, coalesce(o.status, '') AS status,
               l.width_mm, l.height_mm, coalesce(l.medium, '') AS medium, coalesce(l.scan_sha256, '') AS scan_sha256,
               coalesce(d.destroyed, '') AS destroyed, coalesce(d.reason, '') AS reason,
               coalesce(ro.number, '') AS replaced_in
        FROM edition_number n LEFT JOIN order_line l ON l.id = n.line_id LEFT JOIN orders o ON o.id = l.order_id
        LEFT JOIN destroyed_print d ON d.id = (
            SELECT max(id) FROM destroyed_print x
            WHERE x.edition_id = n.edition_id AND x.series = n.series AND x.number = n.number)
        LEFT JOIN order_line rl ON rl.id = d.line_id LEFT JOIN orders ro ON ro.id = rl.order_id
        WHERE n.edition_id = ? ORDER BY n.series, n.number""", [edition_id])


def destroy(db: Database, edition_id: int, number: Number, destroyed: str, reason: str) -> None:
    """Record that a print is no more; raises Refused if it never was, or is recorded so already."""
    if db.execute("SELECT 1 FROM edition_number WHERE edition_id = ? AND series = ? AND number = ?",
                  [edition_id, *number]).fetchone() is None:
        raise Refused(f"Number {written([number])} was never issued.")
    try:
        db.execute("INSERT INTO destroyed_print (edition_id, series, number, destroyed, reason) VALUES (?, ?, ?, ?, ?)",
                   [edition_id, *number, destroyed, reason])
    except sqlite3.IntegrityError as error:
        raise Refused(f"Number {written([number])} is recorded as destroyed already.") from error


def losses(db: Database, edition_id: int) -> set[tuple[Number, str]]:
    """Every print of the edition that was destroyed, and when; those printed anew as well."""
    return {(Number(series, number), day) for series, number, day in db.execute(
        "SELECT series, number, destroyed FROM destroyed_print WHERE edition_id = ?", [edition_id])}


def replace(db: Database, edition_id: int, number: Number, line_id: int) -> None:
    """Let ``line_id`` print a destroyed number anew; raises Refused unless its destruction is on record."""
    done = db.execute("""UPDATE destroyed_print SET line_id = ?
                         WHERE edition_id = ? AND series = ? AND number = ? AND line_id IS NULL""",
                      [line_id, edition_id, *number])
    if done.rowcount != 1:
        raise Refused(f"Number {written([number])} is not recorded as destroyed.",
                      hint="A number is printed again only after the old print is destroyed.")


def give_back(db: Database, line_id: int) -> None:
    """Undo the replacements of a line that was never printed: the numbers are lost again."""
    db.execute("""UPDATE destroyed_print AS d SET line_id = NULL WHERE line_id = ? AND NOT EXISTS (
        SELECT 1 FROM destroyed_print x WHERE x.edition_id = d.edition_id AND x.series = d.series
        AND x.number = d.number AND x.line_id IS NULL)""", [line_id])


def by_line(db: Database) -> tuple[dict[int, list[Number]], dict[int, list[Number]],
                                   dict[int, list[tuple[Number, str, str]]]]:
    """For every line: numbers it took; destroyed ones it printed anew; and which of its prints were lost, with date
    and reason. The first print of a number was its line's; each later one that of the line that printed it anew.
    """
    held: dict[int, list[Number]] = {}
    anew: dict[int, list[Number]] = {}
    lost: dict[int, list[tuple[Number, str, str]]] = {}
    printed_by: dict[tuple[int, Number], int | None] = {}
    for edition_id, series, number, line_id in db.execute(
            "SELECT edition_id, series, number, line_id FROM edition_number ORDER BY edition_id, series, number"):
        printed_by[edition_id, Number(series, number)] = line_id
        if line_id is not None:
            held.setdefault(line_id, []).append(Number(series, number))
    for edition_id, series, number, day, reason, line_id in db.execute(
            "SELECT edition_id, series, number, destroyed, reason, line_id FROM destroyed_print ORDER BY id"):
        one = Number(series, number)
        victim = printed_by[edition_id, one]
        if victim is not None:
            lost.setdefault(victim, []).append((one, day, reason))
        if line_id is not None:
            anew.setdefault(line_id, []).append(one)
        printed_by[edition_id, one] = line_id
    return held, anew, lost
