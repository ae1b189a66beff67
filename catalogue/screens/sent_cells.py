"""Cells as the terminal has them, so that of what is drawn again only those that differ are sent.

Textual draws in stretches of a row, whose ends move whenever a widget comes or goes. So what is drawn is compared cell
by cell with what was sent, wherever stretches began and ended; of a line of text only the letters that differ are sent.
"""

from collections.abc import Iterable, Iterator
from functools import lru_cache

from rich.console import Console
from rich.style import Style
from textual.strip import Strip

from catalogue.screens.pictures.strip import PictureStrip
from catalogue.screens.style_codes import shorten_styles

Sent = tuple[int, str]          # column, and the sequence to write there
CLOSE = len("\x1b[100G")        # cells that are sent again rather than a move within the row; colours last over both


class SentCells:
    """The stretches the terminal shows: for each row the column where each begins, and the stretch."""

    def __init__(self) -> None:
        self._rows: dict[int, dict[int, tuple[Strip, str]]] = {}

    def forget(self) -> None:
        """The terminal may show something else now."""
        self._rows.clear()

    def changes(self, y: int, x: int, strip: Strip, console: Console) -> list[Sent]:
        """What must be sent so that row ``y`` shows ``strip`` from column ``x`` on; it is then taken for sent."""
        length = strip.cell_length
        if not length:
            return []
        row, sequence = self._rows.setdefault(y, {}), strip.render(console)
        before = row.get(x)
        if before is not None and before[0].cell_length == length:
            row[x] = strip, sequence
            return [] if before[1] == sequence else _differences(x, before[0], strip, sequence, console)
        if not any(start < x + length and start + old.cell_length > x for start, (old, _) in row.items()):
            row[x] = strip, sequence
            return [(x, sequence)]
        changes: list[Sent] = []
        beside = self._beside(row, x, strip, console)
        if not _has_narrow_signs(strip):
            beside = [(x, None, strip)]
        for column, old, new in beside:
            drawn = new.render(console)
            if old is None:
                changes.append((column, drawn))
            elif old.render(console) != drawn:
                changes += _differences(column, old, new, drawn, console)
        row[x] = strip, sequence
        return _shorter(changes, [(x, sequence)])

    def _beside(self, row: dict[int, tuple[Strip, str]], x: int, strip: Strip,
                console: Console) -> list[tuple[int, Strip | None, Strip]]:
        """The parts of a stretch, each beside what stands there, if that is known, and is then taken out of ``row``."""
        end, at = x + strip.cell_length, x
        parts: list[tuple[int, Strip | None, Strip]] = []
        overlapping = sorted((start, old) for start, (old, _) in row.items()
                             if start < end and start + old.cell_length > x)
        for start, old in overlapping:
            last = start + old.cell_length
            left, right = max(x, start), min(end, last)
            if left > at:
                parts.append((at, None, strip.crop(at - x, left - x)))
            whole = _has_narrow_signs(old)
            parts.append((left, old.crop(left - start, right - start) if whole else None,
                          strip.crop(left - x, right - x)))
            at = right
            del row[start]
            for piece, column in ((old.crop(0, x - start) if start < x else None, start),
                                  (old.crop(end - start, last - start) if last > end else None, end)):
                if piece is not None and whole:
                    row[column] = piece, piece.render(console)
        if at < end:
            parts.append((at, None, strip.crop(at - x, end - x)))
        return parts


def _differences(x: int, old: Strip, new: Strip, sequence: str, console: Console) -> list[Sent]:
    """The parts of ``new`` that differ from ``old``, of equal length; all of it where one of them is a picture's."""
    if isinstance(old, PictureStrip) or isinstance(new, PictureStrip) or not (
            _has_narrow_signs(old) and _has_narrow_signs(new)):
        return [(x, sequence)]
    return [(x + start, new.crop(start, end).render(console)) for start, end in _changed_spans(old, new)]


def in_few_codes(changes: Iterable[tuple[int, Sent]]) -> str:
    """What writes changes, each with its row: those of one style after each other, so that it is told once.

    The cursor goes to a row by CUP, within it by CHA (ECMA-48).
    """
    of_style: dict[str, list[tuple[int, Sent]]] = {}
    for y, (column, sequence) in changes:
        of_style.setdefault(sequence[:sequence.find("m") + 1], []).append((y, (column, sequence)))
    parts, row = [], -1
    for y, (column, sequence) in (change for group in of_style.values() for change in group):
        parts.append(f"\x1b[{column + 1}G{sequence}" if y == row else f"\x1b[{y + 1};{column + 1}H{sequence}")
        row = y
    return shorten_styles("".join(parts))


def _shorter(parts: list[Sent], whole: list[Sent]) -> list[Sent]:
    """Whichever takes fewer characters to send."""
    return min(parts, whole, key=lambda sent: len(in_few_codes((0, change) for change in sent)))


def _changed_spans(old: Strip, new: Strip) -> Iterator[tuple[int, int]]:
    """From where to where the cells of two strips look different; what lies close together is one."""
    start = last = -1
    for at, (before, after) in enumerate(zip(_looks(old), _looks(new), strict=True)):
        if before == after:
            continue
        if start >= 0 and at - last > CLOSE:
            yield start, last + 1
            start = at
        start, last = (at if start < 0 else start), at
    if start >= 0:
        yield start, last + 1


def _looks(strip: Strip) -> Iterator[tuple[str, object]]:
    """The visible content of each cell: letter and style, for a blank only the background."""
    for text, style, _ in strip:
        ground = _ground(style) if style is not None else None
        for letter in text:
            yield letter, ground if letter == " " else style


@lru_cache(1024)
def _ground(style: Style) -> tuple[object, ...] | None:
    """What a style shows of a blank; None for nothing."""
    seen = style.bgcolor, style.reverse, style.underline, style.underline2, style.overline, style.strike, style.link
    return seen if any(seen) else None


def _has_narrow_signs(strip: Strip) -> bool:
    """Whether every sign takes one cell: then a stretch may be cut anywhere."""
    return isinstance(strip, PictureStrip) or sum(len(segment.text) for segment in strip) == strip.cell_length
