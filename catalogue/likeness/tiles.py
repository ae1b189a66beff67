"""The captures of one large original: positions, gaps, turned ones, and how many to expect."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness import geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence

Points = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TilePosition:
    """Where one tile lies in its master: ``corners`` 4×2 as fractions of the master's width and height, clockwise
    from the tile's own top left; ``rotation`` in degrees, by which the tile was turned when captured."""

    tile: str
    corners: tuple[tuple[float, float], ...]
    rotation: float

    @property
    def box(self) -> tuple[float, float, float, float]:
        """left, top, right, bottom, as fractions."""
        xs, ys = zip(*self.corners, strict=True)
        return min(xs), min(ys), max(xs), max(ys)


def tile_position(tile: str, evidence: Evidence) -> TilePosition:
    """The place that evidence "tile of" gives to scan a in scan b."""
    spots = geometry.mapped_corners(evidence.map, evidence.size_a, evidence.size_b)
    return TilePosition(tile, tuple((float(x), float(y)) for x, y in spots), evidence.rotation)


@dataclass(frozen=True, slots=True)
class Coverage:
    """``covered``: share of the master under tiles; ``missing``: boxes left, top, right, bottom in fractions."""

    covered: float
    missing: tuple[tuple[float, float, float, float], ...]


def coverage(positions: Sequence[TilePosition], aspect: float = 1.0) -> Coverage:
    """What of the master the tiles cover. ``aspect`` is the master's width over its height."""
    width = 600
    height = max(1, round(width / aspect))
    grid = np.zeros((height, width), np.uint8)
    for p in positions:
        cv2.fillConvexPoly(grid, np.round(np.array(p.corners) * (width, height) - 0.5).astype(np.int32), 1)
    gap = (grid == 0).astype(np.uint8)
    covered = 1.0 - cv2.morphologyEx(gap, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)).mean()  # seams are rounding
    # a strip along the edge is the bed that shows round the original, not a capture left out
    gap = cv2.morphologyEx(
        gap, cv2.MORPH_OPEN, np.ones((24, 24), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0
    )
    _, _, stats, _ = cv2.connectedComponentsWithStats(gap, connectivity=4)
    least = limits.GAP_LEAST * width * height
    boxes = [
        (float(x / width), float(y / height), float((x + w) / width), float((y + h) / height))
        for x, y, w, h, area in stats[1:] if area >= least
    ]
    return Coverage(float(covered), tuple(sorted(boxes, key=lambda b: (b[1], b[0]))))


def turned(positions: Sequence[TilePosition]) -> list[str]:
    """Tiles a quarter turn against most of the others: there the weave will not meet. Half a turn does no harm."""
    odd = [p.tile for p in positions if round(p.rotation / 90.0) % 2]
    even = [p.tile for p in positions if not round(p.rotation / 90.0) % 2]
    if not odd or not even:
        return []
    return odd if len(odd) <= len(even) else even


def expected(original_mm: tuple[float, float], bed_mm: tuple[float, float], overlap: float = 0.25) -> tuple[int, int]:
    """Captures needed across and down an original (width, height) that lies along the bed's long side.

    ``overlap`` is the share of a capture that repeats its neighbour, at least 0 and below 1. A square is laid the way
    that needs fewer.
    """
    if not (0 <= overlap < 1 and min(*original_mm, *bed_mm) > 0):
        raise ValueError("lengths must be positive, the overlap at least 0 and below 1")
    long, short = max(bed_mm), min(bed_mm)
    wide = (_along(original_mm[0], long, overlap), _along(original_mm[1], short, overlap))
    tall = (_along(original_mm[0], short, overlap), _along(original_mm[1], long, overlap))
    if math.isclose(*original_mm):
        return min(wide, tall, key=lambda n: n[0] * n[1])
    return wide if original_mm[0] > original_mm[1] else tall


def _along(length: float, bed: float, overlap: float) -> int:
    return 1 if length <= bed else math.ceil((length - bed * overlap) / (bed * (1 - overlap)) - 1e-9)


def draw(positions: Sequence[TilePosition], aspect: float, columns: int = 48) -> str:
    """A map of the tiles for the terminal: the master's frame, each tile's number, ``·`` where nothing covers it and
    a letter's case or sign never alone as meaning: the legend lists every tile."""
    rows = max(3, round(columns / aspect / 2.1))  # a character cell is about twice as high as wide
    cells = [["·"] * columns for _ in range(rows)]
    for p in positions:
        quad = (np.array(p.corners) * (columns, rows)).astype(np.float32)
        for y in range(rows):
            for x in range(columns):
                if cv2.pointPolygonTest(quad, (x + 0.5, y + 0.5), False) >= 0:
                    cells[y][x] = " " if cells[y][x] == "·" else "░"
    for number, p in enumerate(positions, 1):
        cx, cy = np.array(p.corners).mean(axis=0)
        for i, sign in enumerate(str(number)):
            x, y = min(columns - 1, max(0, int(cx * columns) + i)), min(rows - 1, max(0, int(cy * rows)))
            cells[y][x] = sign
    edge = "─" * columns
    return "\n".join([f"┌{edge}┐", *(f"│{''.join(row)}│" for row in cells), f"└{edge}┘", "░ overlap   · not covered"])


def weave(picture: npt.NDArray[np.uint8]) -> tuple[float, float] | None:
    """Direction of a canvas weave in a grey picture, H×W uint8: the angle in degrees, −45 to 45, by which one set of
    threads departs from the upright, and how far its spectral line stands above its surroundings.

    ``None`` if no two perpendicular lines of the spectrum stand out: no canvas, or too coarse a resolution.
    """
    side = min(512, *picture.shape)
    if side < 128:
        return None
    y, x = (picture.shape[0] - side) // 2, (picture.shape[1] - side) // 2
    patch = picture[y : y + side, x : x + side].astype(np.float32)
    patch -= cv2.GaussianBlur(patch, (0, 0), 8.0)
    window = np.hanning(side)
    power = np.abs(np.fft.fftshift(np.fft.fft2(patch * np.outer(window, window)))) ** 2
    power = cv2.GaussianBlur(power.astype(np.float32), (0, 0), 0.8)
    v, u = np.mgrid[0:side, 0:side] - side // 2
    radius = np.hypot(u, v)
    ring = (radius > side / 24) & (radius < side / 2.2) & (v >= 0)
    surround = cv2.medianBlur(np.log1p(power / (power[ring].mean() + 1e-9)).astype(np.float32), 5)
    broad = cv2.GaussianBlur(surround, (0, 0), 12.0)
    stands = np.where(ring, np.log1p(power / (power[ring].mean() + 1e-9)) - broad, -np.inf)
    first = int(np.argmax(stands))
    fy, fx = divmod(first, side)
    angle = math.degrees(math.atan2(fy - side // 2, fx - side // 2))
    strength = float(stands.flat[first])
    bearing = np.degrees(np.arctan2(v, u))
    across = ring & (np.abs((bearing - angle - 90.0 + 90.0) % 180.0 - 90.0) < 6.0)
    second = float(stands[across].max()) if across.any() else 0.0
    if strength < limits.WEAVE_STANDS or second < limits.WEAVE_STANDS * 0.6:
        return None
    return (angle + 45.0) % 90.0 - 45.0, min(strength, second)
