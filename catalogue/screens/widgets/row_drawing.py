"""Rows of text in columns: how wide each column is, and a row as one strip."""

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from rich.style import Style
from rich.text import Text
from textual.strip import Strip

MARK = "▪"      # before a marked row
DEPARTED = Style(dim=True, strike=True)

Widths = tuple[tuple[int, int], ...]    # number of a column, width in cells


@dataclass(frozen=True, slots=True)
class Column:
    """``width`` in cells; 0 takes a share of what is left, by ``weight``. ``least``: shown only in tables this wide."""

    title: str
    width: int
    least: int = 0
    right: bool = False
    weight: int = 1


def column_widths(columns: Sequence[Column], width: int) -> Widths:
    """The columns shown in a table of this width: those of no width of their own share what the others leave."""
    shown = [at for at, column in enumerate(columns) if width >= column.least]
    flexible = [at for at in shown if columns[at].width == 0]
    weights = sum(columns[at].weight for at in flexible)
    spare = max(4 * len(flexible), width - sum(columns[at].width + 2 for at in shown))
    widths = {at: columns[at].width or spare * columns[at].weight // weights for at in shown}
    if flexible:
        widths[flexible[0]] += spare - sum(widths[at] for at in flexible)
    return tuple(widths.items())


def header_text(columns: Sequence[Column], widths: Widths) -> str:
    """The titles of the columns shown; none where there is one title at most."""
    if sum(1 for at, _ in widths if columns[at].title) < 2:
        return ""
    return "".join(fitted(columns[at].title, wide, columns[at].right) for at, wide in widths)


def row_strip(cells: Sequence[Text], widths: Widths, base: Style, width: int, *, marked: bool,
              departed: bool) -> Strip:
    """A row as it is drawn, ``width`` cells wide."""
    segments: list[Segment] = []
    text = ""
    for at, wide in widths:
        cell = cells[at]
        words = fitted(cell.plain, wide, cell.justify == "right")
        if not cell.style:
            text += words
            continue
        if text:
            segments.append(Segment(text, base))
            text = ""
        segments.append(Segment(words, base + (cell.style if isinstance(cell.style, Style) else
                                               Style.parse(cell.style))))
    segments.append(Segment(text, base))
    if marked and segments[0].text:
        segments[0] = Segment(MARK + segments[0].text[1:], segments[0].style)
    if departed:
        segments = [Segment(text, (style or base) + DEPARTED) for text, style, _ in segments]
    return Strip(segments).adjust_cell_length(width, base)


def fitted(text: str, width: int, right: bool) -> str:
    """A cell with a space on either side, cut with an ellipsis."""
    length = cell_len(text)
    if length > width:
        text = set_cell_size(text, width - 1) + "…" if width > 1 else set_cell_size(text, width)
        length = cell_len(text)
    pad = " " * (width - length)
    return f" {pad}{text} " if right else f" {text}{pad} "
