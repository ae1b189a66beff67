"""Editions and the prints of their numbers. What may be issued is decided in :mod:`catalogue.ledger.editions`; which
moves a number can make (free, reserved, printed, destroyed, replaced) the table ``edition_print`` itself enforces.
"""

import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass

from catalogue.errors import Refused
from catalogue.records.numbers import Number, numbers_text
from catalogue.records.order_states import LINE_STATUS
from catalogue.records.rows import Database, fetch, fetch_one, insert_row, now, update_row

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
    replaced_in: str    # number of the order that printed it again, or ""
    state: str          # of its newest print: reserved, printed or destroyed

    @property
    def lost(self) -> bool:
        """Destroyed and not printed again."""
        return bool(self.destroyed) and not self.replaced_in


@dataclass(frozen=True, slots=True)
class LinePrint:
    """A print that an order line took: ``nth`` 1 the first of its number, 2 the one that replaced it."""

    series: str
    number: int
    nth: int
    state: str


def add(db: Database, piece_id: int, size_limit: int, **facts: object) -> int:
    """A new edition; ``facts`` are named as the fields of :class:`Edition`."""
    return insert_row(db, "edition", {"piece_id": piece_id, "size_limit": size_limit, **facts})


def change(db: Database, edition_id: int, **facts: object) -> None:
    """Set what ``facts`` name, as :func:`add` does. Raises Refused if numbers already out forbid another N or fewer
    proofs."""
    try:
        update_row(db, "edition", facts, {"id": edition_id})
    except sqlite3.IntegrityError as error:
        raise Refused(f"The edition was not changed: {error}.",
                      hint="The edition size is fixed once a number is issued.") from error


def by_id(db: Database, edition_id: int) -> Edition | None:
    """The edition of that id; None if there is none."""
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
    """Numbers of one series that are not free: reserved, printed, or destroyed."""
    return {int(row[0]) for row in db.execute(
        "SELECT number FROM edition_print WHERE edition_id = ? AND series = ?", [edition_id, series])}


def take(db: Database, edition_id: int, numbers: Iterable[Number], line_id: int | None) -> None:
    """Issue exactly these numbers; raises Refused at the first that is not free, or is beyond the edition."""
    for number in numbers:
        # a number held for an order that only its sheet knew goes to that order once it is entered again
        held = db.execute("""UPDATE edition_print SET line_id = ?1
            WHERE edition_id = ?2 AND series = ?3 AND number = ?4 AND line_id IS NULL AND EXISTS (
                SELECT 1 FROM order_line l JOIN orders o ON o.id = l.order_id
                JOIN order_number_known k ON k.number = o.number WHERE l.id = ?1)""", [line_id, edition_id, *number])
        if held.rowcount == 1:
            continue
        try:
            _add_print(db, edition_id, number, 1, line_id)
        except sqlite3.IntegrityError as error:
            name = numbers_text([number])
            edition = by_id(db, edition_id)
            if edition and number.number > (edition.size_limit if number.series == "number" else edition.proofs):
                raise Refused(f"Number {name} is beyond the edition size.") from error
            raise Refused(f"Number {name} has already been issued.",
                          hint="See who has it: catalogue edition show PIECE.") from error


def _add_print(db: Database, edition_id: int, number: Number, nth: int, line_id: int | None) -> None:
    """Reserved for an order that is not printed yet, else printed."""
    db.execute("""INSERT INTO edition_print (edition_id, series, number, nth, line_id, state, issued)
                  SELECT ?1, ?2, ?3, ?4, ?5, CASE WHEN EXISTS (
                      SELECT 1 FROM order_line l JOIN orders o ON o.id = l.order_id
                      WHERE l.id = ?5 AND l.cancelled = 0 AND o.status IN ('requested', 'approved'))
                  THEN 'reserved' ELSE 'printed' END, ?6""", [edition_id, *number, nth, line_id, now()])


def issued(db: Database, edition_id: int) -> list[Issued]:
    """Every number that is not free, numbers first, then proofs."""
    return fetch(db, Issued, f"""
        SELECT n.series, n.number, n.issued, n.line_id, coalesce(o.number, '') AS order_number,
               coalesce(o.placed, '') AS placed, coalesce(o.buyer, '') AS buyer,
               coalesce({LINE_STATUS}, '') AS status,
               l.width_mm, l.height_mm, coalesce(l.medium, '') AS medium, coalesce(l.scan_sha256, '') AS scan_sha256,
               coalesce(d.destroyed, '') AS destroyed, coalesce(d.reason, '') AS reason,
               coalesce(ro.number, CASE WHEN r.nth IS NULL THEN '' ELSE 'unknown' END) AS replaced_in,
               coalesce(r.state, d.state, n.state) AS state
        FROM edition_print n LEFT JOIN order_line l ON l.id = n.line_id LEFT JOIN orders o ON o.id = l.order_id
        LEFT JOIN edition_print d ON d.edition_id = n.edition_id AND d.series = n.series AND d.number = n.number
            AND d.nth = (SELECT max(nth) FROM edition_print x WHERE x.edition_id = n.edition_id
                         AND x.series = n.series AND x.number = n.number AND x.state = 'destroyed')
        LEFT JOIN edition_print r ON r.edition_id = d.edition_id AND r.series = d.series AND r.number = d.number
            AND r.nth = d.nth + 1
        LEFT JOIN order_line rl ON rl.id = r.line_id LEFT JOIN orders ro ON ro.id = rl.order_id
        WHERE n.edition_id = ? AND n.nth = 1 ORDER BY n.series, n.number""", [edition_id])


