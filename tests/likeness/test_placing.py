"""Parts placed at their known scale, without any local feature; pictures of scikit-image (CC0 or public domain)."""

from dataclasses import replace

import numpy as np
import pytest

from catalogue.likeness import geometry
from catalogue.likeness.evidence import Relation
from catalogue.likeness.examine import Side, against, examine_part, known_scale
from catalogue.likeness.features import extract
from catalogue.likeness.part_location import locate_part
from tests.likeness.conftest import NAMES, artwork, captures, master, master_side, side_of

BLANK = extract(np.full((64, 64, 3), 128, np.uint8))


def without_features(side: Side) -> Side:
    """The same scan where no feature was found."""
    bare = replace(BLANK, width=side.features.width, height=side.features.height)
    return Side(side.facts, bare, side.load)


def tile_of(name: str, seed: int, quarter: int = 0) -> tuple[captures.Capture, Side]:
    """A tile that shows 40 % of the artwork each way, turned by quarters, ten full pixels for each of its preview."""
    made = captures.tile(artwork(name), 7, np.random.default_rng(seed), (0.31, 0.22, 0.4, 0.4))
    picture = np.ascontiguousarray(np.rot90(made.picture, -quarter))
    height, width = made.picture.shape[:2]
    turned = geometry.full(geometry.quarter_turn(quarter, (width, height)))
    return captures.Capture(picture, turned @ made.place), side_of(picture, "tile", role="tile")


@pytest.mark.parametrize("quarter", range(4))
@pytest.mark.parametrize("name", ["coffee", "rocket", "retina"])
def test_a_tile_without_features_is_placed(name: str, quarter: int) -> None:
    made, side = tile_of(name, 5, quarter)
    found = examine_part(without_features(side), without_features(master_side(name)))
    assert found is not None and found.relation is Relation.TILE, found
    size = made.picture.shape[1], made.picture.shape[0]
    true = master(name).place @ np.linalg.inv(made.place)
    away = geometry.apply(found.map, geometry.corners(size)) - geometry.apply(true, geometry.corners(size))
    assert np.linalg.norm(away, axis=1).max() < 0.004 * master(name).picture.shape[1]


def test_the_whole_may_come_first() -> None:
    _, side = tile_of("coffee", 5)
    found = examine_part(without_features(master_side("coffee")), without_features(side))
    assert found is not None and found.relation is Relation.TILE and found.overlap_b > found.overlap_a


@pytest.mark.parametrize("name", NAMES)
def test_a_tile_of_another_work_is_placed_nowhere(name: str) -> None:
    for other in NAMES:
        if other != name:
            _, side = tile_of(other, 5)
            found = examine_part(without_features(side), without_features(master_side(name)))
            assert found is None or found.relation is Relation.UNSURE, (name, other, found)


def test_no_place_is_clearly_best_in_a_pattern_that_repeats() -> None:
    cell = artwork("coffee")[:64, :64]
    sheet = np.tile(cell, (8, 8, 1))
    assert locate_part(np.ascontiguousarray(sheet[100:300, 100:300]), sheet, 1.0) is None


def test_ppi_of_scanners_sets_the_scale_a_screens_does_not() -> None:
    picture = artwork("coffee")
    fine, coarse = side_of(picture, "a", ppi=600.0), side_of(picture, "b", ppi=300.0)
    assert known_scale(fine, coarse) == pytest.approx(0.5)
    assert known_scale(side_of(picture, "a", ppi=72.0), coarse) == pytest.approx(1.0)


def test_only_a_scan_without_a_whole_is_searched_so() -> None:
    """The first of the others shows the same: then nothing is correlated over every place."""
    _, side = tile_of("coffee", 5)
    again = side_of(side.preview, "again", pixel_digest="one")
    known = Side(replace(side.facts, pixel_digest="one"), side.features, side.load)
    found = against(known, [again, without_features(master_side("coffee"))])
    assert [e and e.relation for e in found] == [Relation.SAME_PIXELS, None]
    lone = against(known, [without_features(master_side("coffee"))])
    assert [e and e.relation for e in lone] == [Relation.TILE]


def test_a_tile_that_shows_most_of_the_work_is_a_tile_where_it_is_kept_as_one() -> None:
    """Two captures of one original overlap so far; the master stitched from them holds their own grain."""
    whole = master("coffee").picture
    left = np.ascontiguousarray(whole[:, : round(whole.shape[1] * 0.7)])
    for role, relation in (("tile", Relation.TILE), ("unsorted", Relation.REWORKED)):
        found = against(side_of(left, "left", role=role), [side_of(whole, "whole", role="master")])[0]
        assert found is not None and found.relation is relation, (role, found)
