"""Whether a scan is large enough for a print: ppi at its size with wrap or border, and how much is cropped."""

from dataclasses import dataclass

from catalogue.errors import Refused
from catalogue.reading.printsize import MM_PER_INCH, ppi_at
from catalogue.records.orders import NewLine
from catalogue.records.pieces import folded
from catalogue.records.scans import Scan

# Edges whose wrap is not drawn from the picture: common practice, no source.
_PLAIN_EDGES = ("mirror", "stretch", "white", "black", "grey", "gray", "colour", "color", "plain", "blank")
CANVAS_PPI = 150    # canvas is seen from further off; common practice, no source
SHAPE_TOLERANCE = 0.005
ARCMINUTES_PER_RADIAN = 3437.75


@dataclass(frozen=True, slots=True)
class Fit:
    """A scan at a print size."""

    ppi: float
    cropped: float          # share of the scan that the print's shape leaves out
    turned: bool            # the print stands across the scan
    least_ppi: int

    @property
    def sharp_from_mm(self) -> float:
        """The distance beyond which an eye resolving one arcminute sees no pixels: 3437.75 / ppi inches."""
        return ARCMINUTES_PER_RADIAN / self.ppi * MM_PER_INCH

    @property
    def enough(self) -> bool:
        """Whether the scan serves the size without being enlarged."""
        return self.ppi >= self.least_ppi


def picture_wraps(edge: str) -> bool:
    """Whether the picture itself continues over the wrap, and so needs pixels there."""
    words = folded(edge).split() if edge else []
    return not any(word.startswith(plain) for word in words for plain in _PLAIN_EDGES)


def is_canvas(medium: str, wrap_mm: float) -> bool:
    """Whether the medium is called canvas, or is wrapped, which paper is not."""
    return wrap_mm > 0 or "canvas" in medium.casefold()


def fit_of(scan: Scan, line: NewLine, print_ppi: tuple[int, ...] = (300, 240, 200, 150)) -> Fit | None:
    """How a scan serves a line's size; None if its pixels are unknown.

    The size is the finished one: a border lies within it and makes the picture smaller, a wrap lies beyond it. The
    least ppi is that of canvas, or the second lowest of ``print_ppi`` for paper. Raises Refused if the border leaves no
    room.
    """
    if not scan.width or not scan.height:
        return None
    wrap = line.wrap_mm if picture_wraps(line.edge) else 0.0
    across = ((scan.width > scan.height) != (line.width_mm > line.height_mm)
              and scan.width != scan.height and line.width_mm != line.height_mm)
    width, height = (line.height_mm, line.width_mm) if across else (line.width_mm, line.height_mm)
    if 2 * line.border_mm >= min(width, height):
        raise Refused(f"A border of {line.border_mm:g} mm leaves no room for the picture.")
    drawn = (width + 2 * (wrap - line.border_mm)) / (height + 2 * (wrap - line.border_mm))
    shape = scan.width / scan.height
    cropped = 1 - min(drawn, shape) / max(drawn, shape)
    lowest = sorted(print_ppi)
    least = min(lowest[0], CANVAS_PPI) if is_canvas(line.medium, line.wrap_mm) else lowest[min(1, len(lowest) - 1)]
    return Fit(ppi_at(scan.width, scan.height, width, height, wrap, line.border_mm),
               0.0 if cropped < SHAPE_TOLERANCE else cropped, across, least)
