"""How one picture maps onto another: similarity and affine maps between previews, in pixels.

A map is a 2×3 float64 matrix ``M``: ``(x', y') = M @ (x, y, 1)``, pixel centres at whole numbers, y downwards.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Matrix = npt.NDArray[np.float64]
Points = npt.NDArray[np.float64]
Bytes = npt.NDArray[np.uint8]
Size = tuple[int, int]  # width, height


@dataclass(frozen=True, slots=True)
class Fit:
    """A map from picture a to picture b, with the features that agree on it (0 if found without features), and how
    far the correlation of texture stands out of chance, in standard deviations, where that was measured."""

    matrix: Matrix
    inliers: int = 0
    matches: int = 0
    texture: float = 0.0

    @property
    def scale(self) -> float:
        """Pixels of b for each pixel of a."""
        return scale_of(self.matrix)

    @property
    def rotation(self) -> float:
        """Degrees, −180 to 180, clockwise as seen, by which a is turned to lie on b."""
        return rotation_of(self.matrix)


def scale_of(matrix: Matrix) -> float:
    """Square root of the change of area."""
    return math.sqrt(abs(float(np.linalg.det(matrix[:, :2]))))


def rotation_of(matrix: Matrix) -> float:
    """Angle of the rotation nearest to the map (polar decomposition), degrees."""
    return math.degrees(math.atan2(matrix[1, 0] - matrix[0, 1], matrix[0, 0] + matrix[1, 1]))


def stretch_of(matrix: Matrix) -> float:
    """Largest over smallest change of length: 1 for a similarity."""
    s = np.linalg.svd(matrix[:, :2], compute_uv=False)
    return float(s[0] / s[1]) if s[1] > 1e-9 else math.inf


def full(matrix: Matrix) -> Matrix:
    """The 3×3 form of a 2×3 map."""
    return np.vstack([matrix, [0.0, 0.0, 1.0]])


def inverse(matrix: Matrix) -> Matrix:
    """The inverse map."""
    return np.asarray(np.linalg.inv(full(matrix))[:2], np.float64)


def compose(second: Matrix, first: Matrix) -> Matrix:
    """The map that applies ``first``, then ``second``."""
    return np.asarray((full(second) @ full(first))[:2], np.float64)


def resized(matrix: Matrix, a_factor: float, b_factor: float) -> Matrix:
    """The same map between the pictures resized by the two factors, pixel centres kept straight."""
    return compose(compose(zoom(b_factor, b_factor), matrix), zoom(1.0 / a_factor, 1.0 / a_factor))


def rescaled(matrix: Matrix, factor: float, middle: Points) -> Matrix:
    """The map with its scale changed by ``factor``; the point ``middle`` of a keeps its place on b."""
    linear = matrix[:, :2] * factor
    return np.asarray(np.c_[linear, apply(matrix, middle)[0] - linear @ middle], np.float64)


def zoom(fx: float, fy: float) -> Matrix:
    """The map of resizing by these factors across and down, pixel centres kept straight."""
    return np.array([[fx, 0.0, (fx - 1.0) / 2.0], [0.0, fy, (fy - 1.0) / 2.0]])


def quarter_turn(quarter: int, size: Size) -> Matrix:
    """The map of ``np.rot90(picture, -quarter)`` for a picture of this size: quarter turns clockwise as seen."""
    w, h = size
    turns = [
        [[1, 0, 0], [0, 1, 0]], [[0, -1, h - 1], [1, 0, 0]], [[-1, 0, w - 1], [0, -1, h - 1]],
        [[0, 1, 0], [-1, 0, w - 1]],
    ]
    return np.array(turns[quarter % 4], np.float64)


def reduced(picture: Bytes, factor: float, least: int = 8) -> tuple[Bytes, Matrix]:
    """The picture resized, no side below ``least`` px, and the exact map to it after rounding to whole pixels."""
    height, width = picture.shape[:2]
    size = (max(least, round(width * factor)), max(least, round(height * factor)))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR)
    return np.asarray(small, np.uint8), zoom(size[0] / width, size[1] / height)


def shrunk(picture: Bytes, factor: float) -> tuple[Bytes, Matrix]:
    """The picture made smaller, unless hardly so (below a sixth less a side), and the map to it."""
    return reduced(picture, factor) if factor <= 0.85 else (picture, np.eye(2, 3))


def apply(matrix: Matrix, points: npt.ArrayLike) -> Points:
    """N×2 points mapped by a 2×3 map or a 3×3 homography."""
    given = np.asarray(points, np.float64).reshape(-1, 2)
    mapped = np.c_[given, np.ones(len(given))] @ matrix.T
    return np.asarray(mapped[:, :2] / mapped[:, 2:] if matrix.shape[0] == 3 else mapped, np.float64)


def corners(size: Size) -> Points:
    """Outer corners of a picture, clockwise from top left, 4×2."""
    w, h = size
    return np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float64) - 0.5


def mapped_corners(matrix: Matrix, a: Size, b: Size) -> Points:
    """Corners of a on b, as fractions of b's width and height, 4×2."""
    return (apply(matrix, corners(a)) + 0.5) / np.array(b, np.float64)


def overlap(matrix: Matrix, a: Size, b: Size) -> tuple[float, float]:
    """Share of a that lies on b, and share of b that a covers, 0 to 1."""
    quad = apply(matrix, corners(a))
    common, _ = cv2.intersectConvexConvex(quad.astype(np.float32), corners(b).astype(np.float32))
    area = max(float(cv2.contourArea(quad.astype(np.float32))), 1e-9)
    return min(1.0, common / area), min(1.0, common / (b[0] * b[1]))
