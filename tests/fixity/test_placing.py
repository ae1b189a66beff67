"""Damage as rectangles of the picture as shown. Pillow's own transposition is the outside check of orientation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from catalogue.fixity.damage_regions import Region, as_text, cut_cleanly, from_text, locate_damage, oriented
from catalogue.reading.model import Picture, SegmentDigest


def picture(width: int, height: int, orientation: int = 1) -> Picture:
    return Picture(width, height, 8, "uint", 3, "RGB", "none", "strips", orientation=orientation)


@pytest.mark.parametrize("orientation", range(1, 9))
@given(box=st.tuples(st.integers(0, 11), st.integers(0, 7), st.integers(1, 12), st.integers(1, 8)))
def test_a_region_lies_where_pillow_shows_it(orientation: int, box: tuple[int, int, int, int]) -> None:
    width, height = 12, 8
    x, y = box[0], box[1]
    w, h = min(box[2], width - x), min(box[3], height - y)
    stored = np.zeros((height, width), np.uint8)
    stored[y:y + h, x:x + w] = 255
    image = Image.fromarray(stored)
    image.getexif()[274] = orientation
    shown = np.asarray(ImageOps.exif_transpose(image))
    rows, columns = np.nonzero(shown)
    high, wide = shown.shape
    expected = (columns.min() / wide, rows.min() / high, (columns.max() + 1) / wide, (rows.max() + 1) / high)
    segment = SegmentDigest(0, 10, "0", x, y, w, h)
    damage = locate_damage([segment], [segment], picture(wide, high, orientation))
    assert damage is not None
    (region,) = damage.regions
    assert (region.left, region.top, region.right, region.bottom) == pytest.approx(expected)


@given(st.integers(1, 8))
def test_turning_keeps_the_area(orientation: int) -> None:
    turned = oriented(Region(0.1, 0.2, 0.4, 0.9), orientation)
    assert (turned.right - turned.left) * (turned.bottom - turned.top) == pytest.approx(0.3 * 0.7)


def test_neighbouring_stretches_become_one_region() -> None:
    strips = [SegmentDigest(i * 10, 10, "0", 0, i * 4, 12, 4) for i in range(2)]
    tiles = [SegmentDigest(i * 10, 10, "0", i * 4, 0, 4, 8) for i in range(3)]
    for segments in (strips, tiles):
        damage = locate_damage(segments, segments, picture(12, 8))
        assert damage is not None
        assert damage.regions == (Region(0, 0, 1, 1),)


def test_damage_apart_stays_apart() -> None:
    bad = [SegmentDigest(0, 10, "0", 0, 0, 12, 2), SegmentDigest(30, 10, "0", 0, 6, 12, 2)]
    damage = locate_damage(bad, bad, picture(12, 8))
    assert damage is not None
    assert len(damage.regions) == 2
    assert (damage.offset, damage.bytes, damage.stretches, damage.share) == (0, 20, 2, pytest.approx(0.5))


def test_a_cut_is_told_from_other_bytes() -> None:
    segments = [SegmentDigest(i * 10, 10, "0") for i in range(4)]
    assert cut_cleanly(segments[2:], segments, 25)
    assert not cut_cleanly(segments[1:], segments, 25)
    assert not cut_cleanly(segments, segments, 5)


def test_damage_survives_the_catalogue() -> None:
    bad = [SegmentDigest(0, 10, "0", 0, 0, 12, 2), SegmentDigest(90, 5, "0")]
    damage = locate_damage(bad, bad, picture(12, 8))
    assert damage is not None
    assert from_text(as_text(damage)) == damage
    assert damage.outside_picture


def test_damage_that_cannot_be_placed_is_not_said_to_spare_the_picture() -> None:
    """Of a PSD or JPEG 2000 file no stretch is known to hold pixels, or to hold none."""
    bad = [SegmentDigest(0, 10, "0")]
    of_psd = locate_damage(bad, [*bad, SegmentDigest(10, 10, "0")], picture(12, 8))
    of_tiff = locate_damage(bad, [*bad, SegmentDigest(10, 10, "0", 0, 0, 12, 8)], picture(12, 8))
    assert of_psd is not None and not of_psd.outside_picture and of_psd.regions == ()
    assert of_tiff is not None and of_tiff.outside_picture
