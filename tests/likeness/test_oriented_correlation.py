"""Soft surfaces under light from another side: drawn here, so that the true place is known exactly."""

import cv2
import numpy as np
import pytest

from catalogue.likeness import geometry
from catalogue.likeness.comparison import compare
from catalogue.likeness.features import Bytes
from catalogue.likeness.geometry import Matrix
from catalogue.likeness.oriented_correlation import register
from scripts import likeness_captures as captures

CORNER = (170, 110)  # of the part, in the whole, px
SIZE = (300, 230)


def surface(light: float, height_seed: int = 3) -> Bytes:
    """A sky of soft light on relief, 640×480, lit from ``light`` degrees."""
    y, x = np.mgrid[0:480, 0:640].astype(np.float32)
    sky = 150 + 25 * np.sin(x / 90 + 1) * np.cos(y / 70) + y / 20
    picture = np.dstack([sky - 10, sky, sky + 12]).astype(np.uint8)
    return captures.lit(picture, captures.relief(picture.shape, height_seed), light, 0.05)


def part(light: float, turn: float) -> tuple[Bytes, Matrix]:
    """A part of it turned by ``turn`` degrees, and the map from the part to the whole."""
    middle = CORNER[0] + SIZE[0] / 2, CORNER[1] + SIZE[1] / 2
    onto = cv2.getRotationMatrix2D(middle, turn, 1.0) - np.array([[0, 0, CORNER[0]], [0, 0, CORNER[1]]])
    drawn = cv2.warpAffine(surface(light), onto, SIZE, flags=cv2.INTER_CUBIC)
    return np.asarray(drawn, np.uint8), geometry.inverse(np.asarray(onto, np.float64))


def away(matrix: Matrix, true: Matrix) -> float:
    """The farthest that a corner of the part lies off, px."""
    corners = geometry.corners(SIZE)
    return float(np.linalg.norm(geometry.apply(matrix, corners) - geometry.apply(true, corners), axis=1).max())


def start() -> Matrix:
    """Pixel for pixel, some pixels beside the true place, as a search over whole places leaves it."""
    return np.array([[1.0, 0.0, CORNER[0] + 3], [0.0, 1.0, CORNER[1] - 4]])


@pytest.mark.parametrize("light", [30, 120, 165, 210, 300])
def test_a_soft_part_lies_in_its_place_whichever_side_the_light_came_from(light: float) -> None:
    """The whole is lit from 30 degrees. An eighth of a millimetre at 100 px an inch is half a pixel."""
    tile, true = part(light, 0.4)
    comparison = compare(tile, surface(30), start(), rigid=True)
    assert comparison is not None
    assert away(comparison.matrix, true) < 0.5
    assert geometry.scale_of(comparison.matrix) == pytest.approx(1.0, abs=1e-6)


def test_another_surface_has_no_place() -> None:
    tile, _ = part(30, 0.4)
    greys = [np.asarray(cv2.cvtColor(p, cv2.COLOR_RGB2GRAY), np.uint8) for p in (tile, surface(30, height_seed=4))]
    assert register(greys[0], greys[1], start()) is None


def test_less_than_two_blocks_are_not_judged() -> None:
    whole = np.asarray(cv2.cvtColor(surface(30), cv2.COLOR_RGB2GRAY), np.uint8)
    assert register(np.ascontiguousarray(whole[:90, :300]), whole, np.eye(2, 3)) is None
