"""A table over a list of any length: it holds a few pages around the cursor and asks for the next as it nears."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar, cast

from catalogue.records.database import Database
from catalogue.screens.background.threads import run_in_thread
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

R = TypeVar("R")
T = TypeVar("T")

PAGE = 120      # rows asked for at a time
HELD = 360      # rows in the table at most
NEAR = 60       # rows from the edge at which the next page is asked for

@dataclass(frozen=True, slots=True)
class Source(Generic[R]):
    """A list as pages: ``page(db, beyond, limit, forward)`` in the list's order.

    ``again`` reads one row again, None if it has gone: the cursor goes along with a row that another name has moved.
    """

    page: Callable[[Database, R | None, int, bool], list[R]]
    again: Callable[[Database, R], R | None] | None = None


class PagedTable(RowTable[R]):
    """Rows of one :class:`Source`."""

    def __init__(self, columns: Sequence[Column[R]], identity: Callable[[R], object], *, id: str) -> None:
        super().__init__(columns, identity, id=id)
        self._source: Source[R] | None = None
        self.begins = self.ends = True   # whether the first and the last row of the list are held

    def _ask(self, job: Callable[[Database], T], then: Callable[[T], object]) -> None:
        """Read rows; keys that act on this table wait until they are set."""
        run_in_thread(self, cast("CatalogueApp", self.app).threads["read"], job, then, group="page", holds=self)

    def show(self, source: Source[R], *, keep: bool = False) -> None:
        """Show a list from its start, or with ``keep`` around the row the cursor is on."""
        anchor = self.highlighted if keep else None
        self._source = source
        if anchor is None:
            self._ask(lambda db: source.page(db, None, PAGE, True), self._first)
        else:
            self._show_around(anchor, self.cursor_row, self.scroll_offset.y, keep=True)

    def go_to(self, row: R | None) -> None:
        """Put the cursor on a row of the list, wherever it is."""
        if row is not None and self._source is not None:
            self._show_around(row, PAGE, None)

    def _show_around(self, anchor: R, row: int, scroll: int | None, *, keep: bool = False) -> None:
        """Show the pages around ``here``, ``row`` rows before it; with ``keep`` it stays even if the list holds it no
        longer."""
        source = self._source
        assert source is not None

        def around(db: Database) -> tuple[list[R], list[R], int, bool]:
            now = source.again(db, anchor) if keep and source.again is not None else None
            moved = now is not None and now != anchor
            wanted = min(max(row, PAGE) if moved else row, HELD)
            before = source.page(db, anchor if now is None else now, wanted, False)
            return before, source.page(db, before[-1] if before else None, HELD - len(before), True), wanted, moved

        def show(pages: tuple[list[R], list[R], int, bool]) -> None:
            before, after, wanted, moved = pages
            rows = before + after
            found_at = self._held.position(anchor, rows)
            at = len(before) if found_at is None else found_at
            if keep and found_at is None:
                rows = self._held.with_departed(rows, at, anchor)
            self._held.forget_expected()
            self.begins, self.ends = len(before) < wanted or wanted == 0, len(after) < HELD - len(before)
            self.announce_again()
            self.set_rows(rows, cursor=at, scroll=None if moved else scroll)

        self._ask(around, show)

    def _first(self, rows: list[R]) -> None:
        self.begins, self.ends = True, len(rows) < PAGE
        self.set_rows(rows, scroll=0)

    def watch_cursor_row(self, before: int, now: int) -> None:
        super().watch_cursor_row(before, now)
        self._fetch_more()

    def _fetch_more(self) -> None:
        source = self._source
        if source is None or not self.rows_held:
            return
        if not self.ends and self.cursor_row >= len(self.rows_held) - NEAR:
            last = self.rows_held[-1]
            self._ask(lambda db: source.page(db, last, PAGE, True), self._add_below)
        elif not self.begins and self.cursor_row < NEAR:
            first = self.rows_held[0]
            self._ask(lambda db: source.page(db, first, PAGE, False), self._add_above)

    def _add_below(self, rows: list[R]) -> None:
        self.ends = len(rows) < PAGE
        if rows:
            held = self.rows_held + rows
            dropped = max(0, len(held) - HELD)
            self.begins = self.begins and not dropped
            self.set_rows(held[dropped:], cursor=self.cursor_row - dropped, scroll=self.scroll_offset.y - dropped,
                          keep_drawn=True)

    def _add_above(self, rows: list[R]) -> None:
        self.begins = len(rows) < PAGE
        if rows:
            held = rows + self.rows_held
            self.ends = self.ends and len(held) <= HELD
            self.set_rows(held[:HELD], cursor=self.cursor_row + len(rows), scroll=self.scroll_offset.y + len(rows),
                          keep_drawn=True)

    def action_page_down(self) -> None:
        super().action_page_down()
        self._fetch_more()

    def action_scroll_top(self) -> None:
        if self.begins or self._source is None:
            super().action_scroll_top()
        else:
            self.show(self._source)

    def action_scroll_bottom(self) -> None:
        source = self._source
        if self.ends or source is None:
            super().action_scroll_bottom()
            return

        def last(rows: list[R]) -> None:
            self.begins, self.ends = len(rows) < PAGE, True
            self.set_rows(rows, cursor=len(rows) - 1)

        self._ask(lambda db: source.page(db, None, PAGE, False), last)
