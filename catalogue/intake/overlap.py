"""How two new scans overlap: side by side, one within the other, or the same view twice."""

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import cv2
import numpy as np

from catalogue.intake.arrivals import Arrival
from catalogue.likeness import geometry
from catalogue.likeness.comparison import compare
from catalogue.likeness.confirmation import fit_features
from catalogue.likeness.features import Bytes, Features, extract

SAME = 0.9          # shares of both that must lie on each other to be one view captured twice
WITHIN = 0.9        # share of a part that must lie on the whole
SIDE_BY_SIDE = 0.6  # share of a common edge that makes two tiles neighbours rather than corners that touch
AGREES = 0.6        # median correlation of the overlap, blocks with structure
VIEWS_KEPT = 40
SCALE_SLACK = 0.06  # neighbours come from one scanner at one setting


class Arrangement(StrEnum):
    """How ``a`` lies to ``b``."""

    BESIDE = "beside"
    CORNER = "corner"
    SAME = "same"
    WITHIN = "within"       # a is a part of b
    AROUND = "around"       # b is a part of a


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two pictures laid on each other. ``turn`` in degrees, the quarter turn a must be given to lie as b does;
    ``strip`` the overlap across the common edge as a share of the tile, ``corners`` those of a on b, 4×2 in
    fractions of b's sides."""

    arrangement: Arrangement
    turn: int
    rotation: float
    strip: float
    corners: tuple[tuple[float, float], ...]
    evidence: str

    @property
    def tilt(self) -> float:
        """Degrees off the nearest quarter turn, −45 to 45."""
        return (self.rotation + 45.0) % 90.0 - 45.0


@dataclass(frozen=True, slots=True)
class View:
    """What is compared of one arrival: its preview (H×W×3 uint8), features, and preview pixels per millimetre."""

    preview: Bytes
    features: Features
    density: float | None


def view(arrival: Arrival) -> View | None:
    """The arrival made ready for comparison; None if it has no preview."""
    raw = arrival.reading.preview
    if raw is None:
        return None
    preview = cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_COLOR_RGB)
    if preview is None:
        return None
    pixels = np.asarray(preview, np.uint8)
    picture = arrival.reading.picture
    width_mm = picture.width_mm if picture else None
    return View(pixels, extract(pixels), pixels.shape[1] / width_mm if width_mm else None)


class Views:
    """A cache of recent views; ``VIEWS_KEPT`` of at most 2.5 MB each."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Path, View | None] = OrderedDict()

    def __call__(self, arrival: Arrival) -> View | None:
        """As :func:`view`."""
        if arrival.path not in self._kept:
            self._kept[arrival.path] = view(arrival)
            if len(self._kept) > VIEWS_KEPT:
                self._kept.popitem(last=False)
        self._kept.move_to_end(arrival.path)
        return self._kept[arrival.path]


def overlap(a: View, b: View) -> Overlap | None:
    """How a lies on b, or None if their detail does not show that they overlap."""
    fit = fit_features(a.features, b.features)
    if fit is None:
        return None
    comparison = compare(a.preview, b.preview, fit.matrix)
    if comparison is None or comparison.zncc_median < AGREES:
        return None
    sizes = _size(a.preview), _size(b.preview)
    quad = geometry.mapped_corners(comparison.matrix, *sizes)
    rotation = geometry.rotation_of(comparison.matrix)
    turn = round(rotation / 90.0) % 4 * 90
    strip, along = _common(comparison.matrix, *sizes)
    scale = geometry.scale_of(comparison.matrix)
    physical = scale * a.density / b.density if a.density and b.density else 1.0
    lie = _arrangement(comparison.overlap_a, comparison.overlap_b, along)
    if lie in (Arrangement.BESIDE, Arrangement.CORNER) and abs(physical - 1.0) > SCALE_SLACK:
        return None
    corners = tuple((float(x), float(y)) for x, y in quad)
    return Overlap(lie, turn, rotation, strip, corners,
                   f"{fit.inliers} features agree, {comparison.zncc_median:.0%} alike where they overlap"
                   f" ({comparison.overlap_a:.0%} of the one, {comparison.overlap_b:.0%} of the other)")


def _arrangement(share_a: float, share_b: float, along: float) -> Arrangement:
    if share_a >= SAME and share_b >= SAME:
        return Arrangement.SAME
    if share_a >= WITHIN:
        return Arrangement.WITHIN
    if share_b >= WITHIN:
        return Arrangement.AROUND
    return Arrangement.BESIDE if along >= SIDE_BY_SIDE else Arrangement.CORNER


def _common(matrix: geometry.Matrix, a: geometry.Size, b: geometry.Size) -> tuple[float, float]:
    """Width of the common strip, and length of the common edge, as shares of b's sides, 0 to 1."""
    corners = geometry.mapped_corners(matrix, a, b)
    low, high = np.clip(corners.min(axis=0), 0, 1), np.clip(corners.max(axis=0), 0, 1)
    across = high - low
    return float(across.min()), float(across.max())


def _size(preview: Bytes) -> geometry.Size:
    return preview.shape[1], preview.shape[0]


def links(views: list[View | None], window: int, step: Callable[[], bool]) -> dict[tuple[int, int], Overlap]:
    """Overlaps of every two at most ``window`` apart in the order of scanning; stops early when ``step`` says so."""
    overlaps: dict[tuple[int, int], Overlap] = {}
    for i, tile_view in enumerate(views):
        for j in range(i + 1, min(len(views), i + window + 1)):
            two = views[j]
            if step():
                return overlaps
            if tile_view is not None and two is not None and (fit := overlap(tile_view, two)):
                overlaps[i, j] = fit
    return overlaps
