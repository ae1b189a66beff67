"""Enlarged pictures are told from scans of full resolution, on photographs of scikit-image's wheel."""

import cv2
import numpy as np
import pytest

from catalogue.reading.spectrum import Patches
from tests.photographs import photograph

NAMES = ("astronaut", "coffee", "grass", "gravel", "camera", "rocket", "brick", "ihc")


def told(picture: np.ndarray) -> bool:
    """Whether the picture is called upscaled, going through in bands."""
    picture = np.atleast_3d(picture)
    patches = Patches(picture.shape[1], picture.shape[0], 255.0)
    for top in range(0, len(picture), 100):
        patches.add(picture[top : top + 100])
    return bool(patches.notes())


def doubled(name: str) -> np.ndarray:
    """A photograph laid out twice by itself, mirrored, so that it is large enough to sample."""
    picture = photograph(name)[:400, :400]
    row = np.concatenate([picture, picture[:, ::-1]], axis=1)
    return np.concatenate([row, row[::-1]], axis=0)


@pytest.mark.parametrize("name", NAMES)
def test_a_true_or_soft_scan_is_not_accused(name: str) -> None:
    picture = doubled(name)
    assert not told(picture)
    for sigma in (0.7, 1.2):
        assert not told(cv2.GaussianBlur(picture, (0, 0), sigma))


@pytest.mark.parametrize(("factor", "least"), [(1.5, 5), (2.0, 5), (3.0, 4)])
def test_enlarged_by_lanczos_is_told(factor: float, least: int) -> None:
    """Of six photographs with enough detail; the wider the patch's pixels, the less detail it holds."""
    names = ("astronaut", "coffee", "grass", "gravel", "camera", "rocket")
    found = [told(cv2.resize(doubled(n), None, fx=factor, fy=factor, interpolation=cv2.INTER_LANCZOS4)) for n in names]
    assert sum(found) >= least


def test_nothing_to_tell_without_detail() -> None:
    assert not told(np.full((900, 900), 128, np.uint8))
