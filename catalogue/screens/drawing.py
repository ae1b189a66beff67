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

if TYPE_CHECKING:
    from PIL.Image import Image

RAMP = " .:-=+*#%@"  # more and more ink, for terminals without colours; plain ASCII reads in every font
INKS = ("colours", "light on dark", "dark on light")


Mark = tuple[float, float, float, float]   # left, top, right, bottom: fractions of the picture


@dataclass(frozen=True, slots=True)
class Drawing:
    """Rows of segments, all ``width`` cells wide."""

    width: int
    rows: tuple[tuple[Segment, ...], ...]


def fitted(width: int, height: int, columns: int, rows: int) -> tuple[int, int]:
    """Largest size in half-block pixels, ``(columns, 2 × rows)`` at most, with the picture's proportions."""
    scale = min(columns / width, rows * 2 / height)
    return max(1, round(width * scale)), max(1, round(height * scale))


def draw(source: Path | bytes, columns: int, rows: int, *, ink: str, marks: tuple[Mark, ...] = ()) -> Drawing:
    """The picture at (or in) ``source`` drawn into at most ``columns`` × ``rows`` cells, with ``marks`` outlined.

    ``ink`` is one of INKS.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    return drawn(opened(source), columns, rows, ink=ink, marks=marks)


def opened(source: Path | bytes) -> "Image":
    """The picture at (or in) ``source``, decoded.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    from PIL import Image

    with Image.open(BytesIO(source) if isinstance(source, bytes) else source) as picture:
        return picture.convert("RGB")


def drawn(picture: "Image", columns: int, rows: int, *, ink: str, marks: tuple[Mark, ...] = ()) -> Drawing:
    """A picture in memory drawn into at most ``columns`` × ``rows`` cells."""
    from PIL import Image

    width, height = fitted(*picture.size, columns, rows)
    if ink != "colours":
        small = picture.convert("L").resize((width, max(1, round(height / 2))), Image.Resampling.BOX)
        _outline(small, marks, 255)
        return Drawing(width, tuple(_shades(small, RAMP if ink == "light on dark" else RAMP[::-1])))
    small = picture.resize((width, height), Image.Resampling.LANCZOS)
    _outline(small, marks, (255, 60, 40))
    return Drawing(width, tuple(_half_blocks(small)))


def _outline(picture: "Image", marks: tuple[Mark, ...], ink: int | tuple[int, int, int]) -> None:
    from PIL import ImageDraw

    width, height = picture.size
    for left, top, right, bottom in marks:
        x, y = min(int(left * width), width - 1), min(int(top * height), height - 1)
        ImageDraw.Draw(picture).rectangle(
            (x, y, max(x, min(int(right * width), width - 1)), max(y, min(int(bottom * height), height - 1))),
            outline=ink)


def _half_blocks(picture: "Image") -> Iterator[tuple[Segment, ...]]:
    width, height = picture.size
    data = picture.tobytes()
    for top in range(0, height, 2):
        upper = data[top * width * 3:(top + 1) * width * 3]
        lower = data[(top + 1) * width * 3:(top + 2) * width * 3]
        row = []
        for x in range(0, width * 3, 3):
            above = _colour(upper[x] & 0xFC, upper[x + 1] & 0xFC, upper[x + 2] & 0xFC)
            if lower:
                below = _colour(lower[x] & 0xFC, lower[x + 1] & 0xFC, lower[x + 2] & 0xFC)
                row.append(Segment("▀", Style.from_color(above, below)))
            else:
                row.append(Segment("▀", Style.from_color(above)))
        yield tuple(row)


@lru_cache(65536)
def _colour(red: int, green: int, blue: int) -> Color:
    return Color.from_rgb(red, green, blue)


def _shades(picture: "Image", ramp: str) -> Iterator[tuple[Segment, ...]]:
    width, height = picture.size
    data = picture.tobytes()
    for y in range(height):
        row = data[y * width:(y + 1) * width]
        yield (Segment("".join(ramp[value * len(ramp) // 256] for value in row)),)
