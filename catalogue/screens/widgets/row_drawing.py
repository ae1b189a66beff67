"""Rows of text in columns: how wide each column is, and a row as one strip."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from catalogue.screens.texts.formats import safe

R = TypeVar("R")
MARK = "▪"      # before a marked row
DEPARTED = Style(dim=True, strike=True)

Widths = tuple[tuple[int, int], ...]    # number of a column, width in cells


@dataclass(frozen=True, slots=True)
class Column(Generic[R]):
    """``width`` in cells; 0 takes a share of what is left, by ``weight``. ``text``: what a row says here, or that with
    its style. ``least``: shown only in tables this wide."""

    title: str
    width: int
    text: Callable[[R], object]
    least: int = 0
    right: bool = False
    weight: int = 1

    def styled(self, row: R) -> tuple[str, str]:
        """What a row says here, never markup and on one line, and its style."""
        shown = self.text(row)
        text, style = shown if isinstance(shown, tuple) else (shown, "")
        return safe(str(text)), style


class RowStrips(Generic[R]):
    """Rows cut to their columns, each drawn once for every style it was seen in."""

    def __init__(self, columns: Sequence[Column[R]]) -> None:
        self.columns = tuple(columns)
        self._widths: Widths = ()
        self._drawn: dict[tuple[int, Style], Strip] = {}    # by the row object and its style
        self.header = ""    # the titles of the columns shown; none where there is one title at most

    def fit(self, width: int) -> None:
        """Cut rows for a table of this width from now on."""
        widths = column_widths(self.columns, width)
        if widths != self._widths:
            self._widths = widths
            titles = [fitted(self.columns[at].title, wide, self.columns[at].right) for at, wide in widths]
            self.header = "".join(titles) if sum(bool(title.strip()) for title in titles) > 1 else ""
            self.forget()

    def forget(self, but: Collection[int] = ()) -> None:
        """Redraw rows, all ``but`` these objects."""
        self._drawn = {key: strip for key, strip in self._drawn.items() if key[0] in but}

    def strip(self, row: R, base: Style, width: int, *, marked: bool, departed: bool) -> Strip:
        """A row as it is drawn, ``width`` cells wide."""
        drawn = self._drawn.get((id(row), base))
        if drawn is None:
            segments = self._segments(row, base)
            if marked and segments[0].text:
                segments[0] = Segment(MARK + segments[0].text[1:], segments[0].style)
            if departed:
                segments = [Segment(text, (style or base) + DEPARTED) for text, style, _ in segments]
            drawn = self._drawn[id(row), base] = Strip(segments).adjust_cell_length(width, base)
        return drawn

    def _segments(self, row: R, base: Style) -> list[Segment]:
        """The cells that are shown; those beside each other of no style of their own are one segment."""
        segments: list[Segment] = []
        plain = ""
        for at, wide in self._widths:
            text, style = self.columns[at].styled(row)
            words = fitted(text, wide, self.columns[at].right)
            if not style:
                plain += words
                continue
            if plain:
                segments.append(Segment(plain, base))
                plain = ""
            segments.append(Segment(words, base + Style.parse(style)))
        return [*segments, Segment(plain, base)]


def column_widths(columns: Sequence[Column[R]], width: int) -> Widths:
    """The columns shown in a table of this width: those of no width of their own share what the others leave."""
    shown = [at for at, column in enumerate(columns) if width >= column.least]
    flexible = [at for at in shown if columns[at].width == 0]
    weights = sum(columns[at].weight for at in flexible)
    spare = max(4 * len(flexible), width - sum(columns[at].width + 2 for at in shown))
    widths = {at: columns[at].width or spare * columns[at].weight // weights for at in shown}
    if flexible:
        widths[flexible[0]] += spare - sum(widths[at] for at in flexible)
    return tuple(widths.items())


def fitted(text: str, width: int, right: bool) -> str:
    """A cell with a space on either side, cut with an ellipsis."""
    length = cell_len(text)
    if length > width:
        text = set_cell_size(text, width - 1) + "…" if width > 1 else set_cell_size(text, width)
        length = cell_len(text)
    pad = " " * (width - length)
    return f" {pad}{text} " if right else f" {text}{pad} "
