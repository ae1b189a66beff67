"""Which relation two pictures have, on captures simulated with exact geometry."""

import cv2
import numpy as np
import pytest

from catalogue.likeness import geometry
from catalogue.likeness.confirmation import track
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.examine import examine
from tests.likeness.conftest import artwork, captures, master, master_side, side_of


def corner_error(evidence: Evidence, a: captures.Capture, b: captures.Capture) -> float:
    """Largest distance of a's corners from their true place on b, as a share of b's width."""
    true = b.place @ np.linalg.inv(a.place)
    spots = geometry.corners((a.picture.shape[1], a.picture.shape[0]))
    away = geometry.apply(evidence.map, spots) - geometry.apply(true, spots)
    return float(np.linalg.norm(away, axis=1).max() / b.picture.shape[1])


@pytest.mark.parametrize("name", ["astronaut", "coffee", "retina"])
def test_rescan(name: str) -> None:
    b = master(name)
    a = captures.preview(captures.rescan(artwork(name), 7, np.random.default_rng(3)))
    found = examine(side_of(a.picture, "a"), master_side(name))
    assert found is not None
    assert found.relation is Relation.RESCAN, found.reasons
    assert found.correlation > 0.9
    assert corner_error(found, a, b) < 0.0015
    true = geometry.rotation_of((b.place @ np.linalg.inv(a.place))[:2])
    assert abs((found.rotation - true + 180) % 360 - 180) < 0.1


@pytest.mark.parametrize("box", [(0.0, 0.0, 0.38, 0.38), (0.31, 0.3, 0.38, 0.38), (0.62, 0.62, 0.38, 0.38)])
def test_tile_and_its_place(box: tuple[float, float, float, float], rng: np.random.Generator) -> None:
    b = master("astronaut")
    a = captures.preview(captures.tile(artwork("astronaut"), 7, rng, box))
    # a preview of 243 px of a tile of 2430 full pixels, a master of 6,400: the tile is as fine as the master
    found = examine(side_of(a.picture, "a"), side_of(b.picture, "b", width=6400, height=6400))
    assert found is not None
    assert found.relation is Relation.TILE, found.reasons
    assert corner_error(found, a, b) < 0.0015
    assert found.detail_ratio == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("name", ["astronaut", "coffee"])
def test_the_turn_of_a_tile_is_right_to_a_tenth_of_a_degree(name: str, seed: int) -> None:
    a = captures.tile(artwork(name), 7, np.random.default_rng(seed), (0.2, 0.25, 0.5, 0.5))
    found = examine(side_of(a.picture, "a", role="tile"), master_side(name))
    assert found is not None and found.relation is Relation.TILE
    true = geometry.rotation_of((master(name).place @ np.linalg.inv(a.place))[:2])
    assert abs((found.rotation - true + 180) % 360 - 180) < 0.1
    assert corner_error(found, a, master(name)) < 0.001


@pytest.mark.parametrize("name", ["astronaut", "coffee", "retina"])
def test_corners_are_followed_to_a_tenth_of_a_pixel(name: str) -> None:
    b = cv2.cvtColor(artwork(name), cv2.COLOR_RGB2GRAY)
    true = geometry.compose(geometry.zoom(1.004, 0.999), cv2.getRotationMatrix2D((300, 200), 0.4, 1.0))
    a = cv2.warpAffine(b, geometry.inverse(true), (b.shape[1], b.shape[0]), flags=cv2.INTER_CUBIC)
    found = track(a, b, np.eye(2, 3))
    assert found is not None
    inner = np.array([[40, 40], [a.shape[1] - 40, 40], [a.shape[1] - 40, a.shape[0] - 40], [40, a.shape[0] - 40]])
    assert np.linalg.norm(geometry.apply(found, inner) - geometry.apply(true, inner), axis=1).max() < 0.1


def test_corners_of_another_picture_and_of_a_blank_one_are_not_followed() -> None:
    astronaut, coffee = (cv2.cvtColor(artwork(name), cv2.COLOR_RGB2GRAY) for name in ("astronaut", "coffee"))
    assert track(astronaut, coffee, np.eye(2, 3)) is None
    assert track(np.full_like(coffee, 128), coffee, np.eye(2, 3)) is None


def test_part_is_told_from_whole_whichever_comes_first(rng: np.random.Generator) -> None:
    b = master("coffee")
    cut = captures.detail(b.picture, rng)
    web = side_of(cut.picture, "web", bits=8, format="JPEG", width=cut.picture.shape[1], height=cut.picture.shape[0])
    whole = master_side("coffee")
    for found, web_first in ((examine(web, whole), True), (examine(whole, web), False)):
        assert found is not None
        assert found.relation is Relation.DETAIL
        assert (found.overlap_a > found.overlap_b) is web_first
        assert (found.detail_ratio or 0) < 1 if web_first else (found.detail_ratio or 0) > 1


