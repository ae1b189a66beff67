"""How an order moves on: asked, approved, printed, collected; or cancelled."""

from catalogue.errors import Refused
from catalogue.records import editions, orders
from catalogue.records.database import Database, transaction
from catalogue.records.orders import Order


def set_status(db: Database, number: str, status: str) -> Order:
    """Move an order to another status.

    Cancelling before printing frees its edition numbers. Once printed the prints exist: their numbers stay out, and
    only a recorded destruction lets one be printed again. A cancelled order stays cancelled.
    """
    if status not in orders.STATUSES:
        raise Refused(f"{status!r} is no status.", hint=f"Choose one of: {', '.join(orders.STATUSES)}.")
    with transaction(db):
        order = orders.by_number(db, number)
        if order.status == "cancelled" and status != "cancelled":
            raise Refused(f"The order {number!r} was cancelled, and its numbers may be out elsewhere.",
                          hint="Record a new one: catalogue order repeat.")
        if status == "cancelled" and order.status in ("asked", "approved"):
            for line in orders.lines_of(db, order.id):
                editions.release(db, line.id)
                editions.give_back(db, line.id)
        orders.set_status(db, order.id, status)
        return orders.by_number(db, number)
