"""Sharpening against Pillow's UnsharpMask at 8 bits, and against a float reference with OpenCV's Gaussian."""

import hashlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageFilter

from catalogue.print_files.recipe import Recipe
from catalogue.print_files.render import render
from catalogue.print_files.sharpening import gaussian_taps, sharpened
from tests.files import SRGB

# SHA-256 of what version 2 of the recipe makes of a picture that is made by integers alone: taken once, on x86-64.
DIGEST = "241ac5b3525129b33d0dd8aa4a34d784d8274dda681a44ce6176e31adf05cf04"


def picture(height: int = 90, width: int = 120) -> NDArray[np.uint16]:
    small = np.random.default_rng(4).random((9, 12, 3)).astype(np.float32)
    return np.asarray(np.clip(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), 0, 1) * 65535,
                      np.uint16)


def whole(rows: NDArray[np.uint16], sharpen: tuple[float, float, float], **options: Any) -> NDArray[np.uint16]:
    bands = [rows[at : at + 7] for at in range(0, len(rows), 7)]
    return np.concatenate(list(sharpened(bands, rows.shape[1], rows.shape[0], rows.shape[2], sharpen, **options)))


@pytest.mark.parametrize("sharpen", [(0.5, 150.0, 0.0), (1.0, 60.0, 2.0), (3.0, 100.0, 0.0)])
def test_it_is_the_published_formula_on_a_float_gaussian(sharpen: tuple[float, float, float]) -> None:
    """Away from the edges, where OpenCV continues the picture: to three levels of 65,535."""
    radius, amount, threshold = sharpen
    rows = picture().astype(np.float64)
    reach = 2 * int(np.ceil(4 * radius)) + 1
    apart = rows - cv2.GaussianBlur(rows, (reach, reach), radius)
    expected = np.clip(rows + np.where(np.abs(apart) > threshold * 257, apart * amount / 100, 0), 0, 65535)
    inner = (slice(reach, -reach), slice(reach, -reach))
    departs = np.abs(whole(picture(), sharpen).astype(np.float64) - expected)[inner]
    sure = (np.abs(np.abs(apart) - threshold * 257) > 2)[inner]     # a level decides at the threshold itself
    assert departs[sure].max() <= 3


@pytest.mark.parametrize("sharpen", [(1.0, 100.0, 0.0), (2.0, 80.0, 3.0), (4.0, 150.0, 0.0)])
def test_it_comes_near_to_pillow_at_8_bits(sharpen: tuple[float, float, float]) -> None:
    """Pillow's blur is three boxes: to a level and a half on average, six at most, of 255."""
    rows = picture()
    eight = ((rows.astype(np.uint32) * 255 + 32767) // 65535).astype(np.uint8)
    theirs = np.asarray(Image.fromarray(eight).filter(ImageFilter.UnsharpMask(sharpen[0], int(sharpen[1]),
                                                                              int(sharpen[2])))).astype(float)
    ours = whole(eight.astype(np.uint16) * np.uint16(257), sharpen) / 257
    departs = np.abs(ours - theirs)[16:-16, 16:-16]
    assert departs.mean() <= 1.5 and np.percentile(departs, 99) <= 6, (departs.mean(), departs.max())
    assert np.abs(theirs - eight)[16:-16, 16:-16].mean() > 0.5, "there is something to sharpen"


def test_weights_add_up_to_one_also_at_the_edges_and_for_tiny_pictures() -> None:
    for size, radius in ((100, 2.0), (3, 5.0), (1, 0.5)):
        assert gaussian_taps(size, radius).weights.sum(axis=0) == pytest.approx(np.ones(size), abs=1e-6)
    assert (whole(np.full((5, 4, 3), 30_000, np.uint16), (3.0, 500.0, 0.0)) == 30_000).all()


def test_of_lab_only_lightness_is_sharpened() -> None:
    rows = picture()
    made = whole(rows, (1.0, 100.0, 0.0), lightness_alone=True)
    assert (made[..., 1:] == rows[..., 1:]).all() and (made[..., 0] != rows[..., 0]).any()


def test_the_same_bits_whatever_the_bands() -> None:
    y, x, c = np.ogrid[:64, :80, :3]
    rows = ((x * x * 37 + y * 911 + c * 7000 + x * y * 13) % 65536).astype(np.uint16)
    made = whole(rows, (1.3, 70.0, 1.0))
    assert (made == np.concatenate(list(sharpened([rows], 80, 64, 3, (1.3, 70.0, 1.0))))).all()
    assert hashlib.sha256(made.tobytes()).hexdigest() == DIGEST


def test_a_print_file_is_sharpened_within_its_picture_alone(tmp_path: Path) -> None:
    """The border stays white, an edge is steeper, and the file says so."""
    master = tmp_path / "master.tif"
    step = np.full((200, 300, 3), 20_000, np.uint16)
    step[:, 150:] = 45_000
    tifffile.imwrite(master, step, photometric="rgb", metadata=None, iccprofile=SRGB)
    digest = hashlib.sha256(master.read_bytes()).hexdigest()
    recipe = Recipe(digest, 60, 40, 100, border_mm=5, sharpen=(1.0, 100.0, 0.0))
    made = tifffile.imread(render(master, recipe, tmp_path / "print.tif").path)
    plain = tifffile.imread(render(master, Recipe(digest, 60, 40, 100, border_mm=5), tmp_path / "plain.tif").path)
    assert (made[:19] == 65535).all() and (made[:, :19] == 65535).all()
    row = made[80].astype(int)
    assert row[30:200].max() > plain[80, 30:200].max() + 2000 and row[30:200].min() < plain[80, 30:200].min() - 2000
