"""Orders: record a print, move an order on, cancel a line, correct what is on record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from catalogue.errors import Refused
from catalogue.ledger import statuses
from catalogue.ledger.handovers import hand_over as hand_over_line
from catalogue.ledger.health import check_now
from catalogue.ledger.repeat import record as record_order
from catalogue.ledger.statuses import correct as correct_order
from catalogue.money import show_amount
from catalogue.operations.wording import counted
from catalogue.records import orders
from catalogue.records.database import Database, last_statement, statement_since, transaction
from catalogue.records.numbers import Number, is_several, numbered
from catalogue.records.orders import Line, Order

__all__ = ["OrdersChanged", "cancel_lines", "change_listed", "change_orders",
           "check_now", "correct_order", "hand_over", "record_order", "set_order_status", "summarize"]


@dataclass(frozen=True, slots=True)
class OrdersChanged:
    """Several orders, or lines of orders, changed at once. ``event`` undoes all of it; None if nothing changed.
    ``sentences`` describe what happened to lines where a count is not enough."""

    orders: tuple[Order, ...]
    lines: tuple[Line, ...]
    event: int | None
    sentences: tuple[str, ...] = ()


def set_order_status(db: Database, number: str, status: str, *, seen: str = "") -> Order:
    """Move an order on, or cancel it. ``seen`` is the status that was shown, if any was.

    Raises NotFound, Refused; Refused too where the order has a different status from the one seen.
    """
    with transaction(db):
        present = orders.by_number(db, number).status
        if seen and present != seen:
            raise Refused(f"The order is now {present}, no longer {seen}.", hint="Look at it again.")
        return statuses.set_status(db, number, status)


def cancel_lines(db: Database, line_ids: Sequence[int], *, of_order: str = "") -> OrdersChanged:
    """Cancel these lines, all or none, of ``of_order`` alone where that is said. Raises NotFound, Refused."""
    before = last_statement(db)
    with transaction(db, f"{counted(len(set(line_ids)), 'order line')} cancelled" if len(set(line_ids)) > 1 else ""):
        lines = [orders.get_line(db, line_id) for line_id in dict.fromkeys(line_ids)]
        for line in lines:
            if of_order:
                orders.lines_by_number(db, of_order, line.id)
            statuses.cancel_line(db, line.id)
        cancelled = tuple(orders.get_line(db, line.id) for line in lines)
    return OrdersChanged((), cancelled, statement_since(db, before), tuple(
        _cancelled(db, line, after) for line, after in zip(lines, cancelled, strict=True)))


def _cancelled(db: Database, line: Line, after: Line) -> str:
    """What happened to a cancelled line, its numbers and the rest of its order."""
    if line.status == "cancelled":
        return f"Line {line.id} of order {line.number} was cancelled already."
    several = is_several(line.numbers)
    fate = ("stay" if several else "stays") + " issued, since it was printed" if after.numbers else \
        ("are" if several else "is") + " free again"
    numbers = f"; {numbered(line.numbers)} {fate}" if line.numbers else ""
    rest = sum(other.status != "cancelled" for other in orders.lines_of(db, line.order_id))
    others = "That cancels the whole order." if not rest else \
        f"The order's other {'line stays' if rest == 1 else f'{rest} lines stay'}."
    return f"Line {line.id} of order {line.number} is cancelled{numbers}. {others}"


def hand_over(db: Database, line_ids: Sequence[int], *, quantity: int | None = None, numbers: Sequence[Number] = (),
              day: str = "", notes: str = "", of_order: str = "") -> OrdersChanged:
    """Record that prints of these lines were handed over, all or nothing: for one line a ``quantity`` or its
    ``numbers``, otherwise all that is left of each; only lines of ``of_order`` if given. Raises NotFound, Refused."""
    before, chosen = last_statement(db), list(dict.fromkeys(line_ids))
    with transaction(db):
        for line_id in chosen if of_order else ():
            orders.lines_by_number(db, of_order, line_id)
        for line_id in chosen:
            hand_over_line(db, line_id, quantity=quantity, numbers=numbers, day=day, notes=notes)
        after = [orders.get_line(db, line_id) for line_id in chosen]
    complete = dict.fromkeys(line.number for line in after if line.order_status == "collected")
    return OrdersChanged((), tuple(after), statement_since(db, before), (*map(_handed, after), *(
        f"Order {number} is collected." for number in complete)))


def _handed(line: Line) -> str:
    if line.status == "collected":
        return f"Line {line.id} of order {line.number}: handed over in full."
    return f"Line {line.id} of order {line.number}: {line.partly}, {line.quantity - line.handed} to come."


def change_orders(db: Database, numbers: Sequence[str], *, status: str | None = None, notes: str | None = None,
                  buyer: str | None = None, placed: str | None = None, unit_price: str | None = None) -> OrdersChanged:
    """Change several orders at once, all of them or none; None leaves what is. One statement, undone as one.

    ``unit_price`` is as typed and holds for every line of theirs that is not cancelled.

    Raises NotFound, Refused as :func:`set_order_status` and :func:`correct_order`.
    """
    facts = {name: value for name, value in (("notes", notes), ("buyer", buyer), ("placed", placed))
            if value is not None}
    before = last_statement(db)
    with transaction(db, f"{counted(len(set(numbers)), 'order')} changed"):
        for number in dict.fromkeys(numbers):
            if facts:
                statuses.correct(db, number, facts)
            for line in orders.lines_of(db, orders.by_number(db, number).id) if unit_price is not None else ():
                if line.status != "cancelled":
                    statuses.correct(db, number, {}, line_id=line.id, line={"unit_price": unit_price})
            if status is not None and status != orders.by_number(db, number).status:
                statuses.set_status(db, number, status)
        changed = tuple(orders.by_number(db, number) for number in dict.fromkeys(numbers))
    return OrdersChanged(changed, (), statement_since(db, before))


def change_listed(db: Database, line_ids: Sequence[int], *, status: str | None = None,
                  seen: Mapping[str, str] | None = None, unit_price: str | None = None, notes: str | None = None,
                  buyer: str | None = None, placed: str | None = None, quantity: int | None = None,
                  size: tuple[float, float] | None = None, medium: str | None = None,
                  piece_id: int | None = None) -> OrdersChanged:
    """Change lines as a list shows them, all or none; None leaves what is. One statement, undone as one.

    Piece, price of one print (as typed), quantity, size (width and height in mm), medium and notes are the lines' own;
    status, buyer and date their orders'.
    ``seen``: the status that was shown, by order number. Raises NotFound, Refused as :func:`set_order_status` and
    :func:`correct_order`.
    """
    of_order = {name: value for name, value in (("buyer", buyer), ("placed", placed)) if value is not None}
    width, height = size or (None, None)
    of_line = {name: value for name, value in (
        ("piece_id", piece_id), ("quantity", quantity), ("width_mm", width), ("height_mm", height), ("medium", medium),
        ("unit_price", unit_price), ("notes", notes)) if value is not None}
    before = last_statement(db)
    with transaction(db, f"{counted(len(set(line_ids)), 'order line')} changed" if len(set(line_ids)) > 1 else ""):
        lines = [orders.get_line(db, line_id) for line_id in dict.fromkeys(line_ids)]
        for number in dict.fromkeys(line.number for line in lines):
            if of_order:
                statuses.correct(db, number, of_order)
            if status is not None and status != orders.by_number(db, number).status:
                set_order_status(db, number, status, seen=(seen or {}).get(number, ""))
        for line in lines if of_line else ():
            statuses.correct(db, line.number, {}, line_id=line.id, line=of_line)
        changed = tuple(orders.get_line(db, line.id) for line in lines)
    return OrdersChanged((), changed, statement_since(db, before), _what_followed(lines, changed))


def _what_followed(before: Sequence[Line], after: Sequence[Line]) -> tuple[str, ...]:
    """The present piece of lines and their numbers; empty if neither changed."""
    sentences = []
    for old, new in zip(before, after, strict=True):
        numbers = (numbered(new.numbers) or "no number") + (f" instead of {old.numbers}" if old.numbers else "")
        numbers = "" if new.numbers == old.numbers and old.edition_id == new.edition_id else numbers
        name = f"Line {new.id} of order {new.number}"
        if new.piece_id != old.piece_id:
            sentences.append(", ".join(filter(None, (f"{name} is now {new.title} by {new.artist}", numbers))) + ".")
            if new.price:
                sentences.append(f"Its price stays {show_amount(new.price, new.currency)}.")
            if not new.scan_sha256:
                sentences.append("No current master is chosen for that piece.")
        elif numbers and new.status != "cancelled":
            sentences.append(f"{name}: {numbers}.")
    moved = any(old.piece_id != new.piece_id for old, new in zip(before, after, strict=True))
    return tuple(sentences if moved or not sentences else [f"Changed {counted(len(after), 'order line')}.", *sentences])


def summarize(result: Line | Order | OrdersChanged) -> list[str]:
    """What was recorded, or the order's new state."""
    match result:
        case Order():
            return [f"Order {result.number} is {result.status}."]
        case OrdersChanged(event=None):
            return ["Nothing to change."]
        case OrdersChanged():
            count = counted(len(result.orders), "order") if result.orders else counted(len(result.lines), "order line")
            return list(result.sentences) or [f"Changed {count}."]
    numbers = f", {numbered(result.numbers)}" if result.numbers else ""
    return [f"Recorded as order {result.number}, line {result.id}{numbers}."]
