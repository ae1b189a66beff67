"""A picture as rows of terminal cells: block signs in two colours, or shades where the terminal has few colours.

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

from catalogue.screens.pictures.blocks import BLOCKS, Blocks, Fitted, fit_within
from catalogue.screens.pictures.print_drawing import RED, WHITE, Colour, drawn_print

if TYPE_CHECKING:
    from PIL.Image import Image

    from catalogue.sheets.layout import PrintLayout

RAMP = " .:-=+*#%@"  # more and more ink, for terminals without colours; plain ASCII reads in every font
FULL = "█"
PALETTES = ("colours", "light on dark", "dark on light")
MOST_BYTES = 26_000     # that a picture may send to the terminal: a third of a second at 600 kbit/s
PAGE: Colour = (0, 0, 0)

Mark = tuple[float, float, float, float]   # left, top, right, bottom: fractions of the picture


@dataclass(frozen=True, slots=True)
class Cells:
    """A row of block signs with red, green, blue of every cell's ink, and of the ground behind it.

    ``sequence`` is what a terminal of 16 million colours gets for it. A picture has thousands of cells; as objects of
    their own they would cost more than all the rest of a screen, so they become that only where one is asked for.
    """

    signs: str
    ink: bytes
    ground: bytes
    sequence: str

    def __len__(self) -> int:
        return len(self.signs)

    def part(self, start: int, end: int) -> "Cells":
        """Some of the cells."""
        return cells(self.signs[start:end], self.ink[start * 3:end * 3], self.ground[start * 3:end * 3])

    def segments(self) -> list[Segment]:
        """For Rich, cell by cell."""
        return [Segment(sign, _style(self.ink[at * 3:at * 3 + 3], self.ground[at * 3:at * 3 + 3]))
                for at, sign in enumerate(self.signs)]

    @property
    def mean(self) -> Colour:
        """The colour between all its inks and grounds."""
        count = 2 * len(self)
        red, green, blue = ((sum(self.ink[channel::3]) + sum(self.ground[channel::3])) // count for channel in range(3))
        return red, green, blue


@lru_cache(8192)
def _style(ink: bytes, ground: bytes) -> Style:
    return Style.from_color(Color.from_rgb(*ink), Color.from_rgb(*ground))


def cells(signs: str, ink: bytes, ground: bytes) -> Cells:
    """A row of cells. A colour is sent only where a sign shows it and it is not the one sent before."""
    parts, last_ink, last_ground = [], b"", b""
    for at, sign in enumerate(signs):
        one, other = ink[at * 3:at * 3 + 3], ground[at * 3:at * 3 + 3]
        codes = []
        if sign != " " and one != last_ink:
            codes.append(f"38;2;{one[0]};{one[1]};{one[2]}")
            last_ink = one
        if sign != FULL and other != last_ground:
            codes.append(f"48;2;{other[0]};{other[1]};{other[2]}")
            last_ground = other
        parts.append(f"\x1b[{';'.join(codes)}m{sign}" if codes else sign)
    parts.append("\x1b[0m")
    return Cells(signs, ink, ground, "".join(parts))


@dataclass(frozen=True, slots=True)
class Drawing:
    """Rows, all ``width`` cells wide: block signs in colours, or signs alone where there are none."""

    width: int
    rows: tuple[Cells, ...] | tuple[str, ...]


def fit_size(width: float, height: float, columns: int, rows: int) -> tuple[int, int]:
    """Largest size in half-block pixels, ``(columns, 2 × rows)`` at most, with the picture's proportions."""
    scale = min(columns / width, rows * 2 / height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def draw_file(source: Path | bytes, columns: int, rows: int, *, palette: str, marks: tuple[Mark, ...] = (),
              layout: "PrintLayout | None" = None, blocks: str = "quadrants", page: Colour = PAGE,
              most_bytes: int = MOST_BYTES) -> Drawing:
    """The picture at (or in) ``source`` drawn into at most ``columns`` × ``rows`` cells, with ``marks`` outlined.

    ``palette`` is one of PALETTES, ``blocks`` a name in BLOCKS. ``layout``: draw the print that is made of it.
    ``page``: the colour around it, seen where it ends within a cell. ``most_bytes``: to keep to, about.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    return draw_picture(open_picture(source), columns, rows, palette=palette, marks=marks, layout=layout,
                        blocks=blocks, page=page, most_bytes=most_bytes)


def open_picture(source: Path | bytes) -> "Image":
    """The picture at (or in) ``source``, decoded.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    from PIL import Image

    with Image.open(BytesIO(source) if isinstance(source, bytes) else source) as picture:
        return picture.convert("RGB")


def draw_picture(picture: "Image", columns: int, rows: int, *, palette: str, marks: tuple[Mark, ...] = (),
                 layout: "PrintLayout | None" = None, blocks: str = "quadrants", page: Colour = PAGE,
                 most_bytes: int = MOST_BYTES) -> Drawing:
    """A picture in memory drawn into at most ``columns`` × ``rows`` cells; see :func:`draw_file`."""
    from PIL import Image

    shape: tuple[float, float] = picture.size if layout is None else layout.extent_size
    width, height = fit_size(shape[0], shape[1], columns, rows)
    if palette != "colours":
        size = (width, max(1, round(height / 2)))
        small = (drawn_print(picture, layout, size, WHITE).convert("L") if layout is not None else
                 picture.convert("L").resize(size, Image.Resampling.BOX))
        _outline(small, marks, 255)
        return Drawing(width, tuple(_shades(small, RAMP if palette == "light on dark" else RAMP[::-1])))
    kind = BLOCKS[blocks]
    size = (width * kind.across, max(1, round(height * kind.down / 2)))
    # Means of areas: two colours fitted to them are fitted to the picture itself, as to squared error.
    small = (drawn_print(picture, layout, size) if layout is not None else
             picture.resize(size, Image.Resampling.BOX))
    _outline(small, marks, RED)
    return Drawing(width, tuple(_coloured(small, kind, page, most_bytes)))


def _outline(picture: "Image", marks: tuple[Mark, ...], ink: int | tuple[int, int, int]) -> None:
    from PIL import ImageDraw

    width, height = picture.size
    for left, top, right, bottom in marks:
        x, y = min(int(left * width), width - 1), min(int(top * height), height - 1)
        ImageDraw.Draw(picture).rectangle(
            (x, y, max(x, min(int(right * width), width - 1)), max(y, min(int(bottom * height), height - 1))),
            outline=ink)


def _coloured(picture: "Image", kind: Blocks, page: Colour, most_bytes: int) -> Iterator[Cells]:
    """Rows of cells; the last one may be in part the page's."""
    import numpy as np

    samples = np.asarray(picture)
    whole = picture.height // kind.down * kind.down
    if whole:
        yield from _rows(fit_within(samples[:whole], kind, most_bytes), kind)
    left = samples[whole:]
    if len(left):
        ink = left.reshape(len(left), -1, kind.across, 3).mean((0, 2)).round().astype(np.uint8)
        sign = kind.signs[(1 << len(left) * kind.across) - 1]
        yield cells(sign * len(ink), ink.tobytes(), bytes(page) * len(ink))


def _rows(fitted: Fitted, kind: Blocks) -> Iterator[Cells]:
    for patterns, ink, ground in zip(fitted.patterns.tolist(), fitted.ink, fitted.ground, strict=True):
        yield cells("".join(map(kind.signs.__getitem__, patterns)), ink.tobytes(), ground.tobytes())


def _shades(picture: "Image", ramp: str) -> Iterator[str]:
    width, height = picture.size
    data = picture.tobytes()
    for y in range(height):
        yield "".join(ramp[value * len(ramp) // 256] for value in data[y * width:(y + 1) * width])
