"""A table of single-line rows with a cursor, drawn straight from text.

Textual's own table renders every cell as a renderable of its own; at 200×60 a screenful takes longer than a key may.
Here a row is cut to its columns once and drawn as one strip.
"""

from collections.abc import Callable, Iterable, Sequence
from typing import Any, ClassVar, Generic, TypeVar

from rich.cells import set_cell_size
from rich.segment import Segment
from textual import events
from textual.binding import BindingType
from textual.geometry import Region, Size
from textual.message import Message
from textual.reactive import reactive
from textual.scroll_view import ScrollView
from textual.strip import Strip

from catalogue.screens.keys import LISTS, bindings
from catalogue.screens.texts.formats import number, safe
from catalogue.screens.widgets.held_rows import HeldRows, id_of
from catalogue.screens.widgets.row_drawing import MARK, Column, RowStrips

R = TypeVar("R")
HERE = object()


class RowMessage(Message):
    """Something of a ``row`` of a ``table``."""

    def __init__(self, table: "RowTable[Any]", row: Any) -> None:
        super().__init__()
        self.table, self.row = table, row


class RowTable(ScrollView, Generic[R], can_focus=True, inherit_bindings=False):
    """Rows of text. Posts ``Highlighted`` when the cursor comes to another row, ``Selected`` on a second click.

    Rows can be marked, to act on several at once. One that has left the list while the cursor is on it is struck
    through; see :class:`HeldRows`.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {"rows--header", "rows--row", "rows--cursor", "rows--hover"}
    BINDINGS: ClassVar[list[BindingType]] = bindings(LISTS)

    cursor_row: reactive[int] = reactive(0, repaint=False)
    hover_row: reactive[int] = reactive(-1, repaint=False)

    class Highlighted(RowMessage):
        """The cursor stands on ``row``; None when there is none."""

    class Selected(RowMessage):
        """A click on the row under the cursor."""

    def __init__(self, columns: Sequence[Column[R]], identity: Callable[[R], object] = id_of, *, id: str) -> None:
        """``identity``: what a row is known by when the list is read again."""
        super().__init__(id=id)
        self._strips = RowStrips(columns)
        self._held = HeldRows(identity)
        self._told: object = HERE
        self._title = ""

    @property
    def rows_held(self) -> list[R]:
        """The rows as they are drawn."""
        return self._held.rows

    @property
    def row_count(self) -> int:
        return len(self.rows_held)

    @property
    def highlighted(self) -> R | None:
        """The row under the cursor."""
        return self.rows_held[self.cursor_row] if 0 <= self.cursor_row < len(self.rows_held) else None

    @property
    def row_to_act_on(self) -> R | None:
        """The row under the cursor, for what a key does to it. Raises Refused if it is drawn but has left the list."""
        return self._held.present(self.highlighted)

    @property
    def rows_to_act_on(self) -> list[R]:
        """The marked rows, else the one under the cursor. Raises: as :attr:`row_to_act_on`."""
        return self.marked or [row for row in (self.row_to_act_on,) if row is not None]

    @property
    def marked(self) -> list[R]:
        """The marked rows, those paged away included."""
        return self._held.marked

    @property
    def two_to_merge(self) -> tuple[R, R] | None:
        """The two marked rows, or the one marked and the one under the cursor. Raises: as :attr:`row_to_act_on`."""
        rows = self.marked
        if len(rows) == 1 and (row := self.row_to_act_on) is not None and not self._held.is_marked(row):
            rows.append(row)
        return (rows[0], rows[1]) if len(rows) == 2 else None

    def toggle_mark(self) -> None:
        """Mark the row under the cursor, or take its mark away, and go on to the next. Raises Refused."""
        row = self.row_to_act_on
        if row is not None:
            self._held.toggle_mark(row)
            self._marks_changed()
            self.cursor_row += 1

    def unmark_all(self) -> None:
        if self.marked:
            self._held.unmark_all()
            self._marks_changed()

    def _marks_changed(self) -> None:
        self._strips.forget()
        self._show_title()
        self.refresh()

    def expect_removal(self, row: R) -> None:
        """The person has dealt with this row: when it leaves the list the cursor goes on to the next."""
        self._held.expect_removal([row])

    def dealt_with(self, rows: Iterable[R]) -> None:
        """As :meth:`expect_removal` for all of ``rows``; nothing stays marked."""
        self.unmark_all()
        self._held.expect_removal(rows)

    def set_title(self, title: str, count: int | None = None) -> None:
        """Name the list, with how many rows it has in all."""
        self._title = safe(title if count is None else f"{title}  {number(count)}")
        self._show_title()

    def _show_title(self) -> None:
        self.border_title = self._title + (f"  {MARK} {number(len(self.marked))} marked" if self.marked else "")

    def set_rows(self, rows: Sequence[R], *, cursor: int = 0, scroll: int | None = None,
                 keep_drawn: bool = False) -> None:
        """Show these rows, the cursor on one of them, scrolled this far or, if None, as far as the cursor needs.

        ``keep_drawn``: rows held before are the same objects and look the same.
        """
        before, stood, top = self.rows_held, self.cursor_row, self.scroll_offset.y
        self._held.set_rows(rows)
        self._strips.forget({id(row) for row in self.rows_held} if keep_drawn else ())
        self._resize()
        self.set_reactive(RowTable.cursor_row, max(0, min(cursor, len(self.rows_held) - 1)))
        if scroll is not None:
            self.scroll_to(y=scroll, animate=False, force=True)
        self._show_cursor()
        if keep_drawn and top == self.scroll_offset.y:
            for index in range(top, top + self.size.height):
                if index in (stood, self.cursor_row) or before[index:index + 1] != self.rows_held[index:index + 1]:
                    self._refresh_row(index)
        else:
            self.refresh()
        self._tell()

    def show_rows(self, rows: Sequence[R], *, keep: bool = False) -> None:
        """Show a whole list and point to a row again; with ``keep`` the cursor stays on its row, or near it."""
        at, scroll, listed, before = 0, 0, list(rows), self.highlighted
        if keep and before is not None:
            position = self._held.position(before, listed)
            at = min(self.cursor_row, len(listed)) if position is None else position
            if position is None:
                listed = self._held.with_departed(listed, at, before)
            scroll = self.scroll_offset.y
        self._held.forget_expected()
        self.announce_again()
        self.set_rows(listed, cursor=at, scroll=scroll)

    def announce_again(self) -> None:
        """The row under the cursor may have changed: announce it again when rows are set."""
        self._told = object()

    # Drawing

    @property
    def _header_height(self) -> int:
        return 1 if self._strips.header else 0

    def _resize(self) -> None:
        width = self.scrollable_content_region.width
        self._strips.fit(width)
        wanted = Size(width, len(self.rows_held) + self._header_height)
        height = self.size.height
        same_bars = (wanted.height > height) == (self.virtual_size.height > height) == self.show_vertical_scrollbar
        fixed = self.styles.height is None or not self.styles.height.is_auto
        if same_bars and fixed and wanted.width == self.virtual_size.width:
            # Only the bar's length changes: no reason to lay the whole screen out again.
            self.set_reactive(RowTable.virtual_size, wanted)
            if self.show_vertical_scrollbar:
                self.vertical_scrollbar.window_virtual_size = wanted.height
        else:
            self.virtual_size = wanted

    def render_line(self, y: int) -> Strip:
        width = self.scrollable_content_region.width
        if y < self._header_height:
            style = self.get_component_rich_style("rows--header")
            return Strip([Segment(set_cell_size(self._strips.header, width), style)], width)
        index = y - self._header_height + self.scroll_offset.y
        if index >= len(self.rows_held):
            return Strip.blank(width, self.get_component_rich_style("rows--row"))
        state = "cursor" if index == self.cursor_row else "hover" if index == self.hover_row else "row"
        row, style = self.rows_held[index], self.get_component_rich_style(f"rows--{state}")
        return self._strips.strip(row, style, width, departed=row is self._held.departed,
                                  marked=self._held.is_marked(row))

    # The cursor

    def validate_cursor_row(self, row: int) -> int:
        return max(0, min(row, len(self.rows_held) - 1))

    def watch_cursor_row(self, before: int, now: int) -> None:
        if self._held.departed is not None and self.highlighted is not self._held.departed:
            if self.cursor_row > self._held.drop_departed():
                self.set_reactive(RowTable.cursor_row, self.cursor_row - 1)
            self._resize()
            self.refresh()
        self._refresh_row(before)
        self._refresh_row(now)
        self._show_cursor()
        self._tell()

    def watch_hover_row(self, before: int, now: int) -> None:
        self._refresh_row(before)
        self._refresh_row(now)

    def _refresh_row(self, index: int) -> None:
        y = index - self.scroll_offset.y + self._header_height
        if index >= 0 and y >= self._header_height:
            self.refresh(Region(0, y, self.size.width, 1))

    def _show_cursor(self) -> None:
        """Scroll as little as needed."""
        room = self.scrollable_content_region.height - self._header_height
        if room <= 0:
            return
        top = self.scroll_offset.y
        wanted = min(max(top, self.cursor_row - room + 1), self.cursor_row)
        if wanted != top:
            self.scroll_to(y=wanted, animate=False, force=True)

    def _tell(self) -> None:
        row = self.highlighted
        identity = HERE if row is None else self._held.identity(row)
        if identity != self._told or row is None:
            self._told = identity
            self.post_message(self.Highlighted(self, row))

    # Keys and mouse

    def action_cursor_down(self) -> None:
        self.cursor_row += 1

    def action_cursor_up(self) -> None:
        self.cursor_row -= 1

    def _screenful(self) -> int:
        return max(1, self.scrollable_content_region.height - self._header_height - 1)

    def action_page_down(self) -> None:
        self.cursor_row += self._screenful()

    def action_page_up(self) -> None:
        self.cursor_row -= self._screenful()

    def action_scroll_top(self) -> None:
        self.cursor_row = 0

    def action_scroll_bottom(self) -> None:
        self.cursor_row = len(self.rows_held) - 1

    def _row_at(self, y: int) -> int:
        index = y - self._header_height + self.scroll_offset.y
        return index if y >= self._header_height and 0 <= index < len(self.rows_held) else -1

    def on_click(self, event: events.Click) -> None:
        at = event.get_content_offset(self)
        index = self._row_at(at.y) if at is not None else -1
        if index >= 0 and index == self.cursor_row:
            self.post_message(self.Selected(self, self.highlighted))
        elif index >= 0:
            self.cursor_row = index

    def on_mouse_move(self, event: events.MouseMove) -> None:
        at = event.get_content_offset(self)
        self.hover_row = self._row_at(at.y) if at is not None else -1

    def on_leave(self, _: events.Leave) -> None:
        self.hover_row = -1

    def on_resize(self, _: events.Resize) -> None:
        self._resize()
        self._show_cursor()
