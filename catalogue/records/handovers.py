"""Prints handed over, by order line and day. What of a line and an order that makes ``collected`` is said in
:mod:`catalogue.records.order_states`.
"""

from dataclasses import asdict, dataclass

from catalogue.records.database import Database, fetch
from catalogue.records.rows import insert_row


@dataclass(frozen=True, slots=True)
class NewHandover:
    """A number of prints of a line handed over on an ISO date; ``numbers`` are their edition numbers, as text."""

    line_id: int
    day: str
    quantity: int
    numbers: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover(NewHandover):
    """A recorded one."""

    id: int


def add(db: Database, handover: NewHandover) -> int:
    """Record prints as handed over; returns its id. Call within a transaction."""
    return insert_row(db, "handover", asdict(handover))


def of_line(db: Database, line_id: int) -> list[Handover]:
    """What was handed over of a line, by day."""
    return fetch(db, Handover, "SELECT * FROM handover WHERE line_id = ? ORDER BY day, id", [line_id])


def of_order(db: Database, order_id: int) -> list[Handover]:
    """What was handed over of an order, by line and day."""
    return fetch(db, Handover, """SELECT h.* FROM handover h JOIN order_line l ON l.id = h.line_id
                                  WHERE l.order_id = ? ORDER BY l.id, h.day, h.id""", [order_id])


def by_line(db: Database) -> dict[int, list[Handover]]:
    """What was handed over of every line, by day."""
    lines: dict[int, list[Handover]] = {}
    for handover in fetch(db, Handover, "SELECT * FROM handover ORDER BY day, id"):
        lines.setdefault(handover.line_id, []).append(handover)
    return lines
