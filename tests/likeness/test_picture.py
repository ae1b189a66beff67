"""Finding what a photograph of a framed print shows."""

import numpy as np
import pytest

from catalogue.likeness import geometry
from catalogue.likeness.features import extract
from catalogue.likeness.photo import match_photo, rank_matches
from tests.likeness.conftest import NAMES, artwork, captures, master, master_features


@pytest.mark.parametrize("name", ["astronaut", "coffee", "retina"])
def test_a_framed_print_on_a_wall(name: str) -> None:
    """Perspective, frame, reflection, a megapixel, JPEG: the right scan, in its place, and no other."""
    shot = captures.phone_photo(artwork(name), np.random.default_rng(11))
    small = captures.preview(shot)
    seen = extract(small.picture)
    found = []
    for other in NAMES[:4] + ((name,) if name not in NAMES[:4] else ()):
        scan = master(other)
        one = match_photo(small.picture, seen, other, master_features(other), lambda p=scan.picture: p)
        if one:
            found.append(one)
    assert [s.key for s in rank_matches(found)] == [name]
    best = found[0]
    assert best.sure > 0.6
    height, width = master(name).picture.shape[:2]
    true = geometry.apply(small.place @ np.linalg.inv(master(name).place), geometry.corners((width, height)))
    true = (true + 0.5) / (small.picture.shape[1], small.picture.shape[0])
    assert np.abs(np.array(best.corners) - true).max() < 0.02


def test_a_wall_without_a_picture_shows_none() -> None:
    wall = np.random.default_rng(1).normal(170, 8, (866, 1155, 3)).clip(0, 255).astype(np.uint8)
    scan = master("coffee")
    assert match_photo(wall, extract(wall), "coffee", master_features("coffee"), lambda: scan.picture) is None


def test_a_mirrored_photograph_is_refused() -> None:
    shot = captures.preview(captures.phone_photo(artwork("coffee"), np.random.default_rng(11))).picture
    mirrored = np.ascontiguousarray(shot[:, ::-1])
    scan = master("coffee")
    assert match_photo(mirrored, extract(mirrored), "coffee", master_features("coffee"), lambda: scan.picture) is None
