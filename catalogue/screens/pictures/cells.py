"""A picture as rows of terminal cells, and what a terminal gets for them. A cell counts as twice as high as wide.

Pure: knows no widget and no catalogue. What draws a picture is in :mod:`.drawing`, which a start does not load.
"""

from dataclasses import dataclass
from functools import lru_cache

from rich.color import Color
from rich.segment import Segment
from rich.style import Style

FULL = "█"
MOST_BYTES = 26_000     # that a picture may send to the terminal: a third of a second at 600 kbit/s

Colour = tuple[int, int, int]
Mark = tuple[float, float, float, float]   # left, top, right, bottom: fractions of the picture


@dataclass(frozen=True, slots=True)
class Cells:
    """A row of block signs with red, green, blue of every cell's foreground, and of the background behind it.

    ``sequence`` is what a terminal of 16 million colours gets for it. A picture has thousands of cells; as objects of
    their own they would cost more than all the rest of a screen, so they become that only where one is asked for.
    """

    signs: str
    foreground: bytes
    background: bytes
    sequence: str

    def __len__(self) -> int:
        return len(self.signs)

    def part(self, start: int, end: int) -> "Cells":
        """Some of the cells."""
        return cells(self.signs[start:end], self.foreground[start * 3:end * 3], self.background[start * 3:end * 3])

    def segments(self) -> list[Segment]:
        """For Rich, cell by cell."""
        return [Segment(sign, _style(self.foreground[at * 3:at * 3 + 3], self.background[at * 3:at * 3 + 3]))
                for at, sign in enumerate(self.signs)]

    @property
    def mean(self) -> Colour:
        """The colour between all its foregrounds and backgrounds."""
        count = 2 * len(self)
        red, green, blue = ((sum(self.foreground[channel::3]) + sum(self.background[channel::3])) // count
                            for channel in range(3))
        return red, green, blue


@lru_cache(8192)
def _style(foreground: bytes, background: bytes) -> Style:
    return Style.from_color(Color.from_rgb(*foreground), Color.from_rgb(*background))


def cells(signs: str, foreground: bytes, background: bytes) -> Cells:
    """A row of cells. A colour is sent only where a sign shows it and it is not the one sent before."""
    parts, last_ink, last_ground = [], b"", b""
    for at, sign in enumerate(signs):
        front, back = foreground[at * 3:at * 3 + 3], background[at * 3:at * 3 + 3]
        codes = []
        if sign != " " and front != last_ink:
            codes.append(f"38;2;{front[0]};{front[1]};{front[2]}")
            last_ink = front
        if sign != FULL and back != last_ground:
            codes.append(f"48;2;{back[0]};{back[1]};{back[2]}")
            last_ground = back
        parts.append(f"\x1b[{';'.join(codes)}m{sign}" if codes else sign)
    parts.append("\x1b[0m")
    return Cells(signs, foreground, background, "".join(parts))


@dataclass(frozen=True, slots=True)
class Drawing:
    """Rows, all ``width`` cells wide: block signs in colours, or signs alone where there are none."""

    width: int
    rows: tuple[Cells, ...] | tuple[str, ...]


def fit_size(width: float, height: float, columns: int, rows: int) -> tuple[int, int]:
    """Largest size in half-block pixels, ``(columns, 2 × rows)`` at most, with the picture's proportions."""
    scale = min(columns / width, rows * 2 / height)
    return max(1, round(width * scale)), max(1, round(height * scale))
