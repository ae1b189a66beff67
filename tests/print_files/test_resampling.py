"""Resampling against Pillow's float resize with the same kernel, within 1/255 at 8 bits and 8/65535 at 16."""

import hashlib
import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from catalogue.print_files.channels import stored
from catalogue.print_files.resampling import Pixels, Resampler, sin_pi, taps

# SHA-256 of what version 1 of the recipe makes of a picture that is made by integers alone: taken once, on x86-64.
DIGESTS = {"lanczos3": "6fb95437bf4d4ad4c5f2b38374c278e2170ba42443249321779f50ff1f043f57",
           "catmull-rom": "14effb48a3e5efd28c58ff5cdf61ce3cf9b4cae1069047f8ed06eea1c1805d44",
           "mitchell": "b6eb69f5536fc0f7cb3150fb82e9f5d1d6c28b20beac38634c90570ce7ccfa64"}
PILLOWS = {"lanczos3": Image.Resampling.LANCZOS, "catmull-rom": Image.Resampling.BICUBIC}   # its cubic has a = -1/2


def resampled(picture: Pixels, box: tuple[float, float, float, float], size: tuple[int, int], kernel: str,
              rows: int = 7) -> Pixels:
    """``box``: left, top, width, height."""
    height, width, channels = picture.shape
    work = Resampler(taps(kernel, width, box[0], box[2], size[0]), taps(kernel, height, box[1], box[3], size[1]),
                     channels, lambda band: band.copy())
    return np.concatenate(list(work.bands(picture[y : y + rows] for y in range(0, height, rows))))


def by_pillow(picture: Pixels, box: tuple[float, float, float, float], size: tuple[int, int],
              kernel: str) -> NDArray[np.float64]:
    left, top, width, height = box
    planes = [Image.fromarray(picture[..., c].astype(np.float32)).resize(
        size, PILLOWS[kernel], box=(left, top, left + width, top + height)) for c in range(picture.shape[2])]
    return np.clip(np.stack([np.asarray(plane, np.float64) for plane in planes], axis=-1), 0, 65535)


def noise(width: int, height: int, channels: int, seed: int = 5) -> Pixels:
    return np.random.default_rng(seed).integers(0, 65536, (height, width, channels)).astype(np.uint16)


def digest_of_all(kernel: str) -> str:
    y, x, c = np.indices((97, 131, 3), np.int64)
    picture = ((x * x * 37 + y * 7919 + x * y * 101 + c * 12345) % 65536).astype(np.uint16)
    made = [resampled(picture, (3.25, 2.5, 120.5, 90.75), size, kernel) for size in ((47, 31), (200, 150))]
    return hashlib.sha256(b"".join(part.astype("<u2").tobytes() for part in made)).hexdigest()


@pytest.mark.parametrize("kernel", PILLOWS)
@pytest.mark.parametrize(("box", "size"), [
    ((0, 0, 200, 150), (71, 53)), ((0, 0, 200, 150), (100, 75)), ((0, 0, 200, 150), (13, 150)),
    ((0, 0, 200, 150), (333, 280)), ((10.25, 7.5, 150.5, 100.125), (60, 41)), ((1, 2, 3, 4), (50, 60)),
    ((0, 0, 200, 150), (1, 1)), ((199, 149, 1, 1), (4, 4))])
@pytest.mark.parametrize("channels", [1, 3, 4])
def test_as_pillow_has_it(kernel: str, box: tuple[float, float, float, float], size: tuple[int, int],
                          channels: int) -> None:
    picture = noise(200, 150, channels)
    ours, reference = resampled(picture, box, size, kernel), by_pillow(picture, box, size, kernel)
    assert ours.shape == reference.shape
    assert np.abs(ours - reference).max() <= 8
    assert np.abs(stored(ours, "CMYK", 8) - reference / 257).max() <= 1


@given(st.integers(1, 90), st.integers(1, 60), st.integers(1, 120), st.integers(1, 120),
       st.sampled_from(["lanczos3", "catmull-rom"]), st.integers(1, 50))
def test_any_sizes_as_pillow_has_them(width: int, height: int, across: int, down: int, kernel: str, rows: int) -> None:
    picture = noise(width, height, 3)
    ours = resampled(picture, (0, 0, width, height), (across, down), kernel, rows)
    assert np.abs(ours - by_pillow(picture, (0, 0, width, height), (across, down), kernel)).max() <= 8


@pytest.mark.parametrize("kernel", ["lanczos3", "catmull-rom", "mitchell"])
def test_plain_areas_stay_as_they_are_to_the_last_bit(kernel: str) -> None:
    for level in (0, 1, 257, 40_000, 65_534, 65_535):
        plain = np.full((90, 70, 3), level, np.uint16)
        for size in ((33, 41), (140, 181), (70, 90)):
            assert (resampled(plain, (0, 0, 70, 90), size, kernel) == level).all()


def test_the_same_size_is_the_same_pixels() -> None:
    picture = noise(120, 80, 3)
    for kernel in ("lanczos3", "catmull-rom"):
        assert (resampled(picture, (20, 10, 64, 50), (64, 50), kernel) == picture[10:60, 20:84]).all()


def test_mitchell_has_its_published_values() -> None:
    """Mitchell and Netravali 1988 with B = C = 1/3: k(0) = 8/9, k(1) = 1/18, k(2) = 0, k(1/2) = 77/144."""
    across = taps("mitchell", 9, 0.0, 9.0, 9)
    assert across.weights[:, 4].tolist() == pytest.approx([1 / 18, 8 / 9, 1 / 18])
    half = taps("mitchell", 8, 0.5, 7.0, 7)
    near, far = (6 - 2 / 3 - 12 * 0.25 + 7 * 0.125) / 6, (-7 / 3 * 3.375 + 12 * 2.25 - 20 * 1.5 + 32 / 3) / 6
    assert half.weights[:, 3].tolist() == pytest.approx([far, near, near, far])


def test_the_sine_is_the_sine() -> None:
    x = np.linspace(-3, 3, 2401)
    assert np.abs(sin_pi(x) - [math.sin(math.pi * v) for v in x]).max() < 1e-14
    assert (sin_pi(np.arange(-3.0, 4.0)) == 0).all()


@pytest.mark.parametrize(("kernel", "digest"), DIGESTS.items())
def test_the_bits_never_change(kernel: str, digest: str) -> None:
    """Another digest here means that prints made before can no longer be made again."""
    assert digest_of_all(kernel) == digest


def test_the_bits_are_the_same_without_a_processors_extensions() -> None:
    """numpy takes other paths on other processors; here it is held to the oldest that it knows."""
    from numpy._core import _multiarray_umath as core

    names = " ".join(core.__cpu_dispatch__)     # type: ignore[attr-defined]
    code = ("from tests.print_files.test_resampling import DIGESTS, digest_of_all\n"
            "print({kernel: digest_of_all(kernel) for kernel in DIGESTS} == DIGESTS)")
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                           cwd=Path(__file__).parents[2], env=os.environ | {"NPY_DISABLE_CPU_FEATURES": names})
    assert shown.stdout.strip() == "True", shown.stderr
