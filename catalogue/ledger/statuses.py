"""How an order advances (requested, approved, printed, collected; or cancelled), and how it is corrected."""

from collections.abc import Mapping, Sequence

from catalogue import money
from catalogue.errors import Refused, refusing
from catalogue.ledger.line_corrections import facts_that_follow
from catalogue.ledger.prices import Prices, corrected_prices
from catalogue.records import editions, orders
from catalogue.records.database import Database, transaction
from catalogue.records.orders import Line, Order


def set_status(db: Database, number: str, status: str) -> Order:
    """Move an order to another status.

    Cancelling before printing frees its edition numbers. Once printed the prints exist: their numbers stay out,
    whatever the order is set to later, and only a recorded destruction lets one be printed again. Triggers of the table
    of prints do both. A cancelled order stays cancelled.

    Raises NotFound; Refused: no such status, the order is cancelled, is to be cancelled though some of its prints were
    handed over and others not, or is to be back in an earlier state though all were.
    """
    status = orders.known_status(status)
    with transaction(db):
        order = orders.by_number(db, number)
        if order.status == "cancelled" and status != "cancelled":
            raise Refused(f"Order {number!r} was cancelled, and its numbers may have been issued again.",
                          hint="Record a new one: catalogue order repeat.")
        if status == "cancelled":
            _refuse_if_partly(f"order {number}", [line for line in orders.lines_of(db, order.id)
                                                  if line.status != "cancelled"],
                              "Cancel the lines with nothing handed over, and correct the quantity of the others.")
        orders.set_status(db, order.id, status)
        after = orders.by_number(db, number)
        if after.status != status:
            raise Refused(f"All prints of order {number} were handed over.",
                          hint="If that is wrong, undo the handover: catalogue history, then catalogue undo.")
        return after


def _refuse_if_partly(name: str, lines: Sequence[Line], hint: str) -> None:
    """Raise Refused if these lines were handed over in part: it is unclear what should be cancelled."""
    gone = sum(line.quantity if line.status == "collected" else line.handed for line in lines)
    count = sum(line.quantity for line in lines)
    if 0 < gone < count:
        raise Refused(f"{gone} of {count} prints of {name} were handed over, so it cannot be cancelled.", hint=hint)


def cancel_line(db: Database, line_id: int) -> Line:
    """Cancel one line, as :func:`set_status` cancels a whole order; cancelling the last line cancels the order."""
    with transaction(db):
        line = orders.get_line(db, line_id)
        order = orders.by_number(db, line.number)
        if line.status != "cancelled":
            made = sum(each.state != "reserved" for each in editions.of_line(db, line.id))
            hint = f"If the rest is not wanted, correct its quantity to {line.handed}."
            if made > line.handed:
                hint = ("Its other prints are made and keep their numbers. Once nothing more is to come, set the order"
                        " to collected.")
            _refuse_if_partly(f"line {line.id} of order {order.number}", [line], hint)
        orders.cancel_line(db, line_id)
        if all(other.status == "cancelled" for other in orders.lines_of(db, order.id)):
            orders.set_status(db, order.id, "cancelled")
        return orders.get_line(db, line_id)


def correct(db: Database, number: str, order: Mapping[str, object], *, line_id: int | None = None,
            line: Mapping[str, object] | None = None) -> Order:
    """Correct an order and, with ``line_id``, one of its lines.

    Prices are given as typed; a line's two prices stay in step with its quantity, and with a currency that is
    corrected. Its scan, edition and numbers follow its piece, size, medium and quantity. Raises:
        NotFound: no such order, line or piece. Refused: as :func:`facts_that_follow`; a price or a currency that is
        none; fewer prints than were handed over.
    """
    with transaction(db):
        known = orders.by_number(db, number)
        if order.get("currency", known.currency) != known.currency:
            with refusing():
                order = {**order, "currency": money.currency_code(str(order["currency"]))}
        orders.change(db, known.id, order)
        if "currency" in order:
            for candidate in orders.lines_of(db, known.id):
                orders.change_line(db, candidate.id, _after(candidate, currency=str(order["currency"])))
        if line:
            order_line, *_ = orders.lines_by_number(db, number, line_id or 0)
            follow = facts_that_follow(db, order_line, line)
            orders.change_line(db, order_line.id, {**line, **follow, **_repriced(order_line, line)})
        return orders.by_number(db, number)


def _repriced(line: Line, changes: Mapping[str, object]) -> dict[str, str]:
    """Both prices after one of them or the quantity is corrected."""
    if not {"price", "unit_price", "quantity"} & set(changes):
        return {}
    price, unit = (str(changes[name]) if name in changes else None for name in ("price", "unit_price"))
    return _after(line, quantity=int(str(changes.get("quantity", line.quantity))), price=price, unit=unit)


def _after(line: Line, *, quantity: int | None = None, currency: str | None = None, price: str | None = None,
           unit: str | None = None) -> dict[str, str]:
    return corrected_prices(Prices(line.unit_price, line.price), quantity or line.quantity,
                            line.currency if currency is None else currency, price=price, unit=unit)._asdict()
