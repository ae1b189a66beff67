"""Orders: every line, filtered by one line of plain words, with totals of the matching lines."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import TYPE_CHECKING

from textual.containers import Container, Vertical
from textual.widget import Widget
from textual.widgets import Input, Static

from catalogue.ledger.order_filter import read_filter
from catalogue.ledger.values import shown_prints
from catalogue.money import show_amount
from catalogue.operations import orders as operations
from catalogue.operations.wording import summarize_sums
from catalogue.records import glances, order_list
from catalogue.records.buyers import Buyer
from catalogue.records.database import Database
from catalogue.records.numbers import numbered
from catalogue.records.order_list import DESCENDING, SORTS, ListedLine, OrderFilter, OrderSums
from catalogue.records.orders import STATUSES
from catalogue.screens.actions import opening, repeating
from catalogue.screens.actions.correcting import announce_correction
from catalogue.screens.background.jobs import panel_text, start_job_sheet, start_print_files
from catalogue.screens.dialogs.confirm import confirm
from catalogue.screens.dialogs.order_form import change_form, corrected, handover_form
from catalogue.screens.dialogs.sheet import JobSheetPanel, job_sheet_panel, read_sheet
from catalogue.screens.page import Page
from catalogue.screens.pages.browse import PiecePreview
from catalogue.screens.pages.buyers import BuyersPage
from catalogue.screens.texts.formats import counted, day, part_state, safe, size_cm
from catalogue.screens.widgets.paged_table import PagedTable, Source
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

if TYPE_CHECKING:
    from catalogue.indexing.corrections import Correction
    from catalogue.sheets.job import Written

MOST_DESCRIBED = 6  # lines that a question lists
FILTER_HINT = "f: a month, artist, buyer, state or medium, such as 2025-11 canvas printed"


class OrdersPage(Page):
    """The ledger as a list, its filter above and its sums below."""

    KEY_CONTEXT = "orders"
    MODE = "orders"
    LIST = "lines"

    def __init__(self) -> None:
        super().__init__()
        self._sort, self._reversed = "date", False
        self._buyer: Buyer | None = None    # whose orders alone are listed
        self._box = Input(placeholder=FILTER_HINT, id="orders-filter", compact=True)
        self._table = PagedTable[ListedLine](
            [Column("Date", 11, lambda row: day(row.line.placed, self.app.day_form)),
             Column("Order", 10, lambda row: row.line.number, least=128),
             Column("Title", 0, lambda row: row.line.title, weight=3),
             Column("Artist", 0, lambda row: row.line.artist, least=118, weight=2),
             Column("Buyer", 0, lambda row: row.buyer, weight=2),
             Column("Size", 14, lambda row: size_cm(row.line.width_mm, row.line.height_mm), least=104),
             Column("Qty", 4, lambda row: row.line.quantity, right=True),
             Column("Medium", 0, lambda row: row.line.medium, least=84, weight=2),
             Column("Price", 12, lambda row: show_amount(row.line.price, row.line.currency) or "–", right=True),
             Column("State", 9, lambda row: part_state(row.line))],
            lambda row: row.line.id, id="lines")
        self._sums = Static("", id="orders-sums", markup=False)
        self._preview = PiecePreview()

    def body(self) -> Iterable[Widget]:
        yield Container(Vertical(self._box, self._table, self._sums, id="orders-list"), self._preview, id="orders")

    @property
    def _filter(self) -> OrderFilter:
        wanted = read_filter(self._box.value, date.today())
        return replace(wanted, buyer=self._buyer.key) if self._buyer is not None else wanted

    def load(self, *, keep: bool = False) -> None:
        wanted, sort = self._filter, self._sort
        descending = (sort in DESCENDING) != self._reversed

        def page(db: Database, beyond: ListedLine | None, limit: int, forward: bool) -> list[ListedLine]:
            return order_list.page(db, wanted, sort=sort, descending=descending,
                                   beyond=beyond.position if beyond else None, limit=limit, forward=forward)

        self._table.show(Source(page), keep=keep)
        # all lines are added up: on a thread of its own, so that the next page of the list does not wait for it
        self.ask(lambda db: order_list.sums(db, wanted), self._show_sums, group="sums", thread="sums")

    def _show_sums(self, sums: OrderSums) -> None:
        order = f", by {self._sort}" if self._sort != "date" or self._reversed else ""
        order += ", reversed" if self._reversed else ""
        whose = f" of {self._buyer.name}" if self._buyer is not None else ""
        self._table.set_title(f"Order lines{whose}{order}", sums.lines + sums.cancelled)
        text = "  ".join(summarize_sums(sums))
        if not sums.lines + sums.cancelled:
            filtered = self._buyer is not None or self._box.value.strip()
            text = "No order line matches. Esc goes back to the list; Esc again shows every line." if filtered else \
                "No orders yet. Go to a piece (1) and press r for its first order."
        self._sums.update(safe(text))

    @property
    def _line(self) -> ListedLine | None:
        return self._table.row_to_act_on

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        row = event.row
        if row is None:
            self._preview.show(None)
        else:
            self.ask(lambda db: glances.glance(db, row.line.piece_id), self._preview.show, group="glance")

    # The filter and the order of the list

    def on_input_changed(self, event: Input.Changed) -> None:
        if event.input is self._box:
            self._table.unmark_all()    # what is marked is what can be seen in the list
            self.load()

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self._table.focus()

    def action_filter(self) -> None:
        self._box.focus()

    def action_leave_filter(self) -> None:
        if self._box.has_focus:
            self._table.focus()
        elif self._box.value or self._buyer is not None:
            self._buyer, self._box.value = None, ""
            self.load()

    def action_buyers(self) -> None:
        self.app.push_screen(BuyersPage(self._show_buyer))

    def _show_buyer(self, buyer: Buyer) -> None:
        """List the orders of one buyer, however they are spelt."""
        self._buyer = buyer
        with self.prevent(Input.Changed):
            self._box.value = ""
        self._table.unmark_all()
        self.load()
        self._table.focus()

    def action_sort(self) -> None:
        sorts = list(SORTS)
        self._sort, self._reversed = sorts[(sorts.index(self._sort) + 1) % len(sorts)], False
        self.load()

    def action_reverse(self) -> None:
        self._reversed = not self._reversed
        self.load()

    # One line

    def action_open(self) -> None:
        row = self._line
        if row is not None:
            opening.open_piece(self.app, row.line.piece_id)

    def action_repeat(self) -> None:
        row = self._line
        if row is not None:
            repeating.offer_repeat(self.app, line_id=row.line.id)

    def action_sheet(self) -> None:
        row = self._line
        if row is not None:
            self.app.push_screen(job_sheet_panel(self.app.home, row.line.id, _name(row)))

    def action_sheet_and_copy(self) -> None:
        row = self._line
        if row is None:
            return

        def show(done: "Sequence[Written]") -> None:
            if self.is_current:  # else the person has gone on; what is typed there goes there
                self.app.push_screen(JobSheetPanel(row.line.id, _name(row), lambda _: read_sheet(done[0].files)))
            else:
                from catalogue.operations.job_sheets import summarize

                self.app.say(f"The job sheet is written:\n{panel_text(summarize(done))}")

        start_job_sheet(self.app, row.line.id, True, show)

    # One line or several

    def action_print_file(self) -> None:
        rows = self._table.rows_to_act_on
        if rows:
            start_print_files(self.app, [row.line.id for row in rows])

    def action_move_on(self) -> None:
        """Move the order or orders to the next state, after a yes."""
        rows = self._table.rows_to_act_on
        if not rows:
            return
        states = {row.line.order_state for row in rows}
        following = dict(pairwise(STATUSES[:-1])).get(states.pop()) if len(states) == 1 else None
        if following is None:
            self.app.say("This order is complete." if len(rows) == 1 else
                         "These orders are in different states, so they cannot move on together.", "warning")
            return
        numbers = list(dict.fromkeys(row.line.number for row in rows))
        ids = [row.line.id for row in rows]
        seen = {row.line.number: row.line.order_status for row in rows}
        which = f"Order {safe(numbers[0])}" if len(numbers) == 1 else counted(len(numbers), "order")

        def move_on() -> None:
            self.record(f"{which} {following}",
                        lambda db: corrected(operations.change_listed(db, ids, status=following, seen=seen)),
                        lambda done: self._changed(rows, done))

        confirm(self.app, f"{which}: {rows[0].line.order_status} → {following}?", "This changes the whole order."
                if len(numbers) == 1 else "All lines of these orders move on.", move_on, yes=following.capitalize())

    def action_hand_over(self) -> None:
        """Record prints handed over: some of one line, or all that are left of several."""
        rows = self._table.rows_to_act_on
        open_rows = [row for row in rows if row.line.status not in ("collected", "cancelled")]
        if open_rows:
            self.app.push_screen(handover_form([row.line for row in open_rows], date.today().isoformat(),
                                               self.app.day_form),
                                 lambda done: self._changed(open_rows, done) if done else None)
        elif rows:
            self.app.say(f"This line is {rows[0].line.status}: nothing is left to hand over." if len(rows) == 1 else
                         "Nothing of these lines is left to hand over.")

    def action_cancel_lines(self) -> None:
        """Cancel lines, after a yes; the cursor is on no."""
        rows = self._table.rows_to_act_on
        open_rows = [row for row in rows if row.line.status != "cancelled"]
        if not rows:
            return
        if not open_rows:
            self.app.say("This line is cancelled already." if len(rows) == 1 else "These lines are cancelled already.")
            return
        ids, first = [row.line.id for row in open_rows], open_rows[0].line
        title = f"Cancel this line of order {safe(first.number)}?" if len(ids) == 1 else \
            f"Cancel {counted(len(ids), 'order line')}?"

        def cancel() -> None:
            self.record("cancelling", lambda db: corrected(operations.cancel_lines(db, ids)),
                        lambda done: self._changed(rows, done))

        confirm(self.app, title, "\n".join(_described(row) for row in open_rows[:MOST_DESCRIBED])
                + f"\n… and {len(open_rows) - MOST_DESCRIBED} more" * (len(open_rows) > MOST_DESCRIBED)
                + "\nThe rest of an order stays. Numbers not printed yet become free again.", cancel,
                yes="Cancel line" if len(ids) == 1 else "Cancel lines", no="Keep", careful=True)

    def action_edit(self) -> None:
        rows = self._table.rows_to_act_on
        if rows:
            self.app.push_screen(change_form([row.line for row in rows], self.app.day_form),
                                 lambda done: self._changed(rows, done) if done else None)

    def _changed(self, rows: Sequence[ListedLine], done: "Correction") -> None:
        self._table.dealt_with(rows)    # they may no longer match the filter
        announce_correction(self.app, done)


def _described(row: ListedLine) -> str:
    line = row.line
    return ", ".join(filter(None, (f"{line.number}: {line.title}", shown_prints(
        line.quantity, line.width_mm, line.height_mm), numbered(line.numbers), line.state)))


def _name(row: ListedLine) -> str:
    return f"{row.line.number}, {row.line.title}"
