"""Small real files, written by tifffile, Pillow and imagecodecs."""

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.photographs import photograph


@pytest.fixture(scope="session")
def painting() -> NDArray[np.uint8]:
    """A photograph from scikit-image's wheel: 512 × 512 × 3, uint8."""
    return photograph("astronaut")


@pytest.fixture(scope="session")
def deep(painting: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """The same at 16 bits with the low byte in use, cut to an odd size: 301 × 403 × 3."""
    rng = np.random.default_rng(7)
    wide = painting[:301, :403].astype(np.uint16) * 256
    return wide + rng.integers(0, 256, wide.shape, dtype=np.uint16)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder for the test's files."""
    return tmp_path
