"""``catalogue statement``: what an artist is owed for a period."""

from dataclasses import asdict
from pathlib import Path

import click

from catalogue.commands.lookup import find_artist
from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, SessionCommand
from catalogue.dates import read_day, shown_day
from catalogue.errors import sentence
from catalogue.ledger import periods
from catalogue.ledger.artist_statement import Row, Statement
from catalogue.ledger.periods import Period
from catalogue.money import show_amount
from catalogue.operations.artist_statements import look_at_statement, make_statement, summarize
from catalogue.sheets.statement import ROUNDING, TAX


@click.command("statement", cls=SessionCommand)
@click.argument("artist", nargs=-1, required=True)
@click.option("--month", default="", help="The month, such as 2025-11.")
@click.option("--quarter", default="", help="The quarter, such as 2025-Q1.")
@click.option("--year", type=click.IntRange(1000, 9999), metavar="YEAR", help="The year, such as 2025.")
@click.option("--from", "first", default="", help="First day of the period.")
@click.option("--to", "last", default="", help="Last day of the period.")
@click.option("--to-file", "files", multiple=True, type=click.Path(path_type=Path, dir_okay=False),
              help="Issue it and write it to this new file: .html, .pdf or .csv. May be repeated.")
@click.option("--issue", "issued", is_flag=True, help="Issue it; later corrections go into the next one.")
@click.option("--draft", is_flag=True, help="With --to-file: write it as a draft, and issue nothing.")
def command(session: Session, artist: tuple[str, ...], month: str, quarter: str, year: int | None,
            first: str, last: str, files: tuple[Path, ...], issued: bool, draft: bool) -> None:
    """Show what ARTIST is owed for a period.

    It lists every print, and corrections of earlier statements. It is a draft until it is issued; afterwards the same
    period shows the same statement. Set terms with: catalogue artist terms.
    """
    if draft and issued:
        raise click.UsageError("A draft is not issued: use --draft or --issue, not both.")
    period = _period(session, month, quarter, year, first, last)
    records = issued or (files and not draft)
    db = session.existing() if records else session.looking()
    artist_id = find_artist(db, " ".join(artist)).id
    result = (make_statement(db, session.home, artist_id, period, files, draft=not records) if records or files else
            look_at_statement(db, session.home, artist_id, period))

    def text(out: Printer) -> None:
        if not files:
            _print(out, result.statement, session.home.settings.dates)
        out.lines(summarize(result, session.home.settings.dates))

    session.emit({"statement": asdict(result.statement), "files": result.files}, text)


def _period(session: Session, month: str, quarter: str, year: int | None, first: str, last: str) -> Period:
    """The days meant. Raises UsageError."""
    if [bool(month), bool(quarter), bool(year), bool(first or last)].count(True) != 1 or bool(first) != bool(last):
        raise click.UsageError("Give the period: --month 2025-11, --quarter 2025-Q1, --year 2025, or --from and --to.")
    try:
        if month:
            return periods.month(month)
        if quarter:
            return periods.quarter(quarter)
        if year:
            return periods.year(year)
        dates = session.home.settings.dates
        return periods.between(read_day(first, dates), read_day(last, dates))
    except ValueError as error:
        raise click.UsageError(sentence(error)) from error


def _print(out: Printer, made: Statement, dates: str) -> None:
    out.print(f"{made.artist}: statement for {made.period.in_words(dates)}", bold=True)
    out.lines(made.terms)
    _table(out, made.rows, dates)
    if made.corrections:
        out.print("Corrections of earlier statements", bold=True)
        _table(out, made.corrections, dates)
    out.print(f"{ROUNDING} {TAX}")


def _table(out: Printer, rows: tuple[Row, ...], dates: str) -> None:
    if not rows:
        out.print("No prints in this period.")
        return
    out.table(["Date", "Order", "Work", "Size", "Medium", "Number", "Prints", "Price", "Owed", "Remarks"], (
        (shown_day(row.date, dates), row.order, row.title, row.size, row.medium, row.numbers, row.prints,
         show_amount(row.price, row.currency), show_amount(row.amount, row.owed_in), row.note) for row in rows))
