"""Orders and their lines: who had what printed, when, how large, on what, and from which exact bytes."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from catalogue.errors import AlreadyExists, NotFound, Refused, required
from catalogue.records.numbers import numbers_text
from catalogue.records.order_states import HANDED, LINE_STATUS, ORDER_STATUS
from catalogue.records.rows import Database, fetch, fetch_id, fetch_one, insert_row, now, save_row, update_row

OWN_DIGITS = 9      # of a number of our own form; longer ones are somebody else's way of counting
STATUSES = ("requested", "approved", "printed", "collected", "cancelled")
MADE = ("printed", "collected")     # of a line whose prints there are
PARTLY_COLLECTED = "partly"           # asked for beside STATUSES: what is to come of an order collected in part
STATUS_SPELLINGS = {"canceled": "cancelled", "asked": "requested"}  # typed for one of STATUSES; "asked" of old


def known_status(text: str) -> str:
    """A status from one of its spellings. Raises Refused if it is unknown."""
    status = STATUS_SPELLINGS.get(text, text)
    if status not in STATUSES:
        raise Refused(f"{text!r} is not a state of an order.", hint=f"Choose one of: {', '.join(STATUSES)}.")
    return status


@dataclass(frozen=True, slots=True)
class Order:
    """``status`` is as stated, but ``collected`` where all prints of every line were handed over."""

    id: int
    number: str
    placed: str
    buyer: str
    status: str
    currency: str
    notes: str


@dataclass(frozen=True, slots=True)
class NewLine:
    """What an order line says, before it is recorded. Lengths in mm.

    ``price`` is decimal text for the line, ``unit_price`` for one print, or empty if it was never said; where it is not
    empty, ``price`` is ``quantity`` times it.
    """

    piece_id: int
    width_mm: float
    height_mm: float
    quantity: int
    medium: str = ""
    border_mm: float = 0.0
    wrap_mm: float = 0.0
    edge: str = ""
    edition_id: int | None = None
    scan_sha256: str = ""
    scan_name: str = ""
    profile: str = ""
    settings: str = ""
    price: str = ""
    notes: str = ""
    repeat_of: int | None = None
    unit_price: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line(NewLine):
    """A recorded line with its order, its piece, and the edition numbers it took (``"3–12, AP I"``).

    ``status`` is the order's as stated, but ``cancelled`` where the line alone was, and ``collected`` where all its
    prints were handed over; ``order_status`` is that of :class:`Order`. ``handed`` prints are on record as handed over:
    of an order that was stated as collected it may be fewer than all.
    """

    id: int
    order_id: int
    cancelled: int
    number: str
    placed: str
    buyer: str
    status: str
    currency: str
    artist: str
    title: str
    numbers: str
    handed: int
    order_status: str

    @property
    def partly(self) -> str:
        """``"3 of 10 handed over"`` where some prints were and others are still to come, else empty."""
        if self.status in ("collected", "cancelled") or not self.handed:
            return ""
        return f"{self.handed} of {self.quantity} handed over"

    @property
    def order_state(self) -> str:
        """The status of its order, but ``cancelled`` where the line alone was."""
        return "cancelled" if self.cancelled else self.order_status

    @property
    def state(self) -> str:
        """How far the line is, in words."""
        return self.partly or self.status


_SELECT_ORDER = f"SELECT o.id, o.number, o.placed, o.buyer, {ORDER_STATUS} AS status, o.currency, o.notes FROM orders o"
SELECT_LINE = f"""SELECT l.*, o.number, o.placed, o.buyer, {LINE_STATUS} AS status, o.currency, a.name AS artist,
                  p.title, {HANDED} AS handed, {ORDER_STATUS} AS order_status,
                  coalesce((SELECT group_concat(series || ' ' || number) FROM (
                      SELECT DISTINCT series, number FROM edition_print WHERE line_id = l.id)), '') AS numbers
           FROM order_line l JOIN orders o ON o.id = l.order_id
           JOIN piece p ON p.id = l.piece_id JOIN artist a ON a.id = p.artist_id"""


def lines_where(db: Database, where: str, values: list[object]) -> list[Line]:
    """Lines that meet a condition over the tables of ``SELECT_LINE``, in the order it names."""
    return [line_of(row) for row in db.execute(SELECT_LINE + where, values)]


def line_of(row: Mapping[str, Any]) -> Line:
    """A row of ``SELECT_LINE`` as a line."""
    line = Line(**dict(row))
    return replace(line, numbers=_written(line.numbers)) if line.numbers else line


def _written(packed: str) -> str:
    """``"number 3,number 4,proof 1"`` as people write it."""
    return numbers_text((series, int(number)) for series, _,
                        number in (part.partition(" ") for part in packed.split(",")))


def add(db: Database, number: str, placed: str, *, buyer: str = "", status: str = "requested", currency: str = "",
        notes: str = "") -> int:
    """A new order; returns its id. Raises Refused if there is one of that number."""
    if find_by_number(db, number) is not None:
        raise AlreadyExists(f"There is already an order {number!r}.", hint="Use another number.")
    return save(db, number, placed, buyer=buyer, status=status, currency=currency, notes=notes)


def save(db: Database, number: str, placed: str, *, buyer: str = "", status: str = "requested", currency: str = "",
         notes: str = "") -> int:
    """The order of that number, made if new; returns its id."""
    return fetch_id(db, "SELECT id FROM orders WHERE number = ?", [number]) or insert_row(
        db, "orders", {"number": number, "placed": placed, "buyer": buyer, "status": status, "currency": currency,
                       "notes": notes})


def add_line(db: Database, order_id: int, line: NewLine) -> int:
    """Record one line; returns its id.

    Raises Refused if the piece, the edition or the earlier line it names is no longer on record, for example because
    another workstation merged the piece meanwhile.
    """
    try:
        return insert_row(db, "order_line", {"order_id": order_id, **{
            name: getattr(line, name) for name in NewLine.__dataclass_fields__}})
    except sqlite3.IntegrityError as error:
        if error.sqlite_errorname != "SQLITE_CONSTRAINT_FOREIGNKEY":
            raise
        raise Refused("The piece, its edition or the earlier order has been merged or removed since; nothing was"
                      " recorded.", hint="Look the piece up again and start over.") from error


def by_number(db: Database, number: str) -> Order:
    """The order of that number; of the only one that is it in other case, where none is it exactly. Raises NotFound."""
    order = find_by_number(db, number)
    if order is None:
        alike = fetch(db, Order, f"{_SELECT_ORDER} WHERE o.number = ? COLLATE NOCASE LIMIT 2", [number])
        order = alike[0] if len(alike) == 1 else None
    return required(order, f"There is no order {number!r}.", "List them with: catalogue order list.")


def find_by_number(db: Database, number: str) -> Order | None:
    """The order of exactly that number; None if there is none."""
    return fetch_one(db, Order, f"{_SELECT_ORDER} WHERE o.number = ?", [number])


def by_id(db: Database, order_id: int) -> Order | None:
    """The order of that id; None if there is none."""
    return fetch_one(db, Order, f"{_SELECT_ORDER} WHERE o.id = ?", [order_id])


def line(db: Database, line_id: int) -> Line | None:
    """The order line of that id; None if there is none."""
    return next(iter(lines_where(db, " WHERE l.id = ?", [line_id])), None)


def get_line(db: Database, line_id: int) -> Line:
    """As :func:`line`. Raises NotFound."""
    return required(line(db, line_id), f"There is no order line number {line_id}.")


def lines_by_number(db: Database, number: str, line_id: int | None = None) -> list[Line]:
    """The lines of the order of that number, or one of them. Raises NotFound, also if it has no lines."""
    lines = [line for line in lines_of(db, by_number(db, number).id) if line_id in (None, line.id)]
    if not lines:
        raise NotFound(f"Order {number!r} has no line {line_id}." if line_id else f"{number!r} has no lines.")
    return lines


def lines_of(db: Database, order_id: int) -> list[Line]:
    """The lines of an order, cancelled ones too, in the order they were recorded."""
    return lines_where(db, " WHERE l.order_id = ? ORDER BY l.id", [order_id])


def lines_of_piece(db: Database, piece_id: int) -> list[Line]:
    """A piece's lines, newest first."""
    return lines_where(db, " WHERE l.piece_id = ? ORDER BY o.placed DESC, l.id DESC", [piece_id])