def _newest(db: Database, edition_id: int, number: Number) -> tuple[int, str]:
    """``(nth, state)`` of the newest print of a number; ``(0, "free")`` where there is none."""
    row = db.execute("""SELECT nth, state FROM edition_print WHERE edition_id = ? AND series = ? AND number = ?
                        ORDER BY nth DESC LIMIT 1""", [edition_id, *number]).fetchone()
    return (int(row[0]), str(row[1])) if row else (0, "free")


def destroy(db: Database, edition_id: int, number: Number, destroyed: str, reason: str) -> None:
    """Record that a print was destroyed; raises Refused if the number is free, or its loss is already on record.

    What was destroyed had been printed: a print whose order is still open counts as printed first.
    """
    nth, state = _newest(db, edition_id, number)
    name = numbers_text([number])
    if state == "free":
        raise Refused(f"Number {name} was never issued.")
    if state == "destroyed":
        raise Refused(f"Number {name} is already recorded as destroyed.")
    this = "WHERE edition_id = ? AND series = ? AND number = ? AND nth = ?"
    if state == "reserved":
        db.execute(f"UPDATE edition_print SET state = 'printed' {this}", [edition_id, *number, nth])
    db.execute(f"UPDATE edition_print SET state = 'destroyed', destroyed = ?, reason = ? {this}",
               [destroyed, reason, edition_id, *number, nth])


def losses(db: Database, edition_id: int) -> set[tuple[Number, str]]:
    """Every destroyed print of the edition, with its date, including those printed again."""
    return {(Number(series, number), day) for series, number, day in db.execute(
        "SELECT series, number, destroyed FROM edition_print WHERE edition_id = ? AND state = 'destroyed'",
        [edition_id])}


def replace(db: Database, edition_id: int, number: Number, line_id: int) -> None:
    """Let ``line_id`` print a destroyed number again; raises Refused unless its destruction is on record."""
    nth, state = _newest(db, edition_id, number)
    if state != "destroyed":
        raise Refused(f"Number {numbers_text([number])} is not recorded as destroyed.",
                      hint="A number is reprinted only after the old print is destroyed.")
    _add_print(db, edition_id, number, nth + 1, line_id)


def mark_printed(db: Database, line_id: int, numbers: Iterable[Number]) -> None:
    """Record that these prints of a line exist, though its order may not be printed yet."""
    for number in numbers:
        db.execute("""UPDATE edition_print SET state = 'printed'
                      WHERE line_id = ? AND series = ? AND number = ? AND state = 'reserved'""", [line_id, *number])


def of_line(db: Database, line_id: int) -> list[LinePrint]:
    """The prints that an order line took, lowest number first."""
    return fetch(db, LinePrint, """SELECT series, number, nth, state FROM edition_print WHERE line_id = ?
                                   ORDER BY series, number, nth""", [line_id])


def free(db: Database, line_id: int, prints: Iterable[LinePrint]) -> None:
    """Free these numbers, which were reserved for an order line."""
    for each in prints:
        db.execute("""DELETE FROM edition_print WHERE line_id = ? AND series = ? AND number = ? AND nth = ?""",
                   [line_id, each.series, each.number, each.nth])


def by_line(db: Database) -> tuple[dict[int, list[Number]], dict[int, list[Number]],
                                   dict[int, list[tuple[Number, str, str]]]]:
    """For every line: numbers it took; destroyed ones it printed again; and which of its prints were lost, with date
    and reason.
    """
    held: dict[int, list[Number]] = {}
    reprinted: dict[int, list[Number]] = {}
    lost: dict[int, list[tuple[Number, str, str]]] = {}
    for series, number, nth, line_id, state, day, reason in db.execute(
            """SELECT series, number, nth, line_id, state, destroyed, reason FROM edition_print
               WHERE line_id IS NOT NULL ORDER BY edition_id, series, number, nth"""):
        numbered = Number(series, number)
        (held if nth == 1 else reprinted).setdefault(line_id, []).append(numbered)
        if state == "destroyed":
            lost.setdefault(line_id, []).append((numbered, day, reason))
    return held, reprinted, lost
