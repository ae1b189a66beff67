"""A table over a list of any length: it holds a few pages around the cursor and asks for the next as it nears."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeVar, cast

from rich.text import Text
from textual import events
from textual.binding import BindingType
from textual.coordinate import Coordinate
from textual.message import Message
from textual.widgets import DataTable

from catalogue.records.database import Database
from catalogue.screens.keys import list_bindings
from catalogue.screens.lanes import Lane
from catalogue.screens.page import ask
from catalogue.screens.wording import number, safe

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

R = TypeVar("R")

PAGE = 100      # rows asked for at a time
HELD = 300      # rows in the table at most
NEAR = 25       # rows from the edge at which the next page is asked for


@dataclass(frozen=True, slots=True)
class Column:
    """``width`` in cells; 0 takes a share of what is left, by ``weight``. ``least``: shown only in tables this wide."""

    title: str
    width: int
    least: int = 0
    right: bool = False
    weight: int = 1


@dataclass(frozen=True, slots=True)
class Source(Generic[R]):
    """A list as pages: ``page(db, beyond, limit, forward)`` in the list's order, ``cells`` one for each column."""

    page: Callable[[Database, R | None, int, bool], list[R]]
    cells: Callable[[R], Sequence[Text]]
    identity: Callable[[R], object]


def listed(rows: Sequence[R], cells: Callable[[R], Sequence[Text]], identity: Callable[[R], object]) -> Source[R]:
    """A list that is in memory already."""

    def page(_: Database, beyond: R | None, limit: int, forward: bool) -> list[R]:
        at = next((i for i, row in enumerate(rows) if beyond is not None and identity(row) == identity(beyond)), None)
        if forward:
            start = 0 if at is None else at + 1
            return list(rows[start:start + limit])
        end = len(rows) if at is None else at
        return list(rows[max(0, end - limit):end])

    return Source(page, cells, identity)


