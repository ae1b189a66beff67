"""Where everything lies on a print file."""

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from catalogue.errors import Refused
from catalogue.print_files.layout import Box, Layout, layout_of
from catalogue.print_files.recipe import Recipe

PLAIN = Recipe("ab" * 32, 100, 150, 254)    # 10 pixels a millimetre
# ISO 216 in mm, from memory; pixels at 150, 240, 300 and 600 ppi.
ISO_216 = {(841, 1189): ((4967, 7022), (7946, 11235), (9933, 14043), (19866, 28087)),
           (594, 841): ((3508, 4967), (5613, 7946), (7016, 9933), (14031, 19866)),
           (420, 594): ((2480, 3508), (3969, 5613), (4961, 7016), (9921, 14031)),
           (210, 297): ((1240, 1754), (1984, 2806), (2480, 3508), (4961, 7016))}


@pytest.mark.parametrize("size", ISO_216)
def test_sizes_are_those_of_iso_216_to_half_a_pixel(size: tuple[int, int]) -> None:
    for ppi, pixels in zip((150, 240, 300, 600), ISO_216[size], strict=True):
        made = layout_of(replace(PLAIN, width_mm=size[0], height_mm=size[1], ppi=ppi), 3000, 4000)
        assert (made.width, made.height) == pixels
        assert abs(made.width - size[0] / 25.4 * ppi) <= 0.5
        assert abs(made.height - size[1] / 25.4 * ppi) <= 0.5


def test_a_border_lies_within_and_a_wrap_beyond() -> None:
    bordered = layout_of(replace(PLAIN, border_mm=10), 2000, 3000)
    assert (bordered.width, bordered.height) == (1000, 1500)
    assert bordered.picture == Box(100, 100, 800, 1300)
    wrapped = layout_of(replace(PLAIN, wrap_mm=10, bleed_mm=3), 2000, 3000)
    assert (wrapped.width, wrapped.height) == (1260, 1760)
    assert wrapped.picture == Box(0, 0, 1260, 1760)
    mirrored = layout_of(replace(PLAIN, wrap_mm=10, bleed_mm=3, edge="mirrored"), 2000, 3000)
    assert mirrored.picture == mirrored.finished == Box(130, 130, 1000, 1500)
    assert mirrored.filled == Box(0, 0, 1260, 1760)


def test_what_is_cut_is_cut_centrally_from_the_crop() -> None:
    made = layout_of(replace(PLAIN, crop=(100, 200, 1000, 1000)), 2000, 3000)
    assert (made.source.top, made.source.height) == (200, 1000)
    assert made.source.left == pytest.approx(100 + (1000 - 2000 / 3) / 2)
    across = layout_of(replace(PLAIN, turn=90), 3000, 2000)
    assert (across.source.width, across.source.height) == (3000, 2000)
    assert across.ppi_there == pytest.approx(2000 / 1000 * 254)


@pytest.mark.parametrize("recipe", [
    replace(PLAIN, crop=(1001, 0, 1000, 10)), replace(PLAIN, crop=(0, 2500, 10, 501)), replace(PLAIN, border_mm=50),
    replace(PLAIN, width_mm=0.01, ppi=100), replace(PLAIN, width_mm=20_000, height_mm=20_000, ppi=4800),
    replace(PLAIN, fit="whole", height_mm=100, edge="mirrored", wrap_mm=5),
    replace(PLAIN, width_mm=20, height_mm=30, edge="mirrored", wrap_mm=40)])
def test_what_cannot_be_laid_out_is_refused(recipe: Recipe) -> None:
    with pytest.raises(Refused):
        layout_of(recipe, 2000, 3000)


@given(st.floats(5, 900), st.floats(5, 900), st.integers(20, 600), st.sampled_from([0, 90, 180, 270]),
       st.sampled_from(["fill", "whole"]), st.floats(0, 60), st.floats(0, 60), st.floats(0, 20), st.booleans(),
       st.sampled_from(["continued", "mirrored", "stretched", "colour"]), st.integers(1, 9000), st.integers(1, 9000))
def test_every_layout_holds_together(width: float, height: float, ppi: int, turn: int, fit: str, border: float,
                                     wrap: float, bleed: float, marks: bool, edge: str, across: int,
                                     down: int) -> None:
    recipe = replace(PLAIN, width_mm=width, height_mm=height, ppi=ppi, turn=turn, fit=fit, border_mm=border,
                     wrap_mm=wrap, bleed_mm=bleed, marks=marks, edge=edge)
    try:
        made = layout_of(recipe, across, down)
    except Refused:
        assume(False)
    _inside(made.picture, made.filled)
    for box in (made.filled, made.finished, *made.marks, *([made.colour] if made.colour else [])):
        _inside(box, Box(0, 0, made.width, made.height))
    source = made.source
    assert source.left >= 0 and source.top >= 0 and source.width > 0 and source.height > 0
    assert source.left + source.width <= across * (1 + 1e-12)
    assert source.top + source.height <= down * (1 + 1e-12)
    _not_distorted(made, recipe, across, down)
    assert made.finished.left == made.width - made.finished.right and made.finished.top == made.finished.left
    for mark in made.marks:
        assert not _overlap(mark, made.filled) and not _overlap(mark, made.finished)


def _inside(box: Box, other: Box) -> None:
    assert other.left <= box.left and other.top <= box.top
    assert box.right <= other.right and box.bottom <= other.bottom


def _overlap(one: Box, other: Box) -> bool:
    return (one.left < other.right and other.left < one.right and one.top < other.bottom and other.top < one.bottom)


def _not_distorted(made: Layout, recipe: Recipe, across: int, down: int) -> None:
    """One scale both ways, but for the rounding to a pixel where the picture is shown whole."""
    wide, high = made.picture.width, made.picture.height
    if recipe.turn in (90, 270):
        wide, high = high, wide
    if recipe.fit == "whole":
        assert any(abs(wide - across * scale) <= 1 and abs(high - down * scale) <= 1
                   for scale in (wide / across, high / down))
    else:
        assert made.source.width / wide == pytest.approx(made.source.height / high)
