"""Artists' terms and statements: what is agreed, what is owed for a period; issued once and kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from catalogue.dates import shown_day
from catalogue.errors import Refused
from catalogue.ledger import artist_statement
from catalogue.ledger.artist_statement import Statement
from catalogue.ledger.artist_terms import set_terms
from catalogue.ledger.periods import Period
from catalogue.money import show_amount
from catalogue.operations.wording import counted
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.settings import Home
from catalogue.sheets.pdf import as_pdf
from catalogue.sheets.statement import statement_csv, statement_page
from catalogue.sheets.writing import outside, safe_name, write_again, write_new_bytes

__all__ = ["StatementMade", "look_at_statement", "make_statement", "set_terms", "summarize", "write_statement"]

SUFFIXES = (".html", ".pdf", ".csv")


@dataclass(frozen=True, slots=True)
class StatementMade:
    """A statement, and the files it was written to."""

    statement: Statement
    files: tuple[Path, ...] = ()


def look_at_statement(db: Database, home: Home, artist_id: int, period: Period) -> StatementMade:
    """The statement of a period as issued, or a draft; nothing is recorded. Raises NotFound, Refused."""
    return StatementMade(artist_statement.statement(db, artist_id, period, home.settings.dates))


def make_statement(db: Database, home: Home, artist_id: int, period: Period, files: Sequence[Path] = (), *,
                   draft: bool = False, today: date | None = None) -> StatementMade:
    """Issue the statement of a period and write it to new files, by their endings as page, PDF or table.

    One that was issued before is written as it was. ``draft`` issues nothing and marks the page. Raises NotFound;
    Refused: the period is not over, overlaps with another statement's, or a file is in a store, there already, or has
    another ending; CatalogueError if PDF is asked for and its library is not installed.
    """
    for file in files:
        if file.suffix.lower() not in SUFFIXES:
            raise Refused(f"A statement is written to a file ending in {', '.join(SUFFIXES[:-1])} or {SUFFIXES[-1]}.",
                          path=file)
        outside(file.expanduser().absolute().parent, stores.listed(db))
    dates = home.settings.dates
    made = _statement(db, artist_id, period, dates, None if draft else today or date.today())
    return StatementMade(made, tuple(write_new_bytes(file, _as_file(made, file, dates)) for file in files))


def write_statement(db: Database, home: Home, artist_id: int, period: Period, *, issue: bool = False,
                    today: date | None = None) -> StatementMade:
    """Write the statement of a period, issued or as a draft, as page and table into the sheets' folder, in place of an
    earlier one. Raises: as :func:`make_statement`.
    """
    dates = home.settings.dates
    made = _statement(db, artist_id, period, dates, today or date.today() if issue else None)
    name = safe_name(f"{made.artist} {made.first} to {made.last}")
    folder = outside(home.sheets / "statements", stores.listed(db))
    return StatementMade(made, (write_again(folder / f"{name}.html", statement_page(made, dates)),
                                write_again(folder / f"{name}.csv", statement_csv(made))))


def _statement(db: Database, artist_id: int, period: Period, dates: str, issued: date | None) -> Statement:
    """The statement as issued on a day, or with None as it stands."""
    return (artist_statement.statement(db, artist_id, period, dates) if issued is None else
            artist_statement.issue(db, artist_id, period, dates, issued))


def _as_file(made: Statement, file: Path, dates: str) -> bytes:
    if file.suffix.lower() == ".csv":
        return statement_csv(made).encode()
    page = statement_page(made, dates)
    if file.suffix.lower() == ".html":
        return page.encode()
    with TemporaryDirectory() as folder:
        return as_pdf(page, Path(folder) / "statement.pdf").read_bytes()


def summarize(result: StatementMade, dates: str) -> list[str]:
    """What is owed, in how many prints, and whether that is issued."""
    made = result.statement
    owed = ", ".join(show_amount(total.amount, total.currency) for total in made.totals) or "nothing"
    state = f"issued {shown_day(made.issued, dates)}" if made.issued else "a draft, not issued"
    corrected = f", {counted(len(made.corrections), 'correction')}" if made.corrections else ""
    return [f"{made.artist}, {made.period.in_words(dates)}: {counted(made.prints, 'print')}{corrected},"
            f" {owed} owed ({state}).",
            *(f"Wrote {path}" for path in result.files)]
