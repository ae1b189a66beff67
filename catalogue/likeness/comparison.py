"""Comparing two aligned pictures: how far structure and colour agree, overall and area by area.

A re-scan differs from its master smoothly: exposure, colour, light, grain. Another work of the same series is alike
nearly everywhere and differs completely in some areas. So agreement is measured block by block, and the largest
connected patch that disagrees counts for more than any average.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness import colour, geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.confirmation import polish, track
from catalogue.likeness.features import Bytes
from catalogue.likeness.geometry import Matrix
from catalogue.likeness.oriented_correlation import register

Floats = npt.NDArray[np.float32]
Wide = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two pictures a and b aligned. Shares run from 0 to 1, correlations from −1 to 1."""

    matrix: Matrix          # a to b, preview pixels
    overlap_a: float        # share of a that lies on b
    overlap_b: float        # share of b that a covers
    blocks: int             # blocks with structure to compare
    structured: float       # their share of the overlap
    zncc_median: float      # correlation within a block
    zncc_low: float         # its 10th percentile
    grain: float            # correlation of the finest grain in calm passages, near zero between two captures
    grain_level: float      # how strong that grain is, levels of 255: where there is none it proves nothing
    patch: float            # largest connected patch whose structure disagrees, share of the overlap
    colour_patch: float     # likewise for colour, once the whole is brought to the same colour
    hue_turn: float         # degrees by which colours as a whole are turned; 180 where they are mirrored
    cast: float             # by how much the mean of a* and b* differs
    delta_e_median: float   # CIEDE2000 as the two stand
    delta_e_high: float     # its 90th percentile


def compare(
    a: Bytes, b: Bytes, matrix: Matrix, *, reach: float = limits.POLISH_REACH, rigid: bool = False,
    tracked: bool = False,
) -> Comparison | None:
    """Compare previews (H×W×3 uint8, sRGB) under a map from a to b; ``None`` if too little of them overlaps.

    The finer one is brought to the grid of the coarser, so that neither is magnified. The map is first made exact on
    the pixels; the polish of last resort moves no corner by more than ``reach`` pixels. ``rigid``: its scale is right.
    ``tracked``: corners are followed first, which soft pictures in another light would mislead.
    """
    if geometry.scale_of(matrix) > 1.0:
        turned = _onto(b, a, geometry.inverse(matrix), reach, rigid, tracked)
        if turned is None:
            return None
        matrix, laid, ground, mask = turned
        matrix = geometry.inverse(matrix)
    else:
        turned = _onto(a, b, matrix, reach, rigid, tracked)
        if turned is None:
            return None
        matrix, ground, laid, mask = turned
        ground, laid = laid, ground
    # from here on `laid` and `ground` share one grid; which of them is a does not matter except for the colours
    overlap_a, overlap_b = geometry.overlap(matrix, _size(a), _size(b))
    side = int(np.clip(round(math.sqrt(mask.sum()) / limits.BLOCKS_ACROSS), limits.BLOCK_LEAST, limits.BLOCK_MOST))
    zncc, contrast, inside = _blocks(_light(laid), _light(ground), mask, side)
    if inside.sum() < 4:
        return None
    telling = inside & (contrast > limits.CONTRAST_LEAST)
    values = zncc[telling] if telling.any() else np.zeros(1)
    astray = inside & (contrast > limits.CONTRAST_ASTRAY) & (zncc < limits.ZNCC_ASTRAY)
    residual, turn = _colours(laid, ground, inside, side)
    off = inside & (residual > limits.COLOUR_ASTRAY)
    grain, level = _grain(_light(laid), _light(ground), mask)
    differences, cast = _differences(laid, ground, mask)
    return Comparison(
        matrix=matrix, overlap_a=overlap_a, overlap_b=overlap_b,
        blocks=int(telling.sum()), structured=float(telling.sum() / inside.sum()),
        zncc_median=float(np.median(values)), zncc_low=float(np.percentile(values, 10)),
        grain=grain, grain_level=level,
        patch=_largest(astray) / int(inside.sum()),
        colour_patch=_largest(off) / int(inside.sum()),
        hue_turn=turn, cast=cast,
        delta_e_median=float(np.median(differences)), delta_e_high=float(np.percentile(differences, 90)),
    )


def _size(picture: Bytes) -> geometry.Size:
    return picture.shape[1], picture.shape[0]