def test_edit_of_the_same_capture_is_reworked(rng: np.random.Generator) -> None:
    b = master("coffee")
    a = captures.reworked(b, rng)
    found = examine(side_of(a.picture, "a"), master_side("coffee"))
    assert found is not None
    assert found.relation is Relation.REWORKED, found.reasons


def test_capture_times_overrule_the_grain(rng: np.random.Generator) -> None:
    b = master("coffee")
    a = captures.reworked(b, rng)
    found = examine(side_of(a.picture, "a", captured="2019-03-01T10:00:00"),
                    side_of(b.picture, "b", captured="2024-03-01T10:00:00"))
    assert found is not None
    assert found.relation is Relation.RESCAN


@pytest.mark.parametrize("name", ["astronaut", "retina"])
def test_a_sibling_of_the_series_stays_apart(name: str) -> None:
    other = artwork("coffee")
    for seed in range(2):
        rng = np.random.default_rng(seed)
        work = captures.sibling(artwork(name), other, rng)
        a = captures.preview(captures.scan(work, 99, rng, turn=0.4))
        found = examine(side_of(a.picture, "a"), master_side(name))
        assert found is None or found.relation is Relation.LOOK_ALIKE, (seed, found)


@pytest.mark.parametrize("name", ["astronaut", "coffee", "chelsea"])
def test_another_colourway_stays_apart(name: str, rng: np.random.Generator) -> None:
    a = captures.preview(captures.scan(captures.recoloured(artwork(name), rng), 99, rng, turn=0.4))
    found = examine(side_of(a.picture, "a"), master_side(name))
    assert found is None or found.relation is Relation.LOOK_ALIKE, found


def test_unrelated_pictures_have_nothing_to_do_with_each_other() -> None:
    names = ("astronaut", "coffee", "chelsea", "rocket", "retina")
    sides = [master_side(n) for n in names]
    for i, a in enumerate(sides):
        for b in sides[i + 1 :]:
            assert examine(a, b) is None, (a.facts.sha256, b.facts.sha256)


def test_a_mirrored_picture_is_not_the_same() -> None:
    b = master("coffee").picture
    found = examine(side_of(np.ascontiguousarray(b[:, ::-1]), "a"), side_of(b, "b"))
    assert found is None or not found.relation.same_piece


def test_digests_decide_first() -> None:
    b = master("coffee").picture
    a = side_of(b, "a", pixel_digest="d1")
    found = examine(a, side_of(b, "b", pixel_digest="d1"))
    assert found is not None and found.relation is Relation.SAME_PIXELS
    found = examine(a, side_of(b, "a"))
    assert found is not None and found.relation is Relation.SAME_BYTES


def field(seed: int, texture: float, top: tuple[int, int, int] = (200, 190, 160), grain: int = 1) -> np.ndarray:
    """A soft colour field on paper of faint texture."""
    height = np.random.default_rng(seed).standard_normal((640, 500)).astype(np.float32)
    import cv2

    surface = cv2.GaussianBlur(height, (0, 0), 2.0) * 3
    ramp = np.linspace(1.0, 0.9, 640)[:, None, None] * np.array(top)[None, None, :]
    noise = np.random.default_rng(grain).standard_normal((640, 500, 1))
    return np.clip(ramp + texture * surface[..., None] + noise, 0, 255).astype(np.uint8)


def test_a_soft_colour_field_is_known_by_its_surface() -> None:
    found = examine(side_of(field(1, 1.0, grain=5), "a"), side_of(field(1, 1.0, grain=6), "b"))
    assert found is not None
    assert found.relation in (Relation.RESCAN, Relation.REWORKED), found
    assert found.texture > 9


def test_two_fields_alike_but_for_their_surface_cannot_be_told() -> None:
    found = examine(side_of(field(1, 1.0, grain=5), "a"), side_of(field(2, 1.0, grain=6), "b"))
    assert found is None or found.relation is Relation.UNSURE, found


def test_blank_fields_cannot_be_told_and_other_colours_differ() -> None:
    plain = np.full((640, 500, 3), 180, np.uint8)
    found = examine(side_of(plain, "a"), side_of(plain.copy(), "b"))
    assert found is not None and found.relation is Relation.UNSURE
    red = plain.copy()
    red[..., 1:] = 60
    assert examine(side_of(plain, "a"), side_of(red, "b")) is None


def test_evidence_survives_json_and_swapping() -> None:
    a = captures.preview(captures.rescan(artwork("coffee"), 7, np.random.default_rng(3)))
    found = examine(side_of(a.picture, "a"), master_side("coffee"))
    assert found is not None
    again = Evidence.from_json(found.to_json())
    assert again.relation is found.relation and again.reasons == found.reasons
    np.testing.assert_allclose(again.map, found.map, atol=1e-5)
    back = found.swapped()
    np.testing.assert_allclose(geometry.compose(back.map, found.map), np.eye(2, 3), atol=1e-9)
    assert back.overlap_a == found.overlap_b
