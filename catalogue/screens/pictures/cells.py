"""A picture as rows of terminal cells: half blocks in colour, or shades where the terminal has few colours.

Pure: knows no widget and no catalogue. A cell counts as twice as high as wide.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from rich.color import Color
from rich.segment import Segment
from rich.style import Style

from catalogue.screens.pictures.print_drawing import RED, WHITE, drawn_print

if TYPE_CHECKING:
    from PIL.Image import Image

    from catalogue.sheets.layout import PrintLayout

RAMP = " .:-=+*#%@"  # more and more ink, for terminals without colours; plain ASCII reads in every font
HALF_BLOCK = "▀"
COARSER = bytes(value & 0xFC for value in range(256))  # nobody sees the difference, and more neighbours are alike
EIGHT = bytes(value & 0xE0 | 0x10 for value in range(256))  # so many steps a channel
PALETTES = ("colours", "light on dark", "dark on light")


Mark = tuple[float, float, float, float]   # left, top, right, bottom: fractions of the picture


@dataclass(frozen=True, slots=True)
class Cells:
    """A row of half blocks: red, green, blue of every cell's upper half, and of the lower, or nothing there.

    ``sequence`` is what a terminal of 16 million colours gets for it. A picture has thousands of cells; as objects of
    their own they would cost more than all the rest of a screen, so they become that only where one is asked for.
    """

    above: bytes
    below: bytes
    sequence: str

    def __len__(self) -> int:
        return len(self.above) // 3

    def part(self, start: int, end: int) -> "Cells":
        """Some of the cells."""
        return cells(self.above[start * 3:end * 3], self.below[start * 3:end * 3])

    def segments(self) -> list[Segment]:
        """For Rich, cell by cell."""
        return [Segment(HALF_BLOCK, _style(self.above[at:at + 3], self.below[at:at + 3]))
                for at in range(0, len(self.above), 3)]

    def blurred(self, step: int) -> list[Segment]:
        """For Rich, so many cells in the colours of their middle one, and those rounded to eight steps a channel: few
        different styles, which are what takes time."""
        segments: list[Segment] = []
        for start in range(0, len(self), step):
            end = min(start + step, len(self))
            at = (start + end) // 2 * 3
            style = _style(self.above[at:at + 3].translate(EIGHT), self.below[at:at + 3].translate(EIGHT))
            if segments and segments[-1].style is style:
                segments[-1] = Segment(segments[-1].text + HALF_BLOCK * (end - start), style)
            else:
                segments.append(Segment(HALF_BLOCK * (end - start), style))
        return segments


@lru_cache(8192)
def _style(upper: bytes, lower: bytes) -> Style:
    return Style.from_color(Color.from_rgb(*upper), Color.from_rgb(*lower) if lower else None)


def cells(above: bytes, below: bytes) -> Cells:
    """A row of half blocks from the samples of two rows of pixels; ``below`` may be empty."""
    parts, last = [], b""
    for at in range(0, len(above), 3):
        pair = above[at:at + 3] + below[at:at + 3]
        if pair != last:
            ink = f"\x1b[38;2;{pair[0]};{pair[1]};{pair[2]}"
            parts.append(f"{ink};48;2;{pair[3]};{pair[4]};{pair[5]}m" if below else f"{ink}m")
            last = pair
        parts.append(HALF_BLOCK)
    parts.append("\x1b[0m")
    return Cells(above, below, "".join(parts))


@dataclass(frozen=True, slots=True)
class Drawing:
    """Rows, all ``width`` cells wide: half blocks, or signs where there are no colours."""

    width: int
    rows: tuple[Cells, ...] | tuple[str, ...]


def fit_size(width: float, height: float, columns: int, rows: int) -> tuple[int, int]:
    """Largest size in half-block pixels, ``(columns, 2 × rows)`` at most, with the picture's proportions."""
    scale = min(columns / width, rows * 2 / height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def draw_file(source: Path | bytes, columns: int, rows: int, *, palette: str, marks: tuple[Mark, ...] = (),
         layout: "PrintLayout | None" = None) -> Drawing:
    """The picture at (or in) ``source`` drawn into at most ``columns`` × ``rows`` cells, with ``marks`` outlined.

    ``ink`` is one of INKS. ``layout``: draw the print that is made of it.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    return draw_picture(open_picture(source), columns, rows, palette=palette, marks=marks, layout=layout)


def open_picture(source: Path | bytes) -> "Image":
    """The picture at (or in) ``source``, decoded.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    from PIL import Image

    with Image.open(BytesIO(source) if isinstance(source, bytes) else source) as picture:
        return picture.convert("RGB")


def draw_picture(picture: "Image", columns: int, rows: int, *, palette: str, marks: tuple[Mark, ...] = (),
          layout: "PrintLayout | None" = None) -> Drawing:
    """A picture in memory drawn into at most ``columns`` × ``rows`` cells."""
    from PIL import Image

    shape: tuple[float, float] = picture.size if layout is None else layout.extent_size
    width, height = fit_size(shape[0], shape[1], columns, rows)
    if palette != "colours":
        size = (width, max(1, round(height / 2)))
        small = (drawn_print(picture, layout, size, WHITE).convert("L") if layout is not None else
                 picture.convert("L").resize(size, Image.Resampling.BOX))
        _outline(small, marks, 255)
        return Drawing(width, tuple(_shades(small, RAMP if palette == "light on dark" else RAMP[::-1])))
    small = (drawn_print(picture, layout, (width, height)) if layout is not None else
             picture.resize((width, height), Image.Resampling.LANCZOS))
    _outline(small, marks, RED)
    return Drawing(width, tuple(_half_blocks(small)))


def _outline(picture: "Image", marks: tuple[Mark, ...], ink: int | tuple[int, int, int]) -> None:
    from PIL import ImageDraw

    width, height = picture.size
    for left, top, right, bottom in marks:
        x, y = min(int(left * width), width - 1), min(int(top * height), height - 1)
        ImageDraw.Draw(picture).rectangle(
            (x, y, max(x, min(int(right * width), width - 1)), max(y, min(int(bottom * height), height - 1))),
            outline=ink)


def _half_blocks(picture: "Image") -> Iterator[Cells]:
    length = picture.width * 3
    data = picture.tobytes().translate(COARSER)
    for top in range(0, picture.height, 2):
        yield cells(data[top * length:(top + 1) * length], data[(top + 1) * length:(top + 2) * length])


def _shades(picture: "Image", ramp: str) -> Iterator[str]:
    width, height = picture.size
    data = picture.tobytes()
    for y in range(height):
        yield "".join(ramp[value * len(ramp) // 256] for value in data[y * width:(y + 1) * width])