def _onto(
    fine: Bytes, coarse: Bytes, matrix: Matrix, reach: float, rigid: bool, tracked: bool
) -> tuple[Matrix, Bytes, Bytes, Flags] | None:
    """The finer picture drawn onto the part of the coarser one's grid that it covers: map, part, drawn, mask."""
    scale = geometry.scale_of(matrix)
    soft = cv2.GaussianBlur(fine, (0, 0), 0.45 / scale) if scale < 0.85 else fine
    quad = geometry.apply(matrix, geometry.corners(_size(fine)))
    x0, y0 = (max(0, math.floor(v) - 2) for v in quad.min(axis=0))
    x1, y1 = (min(n, math.ceil(v) + 3) for v, n in zip(quad.max(axis=0), _size(coarse), strict=True))
    if x1 - x0 < limits.OVERLAP_LEAST_PX or y1 - y0 < limits.OVERLAP_LEAST_PX:
        return None
    part = np.ascontiguousarray(coarse[y0:y1, x0:x1])
    shift = np.array([[1.0, 0.0, -x0], [0.0, 1.0, -y0]])
    local = geometry.compose(shift, matrix)
    size = (x1 - x0, y1 - y0)
    grey = cv2.cvtColor(soft, cv2.COLOR_RGB2GRAY), cv2.cvtColor(part, cv2.COLOR_RGB2GRAY)
    exact = track(grey[0], grey[1], local) if tracked else None
    if exact is None and rigid:
        exact = register(grey[0], grey[1], local)
    local = _polished(grey[0], grey[1], local, scale, reach, rigid) if exact is None else exact
    drawn = cv2.warpAffine(soft, local, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    mask = cv2.warpAffine(np.full(fine.shape[:2], 255, np.uint8), local, size) > 250
    mask = cv2.erode(mask.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=0).astype(bool)
    if mask.sum() < limits.OVERLAP_LEAST_PX**2:
        return None
    back = np.array([[1.0, 0.0, x0], [0.0, 1.0, y0]])
    return geometry.compose(back, local), part, np.asarray(drawn, np.uint8), mask


def _polished(fine: Bytes, coarse: Bytes, matrix: Matrix, scale: float, reach: float, rigid: bool) -> Matrix:
    """ECC on a grid no finer than the coarser picture's, so that its smoothing means the same on both sides."""
    onto = min(1.0, limits.POLISH_SIDE / max(coarse.shape))
    small, to_small = geometry.shrunk(fine, scale * onto)
    ground, to_ground = geometry.shrunk(coarse, onto)
    start = geometry.compose(geometry.compose(to_ground, matrix), geometry.inverse(to_small))
    if rigid:  # what rounding to whole pixels left of the scale is taken off too
        left = geometry.scale_of(start)
        size = (max(1, round(small.shape[1] * left)), max(1, round(small.shape[0] * left)))
        last = geometry.zoom(left, left)
        small = np.asarray(cv2.warpAffine(small, last, size, borderMode=cv2.BORDER_REPLICATE), np.uint8)
        start, to_small = geometry.compose(start, geometry.inverse(last)), geometry.compose(last, to_small)
    better = polish(small, ground, start, reach * onto, rigid=rigid)
    if better is None:
        return matrix
    return geometry.compose(geometry.compose(geometry.inverse(to_ground), better), to_small)


def _light(picture: Bytes) -> Floats:
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), np.float32)


def _blocks(a: Floats, b: Floats, mask: Flags, side: int) -> tuple[Floats, Floats, Flags]:
    """Correlation, contrast (the greater standard deviation, levels of 255) and presence of blocks of ``side`` px,
    laid with half overlap."""
    a, b = cv2.GaussianBlur(a, (0, 0), limits.MIDDLE_BLUR), cv2.GaussianBlur(b, (0, 0), limits.MIDDLE_BLUR)

    def mean(v: Floats) -> Floats:
        return np.asarray(cv2.boxFilter(v, cv2.CV_32F, (side, side)), np.float32)

    m1, m2 = mean(a), mean(b)
    v1, v2 = np.maximum(mean(a * a) - m1 * m1, 0), np.maximum(mean(b * b) - m2 * m2, 0)
    # the constant keeps a block that is plain in one picture only from dividing by nothing: it then disagrees
    zncc = (mean(a * b) - m1 * m2) / np.sqrt((v1 + 0.25) * (v2 + 0.25))
    whole = mean(mask.astype(np.float32)) > 0.999
    half, step = side // 2, max(1, side // 2)
    at = np.s_[half : a.shape[0] - half + 1 : step, half : a.shape[1] - half + 1 : step]
    contrast = np.sqrt(np.maximum(v1, v2))
    return np.asarray(zncc[at], np.float32), np.asarray(contrast[at], np.float32), whole[at]


def _largest(flags: Flags) -> int:
    """Size of the largest connected patch."""
    if not flags.any():
        return 0
    _, _, stats, _ = cv2.connectedComponentsWithStats(flags.astype(np.uint8), connectivity=4)
    return int(stats[1:, cv2.CC_STAT_AREA].max())


def _grain(first: Floats, second: Floats, mask: Flags) -> tuple[float, float]:
    """Correlation of what a blur of one pixel removes, over the calmest three tenths, where it is grain and noise, and
    the lesser of the two strengths."""
    smooth = cv2.GaussianBlur(first, (0, 0), 2.0)
    busy = cv2.GaussianBlur(np.abs(cv2.Laplacian(smooth, cv2.CV_32F)), (0, 0), 4.0)
    calm = mask & (busy <= np.percentile(busy[mask], 30))
    x, y = (np.asarray(v - cv2.GaussianBlur(v, (0, 0), 1.0))[calm] for v in (first, second))
    sx, sy = float(x.std()), float(y.std())
    if min(sx, sy) < 1e-3:
        return 0.0, min(sx, sy)
    return float(((x - x.mean()) * (y - y.mean())).mean() / (sx * sy)), min(sx, sy)


