"""``catalogue buyer``: list and correct buyers; merge spellings."""

from dataclasses import asdict

import click

from catalogue.commands.order_text import print_lines, print_sums
from catalogue.commands.printing import Printer, undo_hint
from catalogue.commands.session import Session, SessionGroup
from catalogue.dates import shown_day
from catalogue.ledger.buyers import find_buyer
from catalogue.operations.buyers import describe_buyer, merge_buyers, summarize
from catalogue.records import buyers, order_list
from catalogue.records.buyers import Buyer
from catalogue.records.order_list import OrderFilter

command = SessionGroup("buyer", help="List and correct buyers; merge two spellings of one.")


@command.command("list")
def list_(session: Session) -> None:
    """List buyers, with how many orders."""
    rows = buyers.listed(session.looking())
    dates = session.home.settings.dates
    session.emit(rows, lambda out: out.table(["Buyer", "Orders", "Last order", "Contact"], (
        (buyer.name, buyer.orders, shown_day(buyer.last_order, dates), buyer.contact) for buyer in rows))
        if rows else out.print("No buyers yet."))


@command.command("show")
@click.argument("name", nargs=-1, required=True)
def show(session: Session, name: tuple[str, ...]) -> None:
    """Show the buyer NAME: contact, spellings, orders."""
    db = session.looking()
    buyer = find_buyer(db, " ".join(name))
    theirs = OrderFilter(buyer=buyer.key)
    lines = [listed.line for listed in order_list.page(db, theirs, limit=50)]
    sums = order_list.sums(db, theirs)
    spellings = buyers.spellings(db, buyer.key)

    def text(out: Printer) -> None:
        _print(out, buyer)
        if spellings != [buyer.name]:
            out.field("on orders", ", ".join(spellings))
        print_lines(out, lines, session.home.settings.dates)
        print_sums(out, sums, shown=len(lines))

    session.emit(asdict(buyer) | {"spellings": spellings, "lines": lines, "sums": sums}, text)


@command.command("set")
@click.argument("name", nargs=-1, required=True)
@click.option("--name", "new_name", help="Correct the name; orders under the old spelling stay theirs.")
@click.option("--contact", help="Address, telephone, e-mail.")
@click.option("--notes", help="Anything else worth knowing.")
def set_(session: Session, name: tuple[str, ...], new_name: str | None, contact: str | None, notes: str | None) -> None:
    """Set name, contact or notes of the buyer NAME.

    Anything not given stays as it is.
    """
    db = session.existing()
    result = describe_buyer(db, find_buyer(db, " ".join(name)).key, name=new_name, contact=contact, notes=notes)
    session.emit(result, lambda out: _print(out, result.buyer))


@command.command("merge")
@click.argument("name")
@click.option("--into", "keep", required=True, help="The buyer to keep.")
def merge(session: Session, name: str, keep: str) -> None:
    """Merge the buyer NAME into another.

    All orders move there, also those recorded later.
    """
    db = session.existing()
    result = merge_buyers(db, find_buyer(db, keep).key, find_buyer(db, name).key)
    session.emit(result, [" ".join([*summarize(result), *undo_hint(result.event)])])


def _print(out: Printer, buyer: Buyer) -> None:
    out.print(buyer.name)
    for name, text in (("contact", buyer.contact), ("notes", buyer.notes)):
        out.field(name, text)
