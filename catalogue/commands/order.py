"""``catalogue order``: list, show, add, repeat, move on, correct, job sheet."""

from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from catalogue.commands.order_changes import change_several, correct, hand_over, set_status
from catalogue.commands.order_options import StatusChoice, print_facts, print_options
from catalogue.commands.order_text import print_list, print_order, print_proposal
from catalogue.commands.printing import Printer, ask
from catalogue.commands.session import Session, SessionGroup
from catalogue.dates import shown_day
from catalogue.errors import Ambiguous, CatalogueError, refusing, sentence
from catalogue.ledger import periods
from catalogue.ledger.order_filter import read_filter
from catalogue.ledger.values import shown_size
from catalogue.money import currency_code
from catalogue.records import numbers, order_list, orders
from catalogue.records.numbers import numbered
from catalogue.records.order_list import OrderFilter
from catalogue.records.orders import PARTLY_COLLECTED, STATUSES

if TYPE_CHECKING:
    from catalogue.ledger.proposal import Proposal
    from catalogue.records.database import Database

SORTS = ("date", "number", "artist", "piece", "buyer", "medium", "quantity", "price", "status")


command = SessionGroup("order", help="Record, list, repeat and correct orders; write job sheets.")


@command.command("list")
@click.argument("words", nargs=-1)
@click.option("--month", default="", help="Only orders of this month, such as 2025-11.")
@click.option("--from", "first", default="", help="Only orders from this day on.")
@click.option("--to", "last", default="", help="Only orders up to this day.")
@click.option("--year", type=click.IntRange(1000, 9999), metavar="YEAR", help="Only orders of this year, such as 2026.")
@click.option("--artist", default="", help="Only prints of this artist's works.")
@click.option("--buyer", default="", help="Only orders of this buyer, however spelt.")
@click.option("--state", "--status", "statuses", type=StatusChoice((*STATUSES, PARTLY_COLLECTED)), multiple=True,
              help="Only orders in this state; may be repeated. partly: what is left of orders handed over in part.")
@click.option("--medium", default="", help="Only prints on this paper or canvas.")
@click.option("--sort", default="date", show_default=True, type=click.Choice(SORTS), help="Sort by this.")
@click.option("--reverse", is_flag=True, help="Reverse the sort order.")
@click.option("--limit", default=50, show_default=True, type=click.IntRange(1), help="Show at most this many lines.")
def list_(session: Session, /, words: tuple[str, ...], sort: str, reverse: bool, limit: int, **given: Any) -> None:
    """List order lines, newest first, and their total.

    WORDS may hold a month or year, states, and words of artist, title, buyer, medium, size or notes, such as: 2025-11
    quill canvas printed. The totals cover all matching lines, also those beyond --limit.
    """
    db = session.looking()
    wanted = _filter(session, db, " ".join(words), given)
    descending = (sort in order_list.DESCENDING) != reverse
    lines = [replace(listed.line, buyer=listed.buyer)
             for listed in order_list.page(db, wanted, sort=sort, descending=descending, limit=limit)]
    sums = order_list.sums(db, wanted)
    session.emit({"lines": lines, "sums": sums},
                 lambda out: print_list(out, lines, sums, session.home.settings.dates, grouped=sort == "date"))


def _filter(session: Session, db: "Database", words: str, given: dict[str, Any]) -> OrderFilter:
    """What words and options ask for; an option comes before what the words say of the same."""
    wanted = read_filter(words, date.today())
    try:
        period = (periods.month(given["month"]) if given["month"] else
                  periods.year(given["year"]) if given["year"] else None)
        if period is not None:
            wanted = replace(wanted, first=period.first, last=period.last)
        wanted = replace(wanted, first=session.day(given["first"]) or wanted.first,
                         last=session.day(given["last"]) or wanted.last)
        if wanted.first and wanted.last:
            periods.between(wanted.first, wanted.last)
    except ValueError as error:
        raise click.UsageError(sentence(error)) from error
    if given["artist"]:
        from catalogue.commands.lookup import find_artist

        wanted = replace(wanted, artist_id=find_artist(db, given["artist"]).id)
    if given["buyer"]:
        from catalogue.ledger.buyers import find_buyer

        wanted = replace(wanted, buyer=find_buyer(db, given["buyer"]).key)
    return replace(wanted, medium=given["medium"], statuses=given["statuses"] or wanted.statuses)


