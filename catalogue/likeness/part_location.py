"""Locating a part in its whole if local features do not match but the scale is known.

A tile is captured at the resolution of the master stitched from it, so its size in the master's preview follows from
both sizes in pixels and ppi. Position and quarter turn are found by correlating the band between grain and composition,
which soft pictures have too.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from catalogue.likeness import geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.band_pass import Floats, band_pass
from catalogue.likeness.features import Bytes
from catalogue.likeness.geometry import Fit, Matrix

BORDER = 8  # px of margin, so that a part may reach a little over the edge


@dataclass(frozen=True, slots=True)
class _Spot:
    """The highest correlation in one quarter turn, and the highest away from it. ``stands``: in standard deviations of
    all places."""

    correlation: float
    second: float
    stands: float
    quarter: int
    x: int
    y: int


def locate_part(part: Bytes, whole: Bytes, scale: float) -> Fit | None:
    """The map from part to whole (H×W×3 uint8), ``scale`` pixels of the whole for each of the part, in any quarter
    turn; ``texture`` of the fit tells how far it stands out of chance.

    ``None`` if the part is too small to judge or does not fit in, or no place is clearly better than all others.
    """
    factor = min(1.0, limits.LOCATE_SIDE / max(whole.shape[:2]))
    ground, to_ground = _grey(whole, factor)
    small, to_small = _grey(part, scale * factor)
    if min(small.shape) < limits.LOCATE_LEAST_PX:
        return None
    field = np.pad(_band(ground), BORDER)
    own = _band(small)
    spots = [_best(field, np.ascontiguousarray(np.rot90(own, -quarter)), quarter) for quarter in range(4)]
    best = max((s for s in spots if s is not None), key=lambda s: s.correlation, default=None)
    if best is None or best.correlation - best.second < limits.LOCATE_CLEAR:
        return None
    shift = np.array([[1.0, 0.0, best.x - BORDER], [0.0, 1.0, best.y - BORDER]])
    laid = geometry.compose(shift, geometry.quarter_turn(best.quarter, (small.shape[1], small.shape[0])))
    matrix = geometry.compose(geometry.compose(geometry.inverse(to_ground), laid), to_small)
    return Fit(matrix, 0, 0, best.stands)


def _grey(picture: Bytes, factor: float) -> tuple[Bytes, Matrix]:
    small, onto = geometry.reduced(picture, factor, 1)
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.uint8), onto


def _band(grey: Bytes) -> Floats:
    return band_pass(grey, 1.0, 5.0, 12.0, 0.3)


def _best(field: Floats, own: Floats, quarter: int) -> _Spot | None:
    if own.shape[0] > field.shape[0] or own.shape[1] > field.shape[1]:
        return None
    plane = cv2.matchTemplate(field, own, cv2.TM_CCOEFF_NORMED)
    _, highest, _, (x, y) = cv2.minMaxLoc(plane)
    spread = float(plane.std())
    near = limits.LOCATE_NEAR
    plane[max(0, y - near) : y + near + 1, max(0, x - near) : x + near + 1] = -1.0
    return _Spot(float(highest), max(0.0, float(plane.max())), float(highest) / (spread + 1e-9), quarter, x, y)
