"""Does one picture really lie on the other? A geometric fit of local features, or, for soft work, of the pixels."""

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import Bytes, Features, Floats
from catalogue.likeness.geometry import Fit, Matrix, stretch_of

Indices = npt.NDArray[np.intp]


def matches(a: Features, b: Features, ratio: float = limits.RATIO) -> Indices:
    """Pairs of SIFT features, N×2 indices, passing the ratio test (Lowe 2004) in either direction."""
    if len(a.sift) < 2 or len(b.sift) < 2:
        return np.zeros((0, 2), np.intp)
    # unit vectors but for rounding: the nearest is the one with the largest product
    product = _unit(a.sift) @ _unit(b.sift).T
    forth = _ratio_test(product, ratio)
    back = _ratio_test(np.ascontiguousarray(product.T), ratio)[:, ::-1]
    both = np.concatenate([forth, back])
    return np.unique(both, axis=0) if len(both) else both


def _unit(codes: Bytes) -> Floats:
    rows = codes.astype(np.float32)
    return np.asarray(rows / np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), 1e-6), np.float32)


def _ratio_test(product: Floats, ratio: float) -> Indices:
    rows, best = np.arange(len(product)), np.argmax(product, axis=1)
    first = product[rows, best]
    product[rows, best] = -np.inf
    second = product.max(axis=1)
    product[rows, best] = first
    # distance² between unit vectors = 2 − 2·product
    good = (2 - 2 * first) < ratio**2 * (2 - 2 * second)
    return np.stack([rows[good], best[good]], axis=1)


def agreeing(a: Features, b: Features, pairs: Indices) -> tuple[Indices, float]:
    """The pairs that agree on a turn and a scale within a wide bin, and that scale (b over a).

    Every SIFT pair states a turn and a scale by itself; unrelated pictures scatter over all of them.
    """
    if not len(pairs):
        return pairs, 1.0
    spots_a, spots_b = a.spots[pairs[:, 0]], b.spots[pairs[:, 1]]
    octaves = np.log2(np.maximum(spots_b[:, 2], 0.1) / np.maximum(spots_a[:, 2], 0.1))
    turn = spots_b[:, 3] - spots_a[:, 3]
    near_turn = np.abs((turn[:, None] - turn[None, :] + 180.0) % 360.0 - 180.0) < limits.TURN_BIN
    near_size = np.abs(octaves[:, None] - octaves[None, :]) < limits.OCTAVE_BIN
    support = near_turn & near_size
    best = int(np.argmax(support.sum(axis=1)))
    chosen = np.flatnonzero(support[best])
    return pairs[chosen], float(2.0 ** np.median(octaves[chosen]))


def fit_features(a: Features, b: Features) -> Fit | None:
    """The similarity from a to b that the local features agree on, or ``None`` if too few do.

    Reflections are not considered: an artwork is never scanned from behind.
    """
    matched = matches(a, b, limits.RATIO_AGREEING)
    pairs, scale = agreeing(a, b, matched)
    if len(pairs) < limits.INLIERS_LEAST:
        return None
    source = np.ascontiguousarray(a.spots[pairs[:, 0], :2])
    target = np.ascontiguousarray(b.spots[pairs[:, 1], :2])
    matrix, inside = cv2.estimateAffinePartial2D(
        source, target, method=cv2.RANSAC, ransacReprojThreshold=limits.REPROJECTION * max(1.0, scale),
        maxIters=3000, confidence=0.999, refineIters=20,
    )
    if matrix is None:
        return None
    kept = inside.ravel().astype(bool)
    fit = Fit(np.asarray(matrix, np.float64), distinct(source[kept], target[kept]), len(matched))
    return fit if fit.inliers >= limits.INLIERS_LEAST and limits.sane_scale(fit.scale) else None


def distinct(source: Floats, target: Floats) -> int:
    """Number of inliers, counting those at one spot once: SIFT gives a spot several orientations."""
    spots = np.unique(np.round(np.c_[source, target] / 3.0).astype(int), axis=0)
    return min(len(np.unique(spots[:, :2], axis=0)), len(np.unique(spots[:, 2:], axis=0)))


def polish(
    a: Bytes, b: Bytes, matrix: Matrix, reach: float, rounds: int = 30, *, rigid: bool = False
) -> Matrix | None:
    """The map made exact to a fraction of a pixel on the pixels themselves (ECC, Evangelidis and Psarakis 2008).

    ``a`` and ``b`` are grey, H×W uint8; ``b`` should be the coarser. ``rigid``: the map has a scale of 1 and keeps it,
    only turn and place are sought. ``None`` where it does not converge or would move a corner by more than ``reach``
    pixels of b.
    """
    try:
        _, inverse = cv2.findTransformECC(
            b, a, _inverted(matrix).astype(np.float32), cv2.MOTION_EUCLIDEAN if rigid else cv2.MOTION_AFFINE,
            (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, rounds, 1e-4), None, 5,
        )
    except cv2.error:
        return None  # no convergence: the caller keeps its own fit
    better = _inverted(np.asarray(inverse, np.float64))
    height, width = a.shape
    grid = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1], [width / 2, height / 2, 1]])
    moved = np.linalg.norm((better - matrix) @ grid.T, axis=0).max()
    return better if moved < reach and stretch_of(better) < limits.STRETCH_MOST else None


def _inverted(matrix: Matrix) -> Matrix:
    return np.asarray(cv2.invertAffineTransform(matrix), np.float64)