@command.command("show")
@click.argument("number")
def show(session: Session, number: str) -> None:
    """Show order NUMBER with its lines."""
    from catalogue.records import handovers

    db = session.looking()
    order = orders.by_number(db, number)
    lines = orders.lines_of(db, order.id)
    handed = handovers.of_order(db, order.id)
    session.emit({**asdict(order), "lines": lines, "handed_over": handed},
                 lambda out: print_order(out, order, lines, session.home.settings.dates, handed))


@command.command("add")
@click.argument("piece", nargs=-1, required=True)
@print_options
def add(session: Session, /, piece: tuple[str, ...], **given: Any) -> None:
    """Record a new print of PIECE; --size is required.

    PIECE is its number, title, or words that match; id:3 and title:3 tell a number from a title.
    """
    from catalogue.commands.lookup import find_piece
    from catalogue.ledger.repeat import propose

    db = session.existing()
    piece_id = find_piece(db, " ".join(piece)).id
    _record(session, db, propose(db, session.home, piece_id=piece_id, **print_facts(given), afresh=True), given)


@command.command("repeat")
@click.argument("subject", metavar="ORDER|PIECE...", nargs=-1, required=True)
@click.option("--line", "line_id", type=int, help="Which line to repeat, if the order has several.")
@click.option("--as-last-time", is_flag=True, help="Print from last time's scan, not from the current master.")
@click.option("--check", is_flag=True, help="First read the file in full and compare its checksum.")
@click.option("--dry-run", is_flag=True, help="Show what would be recorded, and record nothing.")
@print_options
def repeat(session: Session, /, subject: tuple[str, ...], line_id: int | None, as_last_time: bool,
           check: bool, dry_run: bool, **given: Any) -> None:
    """Repeat an order, or the last order of a piece.

    ORDER is its number. If the words could be either, write order:NUMBER, id:NUMBER or title:TITLE.
    """
    from catalogue.commands.watching import watched
    from catalogue.ledger.repeat import propose
    from catalogue.operations.orders import check_now

    db = session.looking() if dry_run and not check else session.existing()
    line_id, piece_id = _subject(db, " ".join(subject), line_id)
    asked: dict[str, Any] = {"line_id": line_id, "piece_id": piece_id, "as_last_time": as_last_time,
                             "measure": True} | print_facts(given)
    proposal = propose(db, session.home, **asked)
    if check and proposal.printing and proposal.printing.best:
        with watched("Nothing was recorded.") as watch:
            check_now(db, proposal.printing.scan, proposal.printing.best, **watch)
        proposal = propose(db, session.home, **asked)
    if dry_run:
        session.emit(proposal, lambda out: _print_asked(out, session, db, proposal, given))
        return
    _record(session, db, proposal, given)


def _subject(db: "Database", words: str, line_id: int | None) -> tuple[int | None, int | None]:
    """The line or the piece meant, as ``(line id, piece id)``."""
    from catalogue.commands.lookup import find_piece
    from catalogue.records import pieces

    if line_id is not None:
        return line_id, None
    number = words.removeprefix("order:")
    order = orders.find_by_number(db, number)
    if order is None:
        return None, find_piece(db, words).id
    if number == words and (pieces_titled := pieces.titled(db, words)):
        raise Ambiguous(f"{words!r} is both an order number and the title of a piece.",
                        hint=f"Use order:{words} for the order, or id:{pieces_titled[0]} for the piece.")
    words = number
    lines = orders.lines_of(db, order.id)
    if len(lines) != 1:
        listed = "; ".join(f"{line.id} {line.title} {shown_size(line.width_mm, line.height_mm)}" for line in lines)
        raise Ambiguous(f"Order {words!r} has {len(lines)} lines.", hint=f"Choose one with --line: {listed}.")
    return lines[0].id, None


