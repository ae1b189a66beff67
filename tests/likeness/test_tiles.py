"""Tiles: how many to expect, where they lie, what they miss, which are turned, which way the weave runs."""

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.likeness import tiles
from catalogue.likeness.evidence import Evidence, Relation
from tests.photographs import photograph

A1, A3, LARGE_BED, SQUARE = (594, 841), (297, 420), (594, 420), (600, 600)


@pytest.mark.parametrize(("original", "bed", "least", "most"), [
    (A1, A3, 9, 12), (A1, LARGE_BED, 4, 6), (SQUARE, A3, 4, 6), (SQUARE, LARGE_BED, 4, 4),
])
def test_counts_of_common_practice(original: tuple[int, int], bed: tuple[int, int], least: int, most: int) -> None:
    """Common practice of the trade, no source: A1 takes 9 to 12 captures on an A3 bed, 4 to 6 on 65×46 cm; a canvas
    60 cm square takes 4 to 6 on A3 and 2 on 65×46 cm. Overlaps of 20 to 30 % (from memory) must all fall within."""
    for overlap in (0.2, 0.25, 0.3):
        across, down = tiles.expected(original, bed, overlap)
        assert least <= across * down <= most, overlap


@given(st.floats(50, 3000), st.floats(50, 3000), st.floats(100, 900), st.floats(100, 900), st.floats(0, 0.6))
def test_expected_tiles_reach_across_and_none_is_spare(
    w: float, h: float, bw: float, bh: float, overlap: float
) -> None:
    counts = tiles.expected((w, h), (bw, bh), overlap)
    sides = (max(bw, bh), min(bw, bh)) if w > h else (min(bw, bh), max(bw, bh))
    if math.isclose(w, h):
        return
    for count, length, bed in zip(counts, (w, h), sides, strict=True):
        reach = bed + (count - 1) * bed * (1 - overlap)
        assert reach >= length - 1e-6
        assert count == 1 or reach - bed * (1 - overlap) < length + 1e-6


def test_an_overlap_of_one_is_refused() -> None:
    with pytest.raises(ValueError, match="below 1"):
        tiles.expected(A1, A3, 1.0)


def grid(skip: tuple[int, int] | None = None, turn: tuple[int, int] | None = None) -> list[tiles.TilePosition]:
    """Nine tiles with an overlap, by name row-column."""
    places = []
    for row in range(3):
        for column in range(3):
            if (row, column) == skip:
                continue
            x, y, s = column * 0.3, row * 0.3, 0.4
            corners = [(x, y), (x + s, y), (x + s, y + s), (x, y + s)]
            rotation = 0.2
            if (row, column) == turn:
                corners, rotation = corners[1:] + corners[:1], 90.3
            places.append(tiles.TilePosition(f"{row}-{column}", tuple(corners), rotation))
    return places


def test_full_coverage_and_the_missing_tile() -> None:
    whole = tiles.coverage(grid())
    assert whole.covered == pytest.approx(1.0, abs=0.002)
    assert whole.missing == ()
    holed = tiles.coverage(grid(skip=(1, 1)))
    assert len(holed.missing) == 1
    assert holed.missing[0] == pytest.approx((0.4, 0.4, 0.6, 0.6), abs=0.01)
    assert holed.covered == pytest.approx(0.96, abs=0.005)


def test_a_tile_turned_by_a_quarter_is_named_a_half_turn_is_not() -> None:
    assert tiles.turned(grid()) == []
    assert tiles.turned(grid(turn=(2, 0))) == ["2-0"]
    half = tiles.TilePosition("x", grid()[0].corners, 180.4)
    assert tiles.turned([half, *grid()]) == []


def test_the_map_numbers_every_tile_and_shows_the_hole() -> None:
    text = tiles.draw(grid(skip=(1, 1)), aspect=1.4)
    for number in range(1, 9):
        assert str(number) in text
    assert "·" in text.rsplit("\n", 1)[0]
    assert "·" not in tiles.draw(grid(), aspect=1.4).rsplit("\n", 1)[0]
    widths = {len(line) for line in text.split("\n")[:-1]}
    assert len(widths) == 1


def test_place_follows_the_evidence() -> None:
    # a tile of 400×300 drawn at half size with its corner at (100, 50) of a master of 1000×800
    evidence = Evidence(Relation.TILE, 1.0, size_a=(400, 300), size_b=(1000, 800),
                        matrix=(0.5, 0.0, 100.0 - 0.25, 0.0, 0.5, 50.0 - 0.25))
    place = tiles.tile_position("t", evidence)
    assert place.box == pytest.approx((0.1, 0.0625, 0.3, 0.25))


@pytest.mark.parametrize("angle", [-30, -12, 0, 7, 25])
def test_weave_direction_of_a_drawn_canvas(angle: float) -> None:
    rng = np.random.default_rng(4)
    y, x = np.mgrid[0:700, 0:700].astype(float)
    t = np.radians(angle)
    u, v = x * np.cos(t) + y * np.sin(t), -x * np.sin(t) + y * np.cos(t)
    cloth = 128 + 6 * np.sin(2 * np.pi * u / 7.3) + 5 * np.sin(2 * np.pi * v / 8.1) + rng.normal(0, 6, x.shape)
    found = tiles.weave(np.clip(cloth, 0, 255).astype(np.uint8))
    assert found is not None
    assert found[0] == pytest.approx(angle, abs=1.0)


@pytest.mark.parametrize("name", ["gravel", "coins", "camera"])
def test_no_weave_where_there_is_none(name: str) -> None:
    """Photographs from scikit-image's data, none of them woven."""
    picture = photograph(name)
    assert tiles.weave(cv2.GaussianBlur(picture, (0, 0), 0.7)) is None
