"""Aligning soft pictures on their pixels, where local features do not match.

A colour field on canvas or paper still shows its surface: the band between grain and composition is correlated over
the whole picture at once, so that even a very faint texture stands out of chance. Only whole against whole is tried.
"""

from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness import geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.band_pass import Floats, band_pass
from catalogue.likeness.confirmation import polish
from catalogue.likeness.features import Bytes
from catalogue.likeness.geometry import Fit, Matrix


def align(a: Bytes, b: Bytes) -> Fit | None:
    """The likeliest map from a to b (H×W×3 uint8), whole on whole in any quarter turn and up to 2° askew.

    ``texture`` of the fit says how far the correlation stands out of chance; the map is the plain frame-on-frame one
    where nothing stands out. ``None`` if the proportions fit in no quarter turn.
    """
    ground = _shrunk(b)
    likely = cv2.resize(b, (8, 8), interpolation=cv2.INTER_AREA).astype(np.int16)
    best: Fit | None = None
    for quarter in range(4):
        turned = np.ascontiguousarray(np.rot90(a, -quarter))
        if abs(np.log(_aspect(turned) / _aspect(b))) > limits.ASPECT_APART:
            continue
        cells = cv2.resize(turned, (8, 8), interpolation=cv2.INTER_AREA).astype(np.int16)
        if np.abs(cells - likely).mean() > limits.THUMB_APART * 1.5:
            continue
        frame = _frame(geometry.quarter_turn(quarter, (a.shape[1], a.shape[0])), turned, b)
        small = cv2.resize(turned, (ground.shape[1], ground.shape[0]), interpolation=cv2.INTER_AREA)
        shift, texture = _best_turn(small, ground)
        factor = ground.shape[1] / b.shape[1]
        matrix = geometry.compose(geometry.resized(shift, 1 / factor, 1 / factor), frame)
        if best is None or texture > best.texture:
            best = Fit(matrix if texture >= limits.TEXTURE_HOLD else frame, 0, 0, texture)
    if best is None or best.texture >= limits.TEXTURE_HOLD:
        return best
    return replace(best, matrix=_settled(a, b, best.matrix))


def _settled(a: Bytes, b: Bytes, frame: Matrix) -> Matrix:
    """The frame-on-frame map adjusted to where the large shapes agree best, or unchanged if they do not match."""
    side = limits.SHAPES_SIDE
    small, to_small = _grey(a, side)
    ground, to_ground = _grey(b, side)
    start = geometry.compose(geometry.compose(to_ground, frame), geometry.inverse(to_small))
    better = polish(small, ground, start, limits.POLISH_REACH, rounds=60)
    if better is None:
        return frame
    return geometry.compose(geometry.compose(geometry.inverse(to_ground), better), to_small)


def _grey(picture: Bytes, side: int) -> tuple[Bytes, Matrix]:
    small, onto = geometry.reduced(picture, min(1.0, side / max(picture.shape[:2])), 32)
    return np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.uint8), onto


def soft(picture: Bytes) -> bool:
    """Whether hardly any area (32 px of a picture of 512) has enough structure for local features."""
    light = cv2.cvtColor(_shrunk(picture), cv2.COLOR_RGB2GRAY).astype(np.float32)
    light = cv2.GaussianBlur(light, (0, 0), 1.5)
    mean, square = cv2.blur(light, (32, 32)), cv2.blur(light * light, (32, 32))
    contrast = np.sqrt(np.maximum(square - mean * mean, 0))[16::16, 16::16]
    return float((contrast > limits.CONTRAST_ASTRAY).mean()) < limits.SOFT_SHARE


def _aspect(picture: Bytes) -> float:
    height, width = picture.shape[:2]
    return float(width / height)


def _frame(quarter: Matrix, turned: Bytes, b: Bytes) -> Matrix:
    """The map of one frame onto the other."""
    return geometry.compose(geometry.zoom(b.shape[1] / turned.shape[1], b.shape[0] / turned.shape[0]), quarter)


def _shrunk(picture: Bytes) -> Bytes:
    return geometry.reduced(picture, min(1.0, limits.DIRECT_SIDE / max(picture.shape[:2])), 32)[0]


def _band(picture: Bytes) -> Floats:
    """The band that shows the surface, faded at the edges."""
    grey = np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), np.uint8)
    height, width = grey.shape
    window = np.outer(np.hanning(height), np.hanning(width)).astype(np.float32)
    return band_pass(grey, 1.2, 6.0, 16.0, 0.05) * window


def _best_turn(small: Bytes, ground: Bytes) -> tuple[Matrix, float]:
    """Small turns tried in steps; the shift comes from the peak of the correlation."""
    height, width = ground.shape[:2]
    target = np.fft.rfft2(_band(ground))
    best, texture = np.eye(2, 3), -np.inf
    centre = ((width - 1) / 2, (height - 1) / 2)
    own = _band(small)
    for turn in np.arange(-2.0, 2.01, 0.4):
        turned = cv2.getRotationMatrix2D(centre, -float(turn), 1.0)
        laid = cv2.warpAffine(own, turned, (width, height), flags=cv2.INTER_LINEAR)
        plane = np.fft.irfft2(target * np.conj(np.fft.rfft2(laid)), s=(height, width))
        shift, score = _peak(plane)
        if score > texture:
            texture = score
            best = geometry.compose(np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]]), turned)
    return best, float(texture)


def _peak(plane: npt.NDArray[np.floating]) -> tuple[tuple[float, float], float]:
    """Shift (x, y) of the highest point within reach, and its height in standard deviations of the plane."""
    height, width = plane.shape
    reach = limits.DIRECT_REACH
    near = np.zeros(plane.shape, bool)
    ry, rx = max(1, int(height * reach)), max(1, int(width * reach))
    near[np.ix_(np.r_[0:ry, height - ry : height], np.r_[0:rx, width - rx : width])] = True
    at = int(np.argmax(np.where(near, plane, -np.inf)))
    y, x = divmod(at, width)
    return (float(x - width if x > width // 2 else x), float(y - height if y > height // 2 else y)), float(
        (plane.flat[at] - plane.mean()) / (plane.std() + 1e-12)
    )