def lines_like(db: Database, order_id: int, new: NewLine) -> list[Line]:
    """Lines of this order with the same facts, so that importing the same books again records nothing twice."""
    return lines_where(db, """ WHERE l.order_id = ? AND l.piece_id = ? AND l.width_mm = ? AND l.height_mm = ?
                          AND l.medium = ? AND l.quantity = ? AND l.notes = ? AND l.border_mm = ? AND l.wrap_mm = ?
                          AND (l.price = '') = (? = '') AND CAST(l.price AS REAL) = CAST(? AS REAL)
                          ORDER BY l.id""",
                       [order_id, new.piece_id, new.width_mm, new.height_mm, new.medium, new.quantity, new.notes,
                        new.border_mm, new.wrap_mm, new.price, new.price])


def next_number(db: Database, year: str) -> str:
    """A free order number of our own form, ``2026-0042``."""
    highest = 0
    own = f"{year}-"
    for (number,) in db.execute("""SELECT number FROM (SELECT number FROM orders UNION
                                                       SELECT number FROM order_number_known)
                                   WHERE substr(number, 1, length(?1)) = ?1""", [own]):
        digits = number.removeprefix(own)
        if digits.isascii() and digits.isdecimal() and len(digits) <= OWN_DIGITS:
            highest = max(highest, int(digits))
    return f"{year}-{highest + 1:04d}"


