"""Confirming that one picture overlaps another: a geometric fit of local features or, for soft work, of the pixels."""

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import Bytes, Features, Floats
from catalogue.likeness.geometry import Fit, Matrix, apply, compose, inverse, stretch_of

Indices = npt.NDArray[np.intp]


def matches(a: Features, b: Features, ratio: float = limits.RATIO) -> Indices:
    """Pairs of SIFT features, N×2 indices, passing the ratio test (Lowe 2004) in either direction."""
    if len(a.sift) < 2 or len(b.sift) < 2:
        return np.zeros((0, 2), np.intp)
    # unit vectors except for rounding: the nearest is the one with the largest product
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
    fitting = inside.ravel().astype(bool)
    fit = Fit(np.asarray(matrix, np.float64), distinct(source[fitting], target[fitting]), len(matched))
    return fit if fit.inliers >= limits.INLIERS_LEAST and limits.sane_scale(fit.scale) else None


def distinct(source: Floats, target: Floats) -> int:
    """The number of inliers, counting those at one spot once: SIFT gives a spot several orientations."""
    spots = np.unique(np.round(np.c_[source, target] / 3.0).astype(int), axis=0)
    return min(len(np.unique(spots[:, :2], axis=0)), len(np.unique(spots[:, 2:], axis=0)))


def track(a: Bytes, b: Bytes, matrix: Matrix) -> Matrix | None:
    """The map made exact on corners of b that are followed in a, drawn onto b's grid, to a fraction of a pixel (Lucas
    and Kanade 1981, in pyramids as Bouguet 2000), each found again on the way back.

    ``a`` and ``b`` are grey, H×W uint8; ``b`` should be the coarser. A similarity is fitted, or an affine map where so
    many corners agree that they show a scanner's two axes. ``None`` if few agree, a corner of the picture would move by
    POLISH_REACH pixels of b or more, or the pictures would lie on each other less well than before.
    """
    still, moving = _edges(b), _edges(_drawn(a, b, matrix))
    inner = cv2.erode(_drawn(np.full(a.shape, 255, np.uint8), b, matrix, cv2.BORDER_CONSTANT) // 251,
                      np.ones((limits.TRACK_WINDOW // 2,) * 2, np.uint8), borderValue=0)
    corners = cv2.goodFeaturesToTrack(still, limits.TRACKED_MOST, 0.01, 8, mask=inner, blockSize=7)
    if corners is None or len(corners) < limits.TRACKED_LEAST:
        return None
    reached, there = _followed(still, moving, corners)
    back, again = _followed(moving, still, reached)
    good = ((there == 1) & (again == 1)).ravel() & (np.linalg.norm((back - corners)[:, 0], axis=1) < 0.5)
    source, target = reached[good], corners[good]
    if len(source) < limits.TRACKED_LEAST:
        return None
    step, inside = cv2.estimateAffinePartial2D(source, target, ransacReprojThreshold=0.7, refineIters=20)
    agree = inside.ravel() == 1
    if agree.sum() >= limits.TRACKED_AFFINE:
        step, _ = cv2.estimateAffine2D(source[agree], target[agree], ransacReprojThreshold=0.7, refineIters=20)
    if step is None or agree.sum() < limits.TRACKED_LEAST:
        return None
    better = compose(np.asarray(step, np.float64), matrix)
    if not _is_near(matrix, better, a, limits.POLISH_REACH):
        return None
    seen = inner[::2, ::2] > 0
    before, after = (np.corrcoef(edges[::2, ::2][seen], still[::2, ::2][seen])[0, 1]
                     for edges in (moving, _edges(_drawn(a, b, better))))
    return better if after >= before else None


def _drawn(a: Bytes, b: Bytes, matrix: Matrix, border: int = cv2.BORDER_REPLICATE) -> Bytes:
    return np.asarray(cv2.warpAffine(a, matrix, (b.shape[1], b.shape[0]), borderMode=border), np.uint8)


def _is_near(before: Matrix, after: Matrix, a: Bytes, reach: float) -> bool:
    """Whether a corrected map moves each corner and the middle of a by less than ``reach`` pixels of b, and stretches
    no more than a scanner does."""
    height, width = a.shape
    grid = np.array([[0, 0], [width, 0], [0, height], [width, height], [width / 2, height / 2]])
    moved = np.linalg.norm(apply(after, grid) - apply(before, grid), axis=1).max()
    return bool(moved < reach and stretch_of(after) < limits.STRETCH_MOST)


def _edges(grey: Bytes) -> Bytes:
    """Structure finer than some 30 px with strong areas attenuated: independent of light and exposure, with weak
    grain."""
    light = cv2.GaussianBlur(grey, (0, 0), 1.0).astype(np.float32)
    fine = light - cv2.blur(light, (29, 29))
    strength = np.sqrt(np.maximum(cv2.blur(fine * fine, (69, 69)), 0)) + limits.TRACK_FLOOR
    return np.asarray(np.clip(fine / strength * 42 + 128, 0, 255), np.uint8)


def _followed(still: Bytes, moving: Bytes, corners: Floats) -> tuple[Floats, Bytes]:
    reached, status, _ = cv2.calcOpticalFlowPyrLK(
        still, moving, corners, np.zeros_like(corners), winSize=(limits.TRACK_WINDOW,) * 2, maxLevel=1)
    return np.asarray(reached, np.float32), np.asarray(status, np.uint8)


def polish(
    a: Bytes, b: Bytes, matrix: Matrix, reach: float, rounds: int = 30, *, rigid: bool = False
) -> Matrix | None:
    """The map made exact to a fraction of a pixel on the pixels themselves (ECC, Evangelidis and Psarakis 2008).

    ``a`` and ``b`` are grey, H×W uint8; ``b`` should be the coarser. ``rigid``: the map has a scale of 1 and keeps it,
    only turn and place are sought. ``None`` if it does not converge or would move a corner by more than ``reach``
    pixels of b.
    """
    try:
        _, back = cv2.findTransformECC(
            b, a, inverse(matrix).astype(np.float32), cv2.MOTION_EUCLIDEAN if rigid else cv2.MOTION_AFFINE,
            (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, rounds, 1e-4), None, 5,
        )
    except cv2.error:
        return None  # no convergence: the caller keeps its own fit
    better = inverse(np.asarray(back, np.float64))
    return better if _is_near(matrix, better, a, reach) else None