class PagedTable(DataTable[Text], Generic[R], inherit_bindings=False):
    """Rows of one :class:`Source`. Posts :class:`Pointed` when the cursor comes to a row, :class:`Chosen` on Enter."""

    BINDINGS: ClassVar[list[BindingType]] = list_bindings()

    class Pointed(Message):
        """The cursor stands on ``row``; None when the list is empty."""

        def __init__(self, table: "PagedTable[Any]", row: Any) -> None:
            super().__init__()
            self.table, self.row = table, row

        @property
        def control(self) -> "PagedTable[Any]":
            return self.table

    class Chosen(Message):
        """Enter or a second click on ``row``."""

        def __init__(self, table: "PagedTable[Any]", row: Any) -> None:
            super().__init__()
            self.table, self.row = table, row

        @property
        def control(self) -> "PagedTable[Any]":
            return self.table

    def __init__(self, columns: Sequence[Column], *, id: str, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes, cursor_type="row", show_row_labels=False, zebra_stripes=False,
                         cell_padding=1)
        self._shape = tuple(columns)
        self._shown: tuple[int, ...] = ()
        self._widths: tuple[int, ...] = ()
        self._source: Source[R] | None = None
        self.rows_held: list[R] = []
        self._begins = self._ends = True   # whether the first and the last row of the list are held
        self._pointed: object = None

    @property
    def _lane(self) -> Lane[Database]:
        return cast("CatalogueApp", self.app).lanes["read"]

    def entitle(self, title: str, count: int | None = None) -> None:
        """Name the list, with how many rows it has in all."""
        self.border_title = safe(title if count is None else f"{title}  {number(count)}")

    @property
    def pointed(self) -> R | None:
        """The row under the cursor."""
        return self.rows_held[self.cursor_row] if 0 <= self.cursor_row < len(self.rows_held) else None

    def show(self, source: Source[R], *, keep: bool = False) -> None:
        """Show a list from its start, or with ``keep`` around the row the cursor is on."""
        here = self.pointed if keep else None
        self._source = source
        if here is None:
            ask(self, self._lane, lambda db: source.page(db, None, PAGE, True), self._first, group="page")
        else:
            self._show_around(here, self.cursor_row)

    def go_to(self, row: R | None) -> None:
        """Put the cursor on a row of the list, wherever it is."""
        if row is not None and self._source is not None:
            self._show_around(row, PAGE)

    def _show_around(self, here: R, row: int) -> None:
        source = self._source
        assert source is not None

        def around(db: Database) -> tuple[list[R], list[R]]:
            before = source.page(db, here, min(row, HELD), False)
            return before, source.page(db, before[-1] if before else None, HELD - len(before), True)

        ask(self, self._lane, around, lambda found: self._around(found, here, row), group="page")

    def _first(self, rows: list[R]) -> None:
        self._begins, self._ends = True, len(rows) < PAGE
        self._fill(rows, 0, 0)

    def _around(self, found: tuple[list[R], list[R]], here: R, row: int) -> None:
        assert self._source is not None
        before, after = found
        rows = before + after
        identity = self._source.identity
        at = next((i for i, r in enumerate(rows) if identity(r) == identity(here)), min(row, len(rows) - 1))
        self._begins, self._ends = len(before) < row or row == 0, len(after) < HELD - len(before)
        self._pointed = None  # the row may say something new
        self._fill(rows, at, int(self.scroll_y))

    def _fill(self, rows: list[R], cursor: int, scroll: int) -> None:
        """Rebuild the table: cheaper than removing rows, and the cursor stays on its row."""
        self.rows_held = rows
        with self.prevent(DataTable.RowHighlighted), self.app.batch_update():
            self._lay_columns()
            self.clear()
            if self._source is not None:
                for row in rows:
                    cells = self._source.cells(row)
                    self.add_row(*(cells[i] for i in self._shown))
            if rows:
                self.cursor_coordinate = Coordinate(max(0, min(cursor, len(rows) - 1)), 0)
            self.scroll_to(y=scroll, animate=False, force=True)
            self.call_after_refresh(self._scroll_cursor_into_view)
        self._tell()

    def _lay_columns(self) -> None:
        """Columns for the present width: the flexible ones share what is left."""
        width = self.size.width
        shown = tuple(i for i, column in enumerate(self._shape) if width >= column.least)
        fixed = sum(self._shape[i].width + 2 for i in shown)
        flexible = [i for i in shown if self._shape[i].width == 0]
        spare = max(4 * len(flexible), width - fixed - self.styles.scrollbar_size_vertical)
        weights = sum(self._shape[i].weight for i in flexible)
        widths = []
        for i in shown:
            own = self._shape[i].width
            if own == 0:
                own = spare * self._shape[i].weight // weights
                if i == flexible[0]:
                    own += spare - sum(spare * self._shape[f].weight // weights for f in flexible)
            widths.append(own)
        if (shown, tuple(widths)) == (self._shown, self._widths):
            return
        self._shown, self._widths = shown, tuple(widths)
        self.show_header = sum(bool(self._shape[i].title) for i in shown) > 1
        self.clear(columns=True)
        for i, column_width in zip(shown, widths, strict=True):
            title = self._shape[i].title
            self.add_column(Text(title, justify="right" if self._shape[i].right else "left", no_wrap=True),
                            width=column_width)

    def on_resize(self, _: events.Resize) -> None:
        before = self._widths, self._shown
        cursor, scroll = self.cursor_row, int(self.scroll_y)
        self._lay_columns()
        if (self._widths, self._shown) != before and self.rows_held:
            self._fill(self.rows_held, cursor, scroll)

    def on_data_table_row_highlighted(self, event: DataTable.RowHighlighted) -> None:
        event.stop()
        self._tell()
        self._fetch_more()

    def on_data_table_row_selected(self, event: DataTable.RowSelected) -> None:
        event.stop()
        row = self.pointed
        if row is not None:
            self.post_message(self.Chosen(self, row))

    def _tell(self) -> None:
        row = self.pointed
        identity = self._source.identity(row) if self._source and row is not None else "nothing"
        if identity != self._pointed:
            self._pointed = identity
            self.post_message(self.Pointed(self, row))

    def _fetch_more(self) -> None:
        source = self._source
        if source is None or not self.rows_held:
            return
        if not self._ends and self.cursor_row >= len(self.rows_held) - NEAR:
            last = self.rows_held[-1]
            ask(self, self._lane, lambda db: source.page(db, last, PAGE, True), self._add_below, group="page")
        elif not self._begins and self.cursor_row < NEAR:
            first = self.rows_held[0]
            ask(self, self._lane, lambda db: source.page(db, first, PAGE, False), self._add_above, group="page")

    def _add_below(self, rows: list[R]) -> None:
        self._ends = len(rows) < PAGE
        if rows:
            held = self.rows_held + rows
            dropped = max(0, len(held) - HELD)
            self._begins = self._begins and not dropped
            self._fill(held[dropped:], self.cursor_row - dropped, int(self.scroll_y) - dropped)

    def _add_above(self, rows: list[R]) -> None:
        self._begins = len(rows) < PAGE
        if rows:
            held = rows + self.rows_held
            self._ends = self._ends and len(held) <= HELD
            self._fill(held[:HELD], self.cursor_row + len(rows), int(self.scroll_y) + len(rows))

    def action_scroll_top(self) -> None:
        """Home: the first row of the whole list."""
        if self._begins or self._source is None:
            super().action_scroll_top()
            return
        self.show(self._source)

    def action_scroll_bottom(self) -> None:
        """End: the last row of the whole list."""
        source = self._source
        if self._ends or source is None:
            super().action_scroll_bottom()
            return

        def last(rows: list[R]) -> None:
            self._begins, self._ends = len(rows) < PAGE, True
            self._fill(rows, len(rows) - 1, len(rows))

        ask(self, self._lane, lambda db: source.page(db, None, PAGE, False), last, group="page")
