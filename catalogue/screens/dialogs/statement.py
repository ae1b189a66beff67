"""A statement to an artist, opened from the artist's row: terms if none are on record, the period, the page."""

from datetime import date
from functools import partial

from catalogue.errors import Refused
from catalogue.ledger.artist_statement import Row, Statement
from catalogue.ledger.periods import Period, take_period
from catalogue.money import show_amount
from catalogue.operations.artist_statements import StatementMade, set_terms, summarize, write_statement
from catalogue.records import artist_statements
from catalogue.records.browsing import ArtistItem
from catalogue.records.database import Database
from catalogue.screens.background.jobs import notice
from catalogue.screens.dialogs.confirm import TextQuestion, confirm
from catalogue.screens.dialogs.sheet import Sheet, SheetPanel
from catalogue.screens.page import Page
from catalogue.screens.texts.formats import counted, day, safe
from catalogue.settings import Home


def open_statement(host: Page, artist: ArtistItem) -> None:
    """Ask for the terms if none are on record, then for the period; then show the draft."""
    app, currency = host.app, host.app.home.settings.currency

    def ask_terms() -> None:
        app.push_screen(TextQuestion(f"What are the terms with {safe(artist.name)}?",
                                     f"40 % of each print's price, 12.50 {currency} for each print, or none. "
                                     "The terms apply from the first order.", hint="40 %"), agreed)

    def agreed(text: str | None) -> None:
        if text is not None:
            host.record("terms", partial(_set_terms, artist_id=artist.id, text=text, currency=currency),
                        lambda _: ask_period())

    def ask_period() -> None:
        app.push_screen(TextQuestion(
            f"Statement to {safe(artist.name)}",
            "A month, a quarter, a year, or two days: 2025-11, last month, 2025-Q1, last quarter, 2025, "
            "2025-11-03..2025-12-02.",
            value="last month"), chosen)

    def chosen(text: str | None) -> None:
        if text is None:
            return
        period, rest = take_period(text.split(), date.today())
        if period is None or rest:
            app.say(f"{text!r} is not a period such as 2025-11, 2025-Q1 or last month.", "warning")
        else:
            app.push_screen(StatementPanel(app.home, artist, period))

    host.ask(lambda db: bool(artist_statements.terms_of(db, artist.id)),
             lambda known: ask_period() if known else ask_terms(), group="terms", holds=app)


def _set_terms(db: Database, *, artist_id: int, text: str, currency: str) -> None:
    """Record the terms as typed, valid from the beginning. Raises Refused."""
    word = text.strip().casefold()
    if word in ("none", "nothing", "0"):
        set_terms(db, artist_id, "none")
    elif "%" in word:
        set_terms(db, artist_id, "percentage", text)
    else:
        code = next((part.upper() for part in text.split() if part.isalpha() and len(part) == 3), currency)
        if not any(sign.isdigit() for sign in text):
            raise Refused(f"{text!r} cannot be read as terms.",
                          hint="Write 40 %, an amount for each print, or none.")
        set_terms(db, artist_id, "fixed", text, code)


class StatementPanel(SheetPanel):
    """The draft, or the statement as it was issued; issued from here."""

    KEY_CONTEXT = "statement"

    def __init__(self, home: Home, artist: ArtistItem, period: Period) -> None:
        super().__init__(f"Statement to {artist.name}, {period.in_words(home.settings.dates)}", self._draft)
        self._home, self._artist, self._period = home, artist, period
        self._made: Statement | None = None
        self._issuing = False

    def _draft(self, db: Database) -> Sheet:
        return self._sheet_of(write_statement(db, self._home, self._artist.id, self._period))

    def _sheet_of(self, done: StatementMade) -> Sheet:
        self._made = done.statement
        return Sheet(done.files[0], "\n".join(statement_words(done.statement, self._home.settings.dates)))

    def action_issue(self) -> None:
        if self._written() is None or self._made is None:
            return
        if self._made.issued:
            self._tell("It has been issued and cannot be changed.")
            return

        def issue() -> None:
            if not self._issuing:
                self._issuing = True
                home, artist, period = self._home, self._artist, self._period
                self.record(f"the statement to {safe(artist.name)}",
                            lambda db: write_statement(db, home, artist.id, period, issue=True), issued, failed=failed)

        def issued(done: StatementMade) -> None:
            self._issuing = False
            self._show(self._sheet_of(done))
            self._tell(notice(summarize(done, self._home.settings.dates)[:1]))
            self.app.changed()

        def failed(error: Exception) -> None:
            self._issuing = False
            self._tell(f"Not issued: {error}")

        confirm(self.app, "Issue this statement?",
                "It cannot be changed afterwards; later corrections go into the next statement.", issue, yes="Issue",
                no="Not yet", careful=True)


def statement_words(made: Statement, dates: str) -> list[str]:
    """The statement as lines of text."""
    state = f"Issued {day(made.issued, dates)}." if made.issued else "Draft, not issued. Press i to issue it."
    parts = [state, *made.terms, ""]
    parts += [_row(row, dates) for row in made.rows] or ["No prints in this period."]
    if made.corrections:
        parts += ["", "Corrections of earlier statements", *(_row(row, dates) for row in made.corrections)]
    parts += ["", f"{counted(made.prints, 'print')}"]
    parts += [f"Owed: {show_amount(total.amount, total.currency)}" for total in made.totals] or ["Nothing is owed."]
    return [*parts, "", "Tax is not calculated."]


def _row(row: Row, dates: str) -> str:
    numbers = f", numbers {row.numbers}" if row.numbers else ""
    price = f" at {show_amount(row.price, row.currency)}" if row.price else ", no price"
    owed = f": {show_amount(row.amount, row.owed_in)}" if row.amount else ""
    note = f" ({row.note})" if row.note else ""
    return f"{day(row.date, dates)}  {row.order}  {row.prints} × {row.title}, {row.size}{numbers}{price}{owed}{note}"
