"""Orders: every line, newest first, with the picture it was printed from."""

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual.binding import BindingType
from textual.containers import Container
from textual.widget import Widget

from catalogue.operations.orders import set_order_status
from catalogue.records import browsing
from catalogue.records.browsing import LineItem
from catalogue.records.database import Database
from catalogue.records.orders import STATUSES
from catalogue.screens.browse import Sight
from catalogue.screens.dialogs import Question
from catalogue.screens.jobs import panel_text, start_job_sheet
from catalogue.screens.keys import bindings
from catalogue.screens.page import Page
from catalogue.screens.rows import Column, RowTable
from catalogue.screens.sheet import SheetPanel, job_sheet_panel, read_sheet
from catalogue.screens.table import PagedTable, Source
from catalogue.screens.wording import cell, day, safe, size_cm

if TYPE_CHECKING:
    from catalogue.sheets.job import Written


class OrdersPage(Page):
    """The ledger as a list."""

    PLACE = "orders"
    MODE = "orders"
    BINDINGS: ClassVar[list[BindingType]] = bindings("orders")

    def __init__(self) -> None:
        super().__init__()
        self._status = ""

    def body(self) -> Iterable[Widget]:
        yield Container(
            PagedTable[LineItem]([
                Column("Placed", 11), Column("Order", 10, least=96), Column("Title", 0, weight=3),
                Column("Artist", 0, least=110, weight=2), Column("Buyer", 0, least=76, weight=2),
                Column("Size", 14, least=50), Column("No", 3, right=True), Column("Medium", 0, least=120, weight=2),
                Column("State", 9)], id="lines"),
            Sight(),
            id="orders")

    def on_mount(self) -> None:
        self._load()
        self.query_one("#lines", PagedTable).focus()

    def catalogue_changed(self) -> None:
        self._load(keep=True)

    def _load(self, *, keep: bool = False) -> None:
        status = self._status
        table = self.query_one("#lines", PagedTable)
        title = f"Order lines: {status}" if status else "Order lines"
        table.entitle(title)
        table.show(Source(lambda db, beyond, limit, forward: browsing.lines(db, status, beyond, limit, forward=forward),
                          self._cells, lambda row: row.id), keep=keep)
        if not status:
            self.ask(browsing.totals, lambda totals: table.entitle(title, totals.lines), group="totals")

    def _cells(self, row: LineItem) -> list[Text]:
        return [cell(day(row.placed, self.shop.day_form)), cell(row.number), cell(row.title), cell(row.artist),
                cell(row.buyer), cell(size_cm(row.width_mm, row.height_mm)), cell(row.quantity, right=True),
                cell(row.medium), cell(row.status)]

    @property
    def _line(self) -> LineItem | None:
        return self.query_one("#lines", PagedTable).row_to_act_on

    def on_row_table_pointed(self, event: RowTable.Pointed) -> None:
        row = event.row
        if row is None:
            self.query_one(Sight).show(None)
        else:
            self.ask(lambda db: browsing.glance(db, row.piece_id), self.query_one(Sight).show, group="glance")

    def on_row_table_chosen(self, event: RowTable.Chosen) -> None:
        self.shop.open_piece(event.row.piece_id)

    def action_open(self) -> None:
        if self._line is not None:
            self.shop.open_piece(self._line.piece_id)

    def action_repeat(self) -> None:
        if self._line is not None:
            self.shop.repeat(line_id=self._line.id)

    def action_sheet(self) -> None:
        row = self._line
        if row is not None:
            self.app.push_screen(job_sheet_panel(self.shop.home, row.id, f"{row.number}, {row.title}"))

    def action_sheet_and_copy(self) -> None:
        row = self._line
        if row is None:
            return

        def show(done: "Sequence[Written]") -> None:
            if self.is_current:  # else the person has gone on; what is typed there goes there
                self.app.push_screen(SheetPanel(f"Job sheet: {row.number}, {row.title}",
                                                lambda _: read_sheet(done[0].files)))
            else:
                from catalogue.operations.job_sheets import summarize

                self.shop.say(f"The job sheet is written:\n{panel_text(summarize(done))}")

        start_job_sheet(self.shop, row.id, True, show)

    def action_move_on(self) -> None:
        """To the next state of the order, after a yes."""
        row = self._line
        following = dict(pairwise(STATUSES[:-1])).get(row.status) if row else None
        if row is None or following is None:
            self.shop.say("This order goes no further.")
            return

        def answered(yes: bool | None) -> None:
            if yes:
                self.shop.writes.add(f"order {safe(row.number)} {following}", change, moved, holds=self)

        def moved(_: object) -> None:
            self.query_one("#lines", PagedTable).expect_removal(row)  # it may list lines of the former state only
            self.shop.changed()

        def change(db: Database) -> None:
            set_order_status(db, row.number, following, seen=row.status)

        self.app.push_screen(Question(f"Order {safe(row.number)}: {row.status} → {following}?",
                                      "The whole order moves on.", yes=following.capitalize()), answered)

    def action_next_status(self) -> None:
        states = ("", *STATUSES)
        self._status = states[(states.index(self._status) + 1) % len(states)]
        self._load()
