"""Matching a photograph with scans: a print on a wall, in perspective, framed, with reflections."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from catalogue.likeness import confirmation, geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import Bytes, Features, Floats


@dataclass(frozen=True, slots=True)
class PhotoMatch:
    """One scan seen in a photograph. ``corners``: of the scan in the photograph, 4×2 fractions, clockwise from its
    own top left; ``sure``: 0 to 1; ``agreement``: median correlation of the passages."""

    key: str
    sure: float
    inliers: int
    agreement: float
    shown: float
    corners: tuple[tuple[float, float], ...]


def match_photo(photo: Bytes, features: Features, key: str, scan: Features,
                load: Callable[[], Bytes]) -> PhotoMatch | None:
    """Whether the photograph (H×W×3 uint8, with its features) shows the scan; ``None`` if not.

    A plane seen by a camera is a homography; it must not mirror nor fold the scan, and the scan, once drawn flat,
    must agree with what is seen.
    """
    pairs = confirmation.matches(scan, features)
    if len(pairs) < limits.PHOTO_INLIERS:
        return None
    source = scan.spots[pairs[:, 0], :2].astype(np.float64)
    target = features.spots[pairs[:, 1], :2].astype(np.float64)
    matrix, inside = cv2.findHomography(source, target, cv2.USAC_MAGSAC, 4.0, maxIters=3000, confidence=0.999)
    if matrix is None:
        return None
    fitting = inside.ravel().astype(bool)
    inliers = confirmation.distinct(source[fitting], target[fitting])
    size = (scan.width, scan.height)
    if inliers < limits.PHOTO_INLIERS or not _plausible(matrix, size):
        return None
    agreement, shown = _agreement(load(), photo, matrix)
    if agreement < limits.PHOTO_CORRELATION:
        return None
    corners = (geometry.apply(matrix, geometry.corners(size)) + 0.5) / (features.width, features.height)
    return PhotoMatch(
        key, _certainty(inliers, agreement), inliers, agreement, shown, tuple((float(x), float(y)) for x, y in corners)
    )


def rank_matches(matched: Sequence[PhotoMatch]) -> list[PhotoMatch]:
    """Most likely first: features that agree, weighted by agreement."""
    return sorted(matched, key=lambda s: (-s.sure, -s.inliers * s.agreement))


def _certainty(inliers: int, agreement: float) -> float:
    """Grows with both; .5 at the gates, above .95 from 25 features and a correlation of .8."""
    more = min(1.0, (inliers - limits.PHOTO_INLIERS) / 18)
    clear = min(1.0, (agreement - limits.PHOTO_CORRELATION) / 0.3)
    return round(0.5 + 0.3 * more + 0.19 * clear, 3)


def _plausible(matrix: geometry.Matrix, size: geometry.Size) -> bool:
    quad = geometry.apply(matrix, geometry.corners(size))
    depth = np.c_[geometry.corners(size), np.ones(4)] @ matrix[2]
    if depth.min() <= 0 < depth.max():
        return False  # part of the scan would lie behind the camera
    sides = np.roll(quad, -1, axis=0) - quad
    ahead = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * ahead[:, 1] - sides[:, 1] * ahead[:, 0]
    if turns.min() <= 0:
        return False  # mirrored or folded
    lengths = np.linalg.norm(sides, axis=1)
    opposite = max(lengths[0] / lengths[2], lengths[2] / lengths[0], lengths[1] / lengths[3], lengths[3] / lengths[1])
    stretch = (lengths[0] + lengths[2]) / (lengths[1] + lengths[3]) / (size[0] / size[1])
    return bool(opposite < 2.5 and 1 / 2.2 < stretch < 2.2 and lengths.min() > 24)


def _agreement(scan: Bytes, photo: Bytes, matrix: geometry.Matrix) -> tuple[float, float]:
    """Median correlation of blocks with structure where the scan lies in the photograph; the share of it in view."""
    factor = min(1.0, 400 / max(scan.shape[:2]))
    size = (max(8, round(scan.shape[1] * factor)), max(8, round(scan.shape[0] * factor)))
    small = cv2.cvtColor(cv2.resize(scan, size, interpolation=cv2.INTER_AREA), cv2.COLOR_RGB2GRAY)
    to_small = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2], [0, 0, 1.0]])
    back = to_small @ np.linalg.inv(matrix)
    seen = cv2.warpPerspective(cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY), back, size, flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.full(photo.shape[:2], 255, np.uint8), back, size) > 250
    side = max(12, round(min(size) / 12))
    first, second = (cv2.GaussianBlur(v.astype(np.float32), (0, 0), 1.2) for v in (small, seen))

    def mean(v: Floats) -> Floats:
        return np.asarray(cv2.boxFilter(v, cv2.CV_32F, (side, side)), np.float32)

    v1 = np.maximum(mean(first * first) - mean(first) ** 2, 0)
    v2 = np.maximum(mean(second * second) - mean(second) ** 2, 0)
    zncc = (mean(first * second) - mean(first) * mean(second)) / np.sqrt((v1 + 0.25) * (v2 + 0.25))
    telling = (mean(mask.astype(np.float32)) > 0.99) & (np.sqrt(v1) > limits.CONTRAST_LEAST)
    values = zncc[side // 2 :: side // 2, side // 2 :: side // 2][
        telling[side // 2 :: side // 2, side // 2 :: side // 2]
    ]
    return (float(np.median(values)) if len(values) >= 6 else 0.0), float(mask.mean())