def _differences(a: Bytes, b: Bytes, mask: Flags) -> tuple[Wide, float]:
    """CIEDE2000 of the two averaged over 4×4 px, where whole cells overlap, and the difference of mean a* and b*."""
    size = (max(1, mask.shape[1] // 4), max(1, mask.shape[0] // 4))
    whole = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.99
    if not whole.any():
        whole = np.ones_like(whole)
    cells = [cv2.resize(v, size, interpolation=cv2.INTER_AREA)[whole] for v in (a, b)]
    first, second = (colour.lab(c) for c in cells)
    return colour.delta_e(first, second), float(np.hypot(*(first - second)[:, 1:].mean(axis=0)))


def _colours(first: Bytes, second: Bytes, inside: Flags, side: int) -> tuple[Floats, float]:
    """What remains of the colour difference of each block (CIEDE2000) once the whole is brought to the same colour by
    a smooth change, and by how many degrees that change turns hues.

    The change is a root polynomial (Finlayson, Mackiewicz and Hurlbert 2015) of the coded values and their squares,
    with light that varies smoothly over the picture. Blocks with burnt-out lights are left out: there a cast is lost
    on one side.
    """
    step, half = max(1, side // 2), side // 2
    clipped = np.maximum(*(cv2.boxFilter(_burnt(v), -1, (side, side)) for v in (first, second))) > 0.02
    at = np.s_[half : first.shape[0] - half + 1 : step, half : first.shape[1] - half + 1 : step]
    inside = inside & ~clipped[at]
    if inside.sum() < 24:
        return np.zeros(inside.shape, np.float32), 0.0
    grids = [cv2.boxFilter(v, -1, (side, side))[at][inside] for v in (first, second)]
    source, target = (g / 255.0 for g in grids)
    ys, xs = np.nonzero(inside)
    x, y = xs / max(1, inside.shape[1] - 1) - 0.5, ys / max(1, inside.shape[0] - 1) - 0.5
    grey = source.mean(axis=1)
    roots = np.sqrt(source * source[:, [1, 2, 0]])
    terms = np.c_[source, roots, source * source, np.ones(len(x)), *(grey * v for v in (x, y, x * y, x * x, y * y))]
    start = np.zeros((terms.shape[1], 3))
    start[:3] = np.eye(3)
    # pulled gently to "no change", so that few colours do not invent a wild one
    pull = np.diag([limits.COLOUR_PULL] * 9 + [limits.COLOUR_PULL / 10] * (terms.shape[1] - 9)) * len(x)
    reached = _robust(terms, target, start, pull, 0.02)
    residual = np.zeros(inside.shape, np.float32)
    coded = np.clip(np.round(reached * 255), 0, 255).astype(np.uint8)
    residual[inside] = colour.delta_e(colour.lab(coded), colour.lab(grids[1]))
    return residual, _hue_turn(colour.lab(grids[0]), colour.lab(grids[1]))


def _burnt(picture: Bytes) -> Floats:
    """1 where a channel is at its end in a light passage, else 0; channel by channel, a tenth of the time of numpy."""
    red, green, blue = cv2.split(picture)
    highest, lowest = cv2.max(cv2.max(red, green), blue), cv2.min(cv2.min(red, green), blue)
    return np.asarray((highest >= 253) & (lowest >= 190), np.float32)


def _robust(terms: Wide, target: Wide, start: Wide, pull: Wide, spread: float) -> Wide:
    """Least squares with Huber's weights: a passage painted over must not bend the whole. Returns the fitted values."""
    weight = np.ones(len(terms))
    fitted = terms @ start
    for _ in range(6):
        weighted = terms * weight[:, None]
        change = start + np.linalg.solve(weighted.T @ terms + pull, weighted.T @ (target - terms @ start))
        fitted = terms @ change
        away = np.linalg.norm(target - fitted, axis=1)
        weight = 1.0 / np.maximum(1.0, away / spread)
    return np.asarray(fitted, np.float64)


def _hue_turn(first: Wide, second: Wide) -> float:
    """Degrees by which the colours (N×3 CIELAB) as a whole are turned about grey; 180 where they are mirrored."""
    terms = np.c_[first[:, 1:], first[:, :1] / 50.0, np.ones(len(first))]
    start = np.eye(4, 2)
    pull = np.diag([1.0, 1.0, 1e-3, 1e-3]) * len(first)  # grey works must not invent a turn
    inner = np.linalg.solve(terms.T @ terms + pull, terms.T @ (second[:, 1:] - terms @ start)) + start
    turn = inner[:2].T
    if np.linalg.det(turn) < 0 and np.abs(turn).max() > 0.3:
        return 180.0
    return abs(math.degrees(math.atan2(turn[1, 0] - turn[0, 1], turn[0, 0] + turn[1, 1])))