def _print_asked(out: Printer, session: Session, db: "Database", proposal: "Proposal", given: dict[str, Any]) -> None:
    """The proposal, and a date after today; and whether buyer and price are missing: neither is ever assumed."""
    chosen = numbers.numbers_text(numbers.parse_numbers(given["numbers"] or given["replacing"])[0])
    asked = ("none is issued" if given["unnumbered"] else "proofs are issued" if given["proofs"] else
             f"{numbered(chosen)} asked for" if chosen else "")
    print_proposal(out, _priced(db, proposal, given), session.home.settings.dates, asked)
    with refusing("Nothing was recorded"):
        placed = session.day(given["placed"])
    if placed > date.today().isoformat():
        out.print(f"  date        {shown_day(placed, session.home.settings.dates)}, which is after today")
    if given["price"] is None and given["unit_price"] is None and not proposal.line.price:
        out.print("  price       none; give one with --unit-price")
    if not given["buyer"] and not (given["number"] and orders.find_by_number(db, given["number"])):
        out.print("  buyer       none; give one with --buyer")


def _priced(db: "Database", proposal: "Proposal", given: dict[str, Any]) -> "Proposal":
    """The proposal with the price that was typed. Raises Refused if that is none."""
    from catalogue.ledger.prices import stated_prices

    if given["price"] is None and given["unit_price"] is None:
        return proposal
    order = orders.find_by_number(db, given["number"]) if given["number"] else None
    with refusing("Nothing was recorded"):
        currency = order.currency if order else currency_code(given["currency"] or proposal.currency)
        prices = stated_prices(proposal.line.quantity, currency, price=given["price"], unit=given["unit_price"])
    return replace(proposal, currency=currency, line=replace(proposal.line, **prices._asdict()))


def _record(session: Session, db: "Database", proposal: "Proposal", given: dict[str, Any]) -> None:
    from catalogue.operations.orders import record_order, summarize

    if not session.as_json:
        _print_asked(Printer(), session, db, proposal, given)
    if not given["yes"]:
        if session.as_json:
            raise CatalogueError("Nothing was recorded.", hint="With --json, use --yes or --dry-run.")
        ask(f"Record it{' despite the warnings' if proposal.grave else ''}?", otherwise="Nothing was recorded.")
    with refusing("Nothing was recorded"):
        line = record_order(
            db, proposal, quantity=given["quantity"], number=given["number"], buyer=given["buyer"],
            status=given["status"] or "", placed=session.day(given["placed"]),
            currency=given["currency"], price=given["price"], unit_price=given["unit_price"],
            profile=given["profile"], settings=given["print_notes"], notes=given["notes"], proofs=given["proofs"],
            numbers=numbers.parse_numbers(given["numbers"])[0], replacing=numbers.parse_numbers(given["replacing"])[0],
            unnumbered=given["unnumbered"])
    session.emit(line, summarize(line))


@command.command("sheet")
@click.argument("number")
@click.option("--line", "line_id", type=int, help="Only this line; otherwise every line of the order.")
@click.option("--folder", type=click.Path(path_type=Path), metavar="FOLDER",
              help="Job folder; otherwise one in the catalogue's folder.")
@click.option("--copy", "copy_master", is_flag=True, help="Put a verified copy of the master into the job folder.")
@click.option("--check", is_flag=True, help="First read the file in full and compare its checksum.")
@click.option("--pdf", is_flag=True, help="Also write a PDF.")
@click.option("--text", "as_text", is_flag=True, help="Print the text here and write nothing.")
def sheet(session: Session, number: str, line_id: int | None, folder: Path | None, copy_master: bool, check: bool,
          pdf: bool, as_text: bool) -> None:
    """Write the job sheet of order NUMBER, one page a line.

    As HTML and as text.
    """
    from catalogue.commands.watching import watched
    from catalogue.operations.job_sheets import summarize, write_job_sheets
    from catalogue.sheets.job import job_sheet

    db = session.existing() if (check or copy_master) and not as_text else session.looking()
    every = orders.lines_by_number(db, number, line_id)
    lines = [line.id for line in every if line_id or line.status != "cancelled"] or [line.id for line in every]
    if as_text:
        texts = [job_sheet(db, session.home, line_id).text for line_id in lines]
        session.emit(texts, [line for text in texts for line in text.split("\n")])
        return
    with watched("Not all sheets were written.") as watch:
        written = write_job_sheets(db, session.home, lines, folder=folder, copy_master=copy_master, pdf=pdf,
                                   check=check, **watch)
    session.emit(written, summarize(written))


for changing in (set_status, hand_over, change_several, correct):
    command.add_command(changing)
