"""``catalogue order status``, ``handover``, ``change`` and ``correct``: change orders that are on record."""

from typing import Any

import click

from catalogue.commands.order_options import PRINTING, SHAPE, StatusChoice, options, print_facts
from catalogue.commands.order_text import print_changed, print_order
from catalogue.commands.session import Session, SessionCommand
from catalogue.errors import Ambiguous, Refused, refusing
from catalogue.records import orders
from catalogue.records.numbers import MOST, parse_numbers
from catalogue.records.orders import STATUSES


@click.command("status", cls=SessionCommand)
@click.argument("number")
@click.argument("status", type=StatusChoice(STATUSES), metavar="STATUS")
@click.option("--line", "line_id", type=int, help="With cancelled: only this line.")
def set_status(session: Session, number: str, status: str, line_id: int | None) -> None:
    """Move an order on, or cancel it.

    STATUS is requested, approved, printed, collected or cancelled. Cancelling before printing frees its edition
    numbers; a cancelled order stays cancelled.
    """
    from catalogue.operations.orders import cancel_lines, set_order_status, summarize

    db = session.existing()
    if line_id is not None:
        if status != "cancelled":
            raise click.UsageError("A single line can only be cancelled; if its prints were collected, use: catalogue "
                                   "order handover.")
        result = cancel_lines(db, [line_id], of_order=number)
        session.emit(result.lines[0], summarize(result))
        return
    order = set_order_status(db, number, status)
    session.emit(order, summarize(order))


@click.command("handover", cls=SessionCommand)
@click.argument("number")
@click.option("--line", "line_ids", type=int, multiple=True, help="Only this line; may be repeated.")
@click.option("--quantity", type=click.IntRange(1, MOST), help="How many prints; otherwise all that are left.")
@click.option("--numbers", default="", help="Edition numbers that went, such as 3-5; otherwise the lowest in the shop.")
@click.option("--date", "day", default="", help="When; otherwise today.")
@click.option("--notes", default="", help="Who collected the prints, or how they were sent.")
def hand_over(session: Session, number: str, line_ids: tuple[int, ...], quantity: int | None, numbers: str, day: str,
              notes: str) -> None:
    """Record which prints of order NUMBER were handed over.

    Without options, all that are left. Once all its prints are handed over a line is collected, and with its last line
    the order. `catalogue undo` undoes it.
    """
    from catalogue.operations import orders as operations

    db = session.existing()
    with refusing("Nothing was recorded"):
        wanted, on = parse_numbers(numbers)[0], session.day(day)
    chosen = list(dict.fromkeys(line_ids)) or [line.id for line in orders.lines_by_number(db, number)
                                if line.status not in ("collected", "cancelled")]
    if not chosen:
        order = orders.by_number(db, number)
        raise Refused(f"Nothing of order {order.number} is left to hand over: it is {order.status}.")
    if (quantity or wanted) and len(chosen) > 1:
        raise Ambiguous(f"Order {number!r} has {len(chosen)} lines to hand over.",
                        hint="Choose one with --line; catalogue order show lists them.")
    result = operations.hand_over(db, chosen, quantity=quantity, numbers=wanted, day=on, notes=notes, of_order=number)
    session.emit(result, lambda out: print_changed(out, result))


@click.command("change", cls=SessionCommand)
@click.argument("numbers", nargs=-1, required=True)
@click.option("--state", "--status", "status", type=StatusChoice(STATUSES),
              help="The new state of these orders, or cancelled.")
@click.option("--notes", help="Notes on the orders.")
@click.option("--buyer", help="Who orders.")
@click.option("--date", "placed", help="Date of the order.")
@click.option("--unit-price", help="Price of one print, for every line.")
def change_several(session: Session, /, numbers: tuple[str, ...], unit_price: str | None, placed: str | None,
           **given: str | None) -> None:
    """Change several orders at once, all or none.

    Anything not given stays as it is. `catalogue undo` undoes all of it.
    """
    from catalogue.operations.orders import change_orders

    db = session.existing()
    with refusing("Nothing was changed"):
        day = session.day(placed) or None
    result = change_orders(db, numbers, placed=day, unit_price=unit_price, **given)
    session.emit(result, lambda out: print_changed(out, result))


@click.command("correct", cls=SessionCommand)
@click.argument("number")
@click.option("--line", "line_id", type=int, help="Which line to correct, if the order has several.")
@click.option("--piece", help="The right piece, if the line is not printed yet: number, title or words.")
@click.option("--buyer", help="Who orders.")
@click.option("--date", "placed", help="Date of the order.")
@click.option("--order-notes", help="Notes on the whole order.")
@options(*SHAPE)
@click.option("--unit-price", help="Price of one print.")
@click.option("--price", help="Price of the whole line.")
@click.option("--currency", help="Currency of the whole order, such as EUR.")
@options(*PRINTING)
@click.option("--notes", help="Notes on the line.")
def correct(session: Session, /, number: str, line_id: int | None, **given: Any) -> None:
    """Correct order NUMBER, or a line of it.

    Anything not given stays as it is. With another piece, size, medium or quantity the edition numbers follow.
    """
    from catalogue.operations.orders import correct_order

    db = session.existing()
    lines = orders.lines_of(db, orders.by_number(db, number).id)
    changes = print_facts(given)
    if given["piece"] is not None:
        from catalogue.commands.lookup import find_piece

        changes["piece_id"] = find_piece(db, given["piece"]).id
    order = {name: given[key] for name, key in (("buyer", "buyer"), ("notes", "order_notes"), ("currency", "currency"))
             if given[key] is not None}
    for name, key in (("profile", "profile"), ("settings", "print_notes"), ("notes", "notes"), ("price", "price"),
                      ("unit_price", "unit_price")):
        if given[key] is not None:
            changes[name] = given[key]
    if given["placed"]:
        with refusing("Nothing was changed"):
            order["placed"] = session.day(given["placed"])
    if changes and line_id is None:
        if len(lines) != 1:
            raise Ambiguous(f"Order {number!r} has {len(lines)} lines.", hint="Choose one with --line.")
        line_id = lines[0].id
    mended = correct_order(db, number, order, line_id=line_id, line=changes)
    lines = orders.lines_of(db, mended.id)
    session.emit({"order": mended, "lines": lines},
                 lambda out: print_order(out, mended, lines, session.home.settings.dates))