def note_known(db: Database, number: str, source: str) -> None:
    """Reserve a number found on paper, though no order with it is on record."""
    db.execute("""INSERT INTO order_number_known (number, source, noted) VALUES (?, ?, ?)
                  ON CONFLICT (number) DO NOTHING""", [number, source, now()])


def set_status(db: Database, order_id: int, status: str) -> None:
    """Set the state of an order; triggers move its numbered prints."""
    db.execute("UPDATE orders SET status = ? WHERE id = ?", [status, order_id])


def cancel_line(db: Database, line_id: int) -> None:
    """Cancel this line only; its order continues."""
    db.execute("UPDATE order_line SET cancelled = 1 WHERE id = ?", [line_id])


def set_scan(db: Database, line_id: int, sha256: str) -> None:
    """Tie a line to the scan it was printed from, once that is known."""
    db.execute("UPDATE order_line SET scan_sha256 = ? WHERE id = ?", [sha256, line_id])


def imported_line(db: Database, digest: str, nth: int) -> int | None:
    """The line recorded for the ``nth`` identical row of a CSV file, or None."""
    return fetch_id(db, "SELECT line_id FROM imported_row WHERE digest = ? AND nth = ?", [digest, nth])


def note_imported(db: Database, digest: str, nth: int, line_id: int) -> None:
    """Note which line a row of an imported file became, so that it is not imported twice."""
    save_row(db, "imported_row", {"digest": digest, "nth": nth}, {"line_id": line_id})


def all_lines(db: Database) -> list[Line]:
    """Every line, oldest first."""
    return lines_where(db, " ORDER BY o.placed, o.id, l.id", [])


ORDER_FACTS = ("placed", "buyer", "currency", "notes")
LINE_FACTS = ("medium", "edge", "profile", "settings", "price", "unit_price", "notes", "width_mm", "height_mm",
              "border_mm", "wrap_mm", "quantity", "piece_id", "scan_sha256", "scan_name", "edition_id", "repeat_of")


def change(db: Database, order_id: int, facts: Mapping[str, object]) -> None:
    """Correct an order; ``facts`` by names of ``ORDER_FACTS``."""
    _change(db, "orders", ORDER_FACTS, order_id, facts)


def change_line(db: Database, line_id: int, facts: Mapping[str, object]) -> None:
    """Correct a line; ``facts`` by names of ``LINE_FACTS``."""
    _change(db, "order_line", LINE_FACTS, line_id, facts)


def _change(db: Database, table: str, allowed: tuple[str, ...], row_id: int, facts: Mapping[str, object]) -> None:
    if other := set(facts) - set(allowed):
        raise ValueError(f"not to be changed: {sorted(other)}")
    if facts:
        update_row(db, table, facts, {"id": row_id})


def every(db: Database) -> list[Order]:
    """Every order, oldest first."""
    return fetch(db, Order, f"{_SELECT_ORDER} ORDER BY o.placed, o.id")
