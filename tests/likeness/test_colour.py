"""Colour difference against the published pairs and a reference library."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import deltaE_ciede2000, rgb2lab

from catalogue.likeness.colour import delta_e, lab

# Sharma, Wu & Dalal 2005, table 1 (17 of the 34 pairs)
SHARMA = """
50 2.6772 -79.7751 50 0 -82.7485 2.0425
50 3.1571 -77.2803 50 0 -82.7485 2.8615
50 2.8361 -74.0200 50 0 -82.7485 3.4412
50 -1.3802 -84.2814 50 0 -82.7485 1.0000
50 0 0 50 -1 2 2.3669
50 2.4900 -0.0010 50 -2.4900 0.0009 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0011 7.2195
50 -0.0010 2.4900 50 0.0009 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0011 -2.4900 4.7461
50 2.5 0 73 25 -18 27.1492
50 2.5 0 61 -5 29 22.8977
50 2.5 0 56 -27 -3 31.9030
50 2.5 0 58 24 15 19.4535
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
PAIRS = np.array([[float(n) for n in line.split()] for line in SHARMA.split("\n") if line])


def test_published_pairs() -> None:
    assert len(PAIRS) == 17
    np.testing.assert_allclose(delta_e(PAIRS[:, :3], PAIRS[:, 3:6]), PAIRS[:, 6], atol=1e-4)


def test_agrees_with_scikit_image_over_the_whole_cube() -> None:
    rng = np.random.default_rng(2000)
    one = rng.uniform([0, -110, -110], [100, 110, 110], (20_000, 3))
    two = rng.uniform([0, -110, -110], [100, 110, 110], (20_000, 3))
    np.testing.assert_allclose(delta_e(one, two), deltaE_ciede2000(one, two), atol=1e-9)


def test_srgb_to_lab_agrees_with_scikit_image() -> None:
    colours = np.random.default_rng(5).integers(0, 256, (5000, 3), dtype=np.uint8)
    np.testing.assert_allclose(lab(colours), rgb2lab(colours), atol=0.03)  # libraries differ in the white's digits


COLOURS = st.tuples(st.floats(0, 100), st.floats(-110, 110), st.floats(-110, 110))


@given(COLOURS, COLOURS)
def test_difference_is_symmetric_and_nought_only_for_itself(one: tuple[float, ...], two: tuple[float, ...]) -> None:
    a, b = np.array([one]), np.array([two])
    assert delta_e(a, b)[0] == pytest.approx(delta_e(b, a)[0], abs=1e-9)
    assert delta_e(a, a)[0] == 0.0
