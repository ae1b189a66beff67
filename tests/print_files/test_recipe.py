"""Recipes: one text for one recipe, read back exactly, nothing odd taken."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.errors import Refused
from catalogue.print_files.recipe import COMPRESSIONS, EDGES, FITS, INTENTS, KERNELS, Recipe, differences, from_json

PLAIN = Recipe("ab" * 32, 300, 400.5, 300)
lengths = st.floats(0, 500)
recipes = st.builds(
    Recipe, st.just("0f" * 32), st.floats(0.1, 20_000), st.integers(1, 20_000), st.integers(10, 4800),
    st.sampled_from([0, 90, 180, 270]),
    st.none() | st.tuples(st.integers(0, 10**6), st.integers(0, 10**6), st.integers(1, 10**6), st.integers(1, 10**6)),
    st.sampled_from(FITS), lengths, lengths, st.sampled_from(EDGES), st.floats(0.1, 500),
    st.sampled_from(["white", "black", "1,2,3", "255"]), lengths, st.booleans(), st.sampled_from(KERNELS),
    st.sampled_from(["", "cd" * 32]), st.sampled_from(INTENTS), st.booleans(), st.sampled_from([8, 16]),
    st.sampled_from(COMPRESSIONS), sharpen=st.none() | st.tuples(st.floats(0.1, 20), st.floats(1, 500),
                                                                 st.floats(0, 255)))


@given(recipes)
def test_a_recipe_reads_back_as_it_was_and_writes_the_same_text(recipe: Recipe) -> None:
    assert from_json(recipe.to_json()) == recipe
    assert from_json(recipe.to_json()).to_json() == recipe.to_json()


def test_whole_and_broken_numbers_of_one_value_are_one_text() -> None:
    assert Recipe("ab" * 32, 300.0, 400.5, 300).to_json() == PLAIN.to_json()


@pytest.mark.parametrize("odd", [
    {"width_mm": 0}, {"height_mm": -1}, {"width_mm": 1e9}, {"width_mm": float("nan")}, {"width_mm": "300"},
    {"ppi": 0}, {"ppi": 300.0}, {"ppi": True}, {"turn": 45}, {"turn": False}, {"crop": [0, 0, 0, 5]},
    {"crop": [-1, 0, 5, 5]}, {"crop": [0, 0, 5]}, {"crop": [0, 0, 5, 2.5]}, {"border_mm": -1}, {"wrap_mm": 501},
    {"edge": "wavy"}, {"edge_colour": "red"}, {"edge_colour": "256,0,0"}, {"kernel": "nearest"}, {"bits": 12},
    {"bits": True}, {"intent": ""}, {"compression": "jpeg"}, {"master_sha256": "ab"}, {"profile_sha256": "xyz"},
    {"marks": 1}, {"version": 2}, {"version": "1"}, {"version": True}, {"version": 2, "sharpen": None},
    {"sharpen": [1, 50, 0]}, {"version": 2, "sharpen": [0, 50, 0]},
    {"version": 2, "sharpen": [1, 50]}, {"version": 2, "sharpen": [1, 501, 0]},
    {"version": 2, "sharpen": [1, float("nan"), 0]}, {"version": 2, "sharpen": 5}, {"stretch_mm": 0}, {"more": 1}])
def test_what_makes_no_print_is_refused(odd: dict[str, object]) -> None:
    with pytest.raises(Refused):
        from_json(json.dumps(json.loads(PLAIN.to_json()) | odd))


@pytest.mark.parametrize("text", ["", "[]", "null", "{}", "{", "1", PLAIN.to_json()[:-1], '{"version":1}'])
def test_what_is_no_recipe_is_refused(text: str) -> None:
    with pytest.raises(Refused):
        from_json(text)


def test_what_differs_is_named_with_then_and_now() -> None:
    assert differences(PLAIN, replace(PLAIN, ppi=360, marks=True)) == {"ppi": (300, 360), "marks": (False, True)}
    assert differences(PLAIN, PLAIN) == {}


def test_a_recipe_that_does_not_sharpen_keeps_the_text_it_always_had() -> None:
    """As the first version wrote it: files made then are made again bit for bit, their text included."""
    assert PLAIN.to_json() == (
        '{"bits":16,"black_point":true,"bleed_mm":0.0,"border_mm":0.0,"compression":"none","crop":null,'
        '"edge":"continued","edge_colour":"white","fit":"fill","height_mm":400.5,"intent":"relative",'
        '"kernel":"lanczos3","marks":false,"master_sha256":"' + "ab" * 32 + '","ppi":300,"profile_sha256":"",'
        '"stretch_mm":5.0,"turn":0,"version":1,"width_mm":300.0,"wrap_mm":0.0}')
    assert json.loads(replace(PLAIN, sharpen=(0.8, 60, 2)).to_json())["version"] == 2
