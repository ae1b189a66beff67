"""Laying one capture on another of the same surface under light from another side.

Raking light shows a surface as the slope of its height along the light. From another side a slope that was bright
turns dark, so two captures may disagree most at the very place where they belong, and agree better beside it. To
first order (Kube and Pentland 1988) each wave of the surface only keeps or turns its sign, by its orientation. So
captures are correlated orientation by orientation, and the correlations are squared: painted structure and surface
have their peak at the true place alike, whichever way the light came.
"""

import math
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness import thresholds as limits
from catalogue.likeness.band_pass import Floats, band_pass
from catalogue.likeness.features import Bytes
from catalogue.likeness.geometry import Matrix, compose

Points = npt.NDArray[np.float64]


def register(a: Bytes, b: Bytes, matrix: Matrix) -> Matrix | None:
    """The map from a to b with its turn and place made exact to a fraction of a pixel; its scale stays.

    ``a`` and ``b`` are grey, H×W uint8; ``b`` should be the coarser. ``None`` if fewer than two blocks of ORIENTED_SIDE
    pixels of b overlap, or no place stands out.
    """
    ground = _band(b)
    size = b.shape[1], b.shape[0]
    height = 0.0
    for reach, widest, step, fineness in limits.ORIENTED_PASSES:
        drawn = np.asarray(cv2.warpAffine(a, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))
        covered = cv2.warpAffine(np.full(a.shape, 255, np.uint8), matrix, size) > 250
        blocks = _blocks(covered)
        if len(blocks) < 2:
            return None
        band = _band(np.asarray(drawn, np.uint8))
        planes = [_plane(band[block], ground[block], reach) for block in blocks]
        middles = np.array([((x.start + x.stop - 1) / 2, (y.start + y.stop - 1) / 2) for y, x in blocks])
        turns = np.arange(-widest, widest + step / 2, step)
        height, correction = _highest(planes, middles, reach, turns, fineness)
        matrix = compose(correction, matrix)
    return matrix if height >= limits.ORIENTED_LEAST else None


def _band(grey: Bytes) -> Floats:
    return band_pass(grey, 0.8, 5.0, 12.0, 0.3)


def _blocks(covered: npt.NDArray[np.bool_]) -> list[tuple[slice, slice]]:
    """Blocks (rows, columns) spread evenly over the part that is covered; neighbours overlap by up to a half."""
    side, (ys, xs) = limits.ORIENTED_SIDE, np.nonzero(covered)
    if not len(ys):
        return []

    def starts(low: int, high: int) -> list[int]:
        room = high + 1 - low - side
        count = min(limits.ORIENTED_ACROSS, math.ceil(room / (side / 2)) + 1)
        return [round(v) for v in np.linspace(low, low + room, count)] if room >= 0 else []

    blocks = [np.s_[y : y + side, x : x + side] for y in starts(int(ys.min()), int(ys.max()))
              for x in starts(int(xs.min()), int(xs.max()))]
    return [block for block in blocks if covered[block].mean() > 0.9]


@cache
def _orientations(side: int) -> Floats:
    """Weights of each orientation of waves, long ones and short ones apart, in a half spectrum,
    N×side×(side // 2 + 1)."""
    down, across = np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None]
    angle, waves = np.arctan2(down, across), np.hypot(down, across)
    turns = np.arange(limits.ORIENTATIONS) * np.pi / limits.ORIENTATIONS
    turned = np.cos(angle[None] - turns[:, None, None]) ** 4
    long = 1 / (1 + (waves * limits.ORIENTED_LONG) ** 4)
    return np.asarray(np.concatenate([turned * long, turned * (1 - long)]), np.float32)


def _plane(first: Floats, second: Floats, reach: int) -> Floats:
    """Squared correlation of two blocks at shifts of up to ``reach`` px, mean over orientations; 1 is chance."""
    side = limits.ORIENTED_SIDE
    window = np.outer(np.hanning(side), np.hanning(side)).astype(np.float32)
    cross = np.conj(np.fft.rfft2(first * window)) * np.fft.rfft2(second * window)
    strength = np.abs(cross)
    cross /= np.sqrt(strength + 1e-3 * strength.mean() + 1e-12)  # half whitened, between sharp peaks and little noise
    whole = np.fft.irfft2(cross[None] * _orientations(side), s=(side, side))
    chance = whole.var(axis=(1, 2))[:, None, None] + 1e-12
    near = np.r_[-reach : reach + 1]
    return np.asarray((whole[:, near][:, :, near] ** 2 / chance).mean(axis=0), np.float32)


def _highest(
    planes: list[Floats], middles: Points, reach: int, turns: npt.NDArray[np.float64], fineness: int
) -> tuple[float, Matrix]:
    """The turn and shift at which the blocks agree best: their mean there, and the map that corrects by them.

    ``middles`` are of the blocks, N×2; ``turns`` in degrees; shifts are tried in steps of 1 / ``fineness`` px.
    """
    centre = middles.mean(axis=0)
    across = 2 * reach * fineness + 1
    best, correction = -math.inf, np.eye(2, 3)
    for turn in turns:
        turned = cv2.getRotationMatrix2D((float(centre[0]), float(centre[1])), -float(turn), 1.0)
        total = np.zeros((across, across), np.float32)
        for plane, middle in zip(planes, middles, strict=True):
            dx, dy = turned[:, :2] @ middle + turned[:, 2] - middle
            step = np.array([[1 / fineness, 0.0, dx], [0.0, 1 / fineness, dy]])
            total += cv2.warpAffine(plane, step, (across, across), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
                                    borderMode=cv2.BORDER_CONSTANT, borderValue=1.0)
        _, highest, _, (x, y) = cv2.minMaxLoc(total)
        if highest > best:
            best = highest
            shift = np.array([[1.0, 0.0, x / fineness - reach], [0.0, 1.0, y / fineness - reach]])
            correction = compose(shift, np.asarray(turned, np.float64))
    return best / len(planes), correction
