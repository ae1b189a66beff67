"""The print sizes of a picture. Pixels = round(mm / 25.4 × ppi)."""

from collections.abc import Iterable
from dataclasses import dataclass

MM_PER_INCH = 25.4
# Close view, general, and canvas seen from a distance: common practice, no source.
PPIS = (300, 240, 200, 150)


@dataclass(frozen=True, slots=True)
class PrintSize:
    """The largest print at one resolution: the visible picture with its wrap and border as asked, millimetres."""

    ppi: int
    width_mm: float
    height_mm: float


def pixels_for(mm: float, ppi: float) -> int:
    """Pixels that fill a length."""
    return round(mm / MM_PER_INCH * ppi)


def prints_up_to(
    width_px: int, height_px: int, ppis: Iterable[int] = PPIS, wrap_mm: float = 0, border_mm: float = 0
) -> tuple[PrintSize, ...]:
    """The largest finished size at each resolution; sizes that wrap leaves nothing of are left out.

    ``wrap_mm``: the picture runs on over the stretcher's edges, so the front is smaller by it on every side.
    ``border_mm``: white paper around, so the sheet is larger by it on every side.
    """
    grown = 2 * (border_mm - wrap_mm)
    sizes = (
        PrintSize(ppi, width_px / ppi * MM_PER_INCH + grown, height_px / ppi * MM_PER_INCH + grown) for ppi in ppis
    )
    return tuple(size for size in sizes if size.width_mm > 0 and size.height_mm > 0)


def ppi_at(
    width_px: int, height_px: int, width_mm: float, height_mm: float, wrap_mm: float = 0, border_mm: float = 0
) -> float:
    """Pixels per inch on a print of this finished size, the lesser of the two directions.

    The picture covers the size plus the wrap, less the border. Raises ``ValueError`` where the border leaves nothing.
    """
    across = width_mm + 2 * (wrap_mm - border_mm)
    down = height_mm + 2 * (wrap_mm - border_mm)
    if across <= 0 or down <= 0:
        raise ValueError("the border leaves no room for the picture")
    return min(width_px / across, height_px / down) * MM_PER_INCH
