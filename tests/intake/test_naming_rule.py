"""The naming rule. Outside yardsticks: Python's own ``PureWindowsPath.is_reserved`` and ``ntpath`` (Windows' rules as
CPython keeps them), the library ``pathvalidate``, and ``unicodedata`` for composed names."""

import unicodedata
from pathlib import PureWindowsPath

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pathvalidate import is_valid_filename

from catalogue.errors import CatalogueError
from catalogue.intake.naming import (
    PATH_UNITS,
    Facts,
    apply_rule,
    checked_rule,
    cut_bytes,
    free_path,
    portable,
    problems,
    shortened,
)
from catalogue.settings import Settings

RULE = Settings().naming_rule
HARD = st.text(st.one_of(st.characters(), st.sampled_from("<>:\"/\\|?* .~\u0301\u0000éÅß🎨")), max_size=300)


def test_the_default_rule_names_a_tile_and_a_master() -> None:
    tile = Facts("Ada Quill", "Harbour", "tile", ".tif", "2026-03-01", number=3)
    assert apply_rule(RULE, tile) == "Ada Quill/Harbour/Ada Quill - Harbour - tile 03 - 2026-03-01.tif"
    assert apply_rule(RULE, Facts("Ada Quill", "Harbour", "master", ".tif")) == \
        "Ada Quill/Harbour/Ada Quill - Harbour - master.tif"


def test_a_field_without_a_value_takes_its_separator_and_a_folder_goes() -> None:
    facts = Facts("Ada Quill", "Harbour", "master", ".tif")
    assert apply_rule("{year}/{artist} - {piece} - {date}{suffix}", facts) == "Ada Quill - Harbour.tif"
    assert apply_rule("{date} {piece}{suffix}", facts) == "Harbour.tif"


@pytest.mark.parametrize("name", ["CON", "con.tif", "Lpt1", "COM¹", "nul .x", "CONIN$", "aux"])
def test_device_names_of_windows_are_avoided(name: str) -> None:
    assert PureWindowsPath(name).is_reserved()
    assert not PureWindowsPath(portable(name)).is_reserved()


@given(HARD, st.sampled_from(["", ".tif", ".jpg"]))
def test_every_part_travels(name: str, suffix: str) -> None:
    """Portable by pathvalidate's universal rules and by our own; the same again when made portable again."""
    part = portable(name, suffix)
    assert not problems(part)
    assert is_valid_filename(part, platform="universal", max_len=255)
    assert not PureWindowsPath(part).is_reserved()
    assert unicodedata.is_normalized("NFC", part)
    assert len(part.encode()) <= 255
    assert part.endswith(suffix)
    assert not part.startswith(".")
    assert portable(part.removesuffix(suffix) if suffix else part, suffix) == part


@given(HARD, HARD, st.integers(0, 120))
def test_ruled_paths_have_no_problem_and_stay_in_the_store(artist: str, piece: str, number: int) -> None:
    path = shortened(RULE, Facts(artist, piece, "tile", ".tif", "2026-03-01", number=number))
    assert not problems(path)
    assert len(path) <= PATH_UNITS
    assert not path.startswith("/")
    assert ".." not in path.split("/")


@given(st.text(max_size=80), st.integers(0, 60))
def test_cutting_keeps_whole_letters(text: str, size: int) -> None:
    text = text.encode("utf-8", "ignore").decode()
    short = cut_bytes(text, size)
    assert text.startswith(short)
    assert len(short.encode()) <= size


def test_cutting_does_not_part_a_letter_from_its_accent() -> None:
    assert cut_bytes("ae\u0301", 3) == "a"


def test_a_taken_name_gets_a_number_before_its_suffix() -> None:
    taken = {"a/b.tif", "a/b (2).tif"}
    assert free_path("a/b.tif", taken.__contains__) == "a/b (3).tif"
    assert free_path("a/c.tif", taken.__contains__) == "a/c.tif"


@given(st.sets(st.sampled_from([f"x{n}.tif" for n in ("", " (2)", " (3)", " (4)")])))
def test_a_free_name_is_free(taken: set[str]) -> None:
    assert free_path("x.tif", taken.__contains__) not in taken


@pytest.mark.parametrize("rule", ["{artist}/{nobody}{suffix}", "{artist", "{artist}", "/{artist}{suffix}",
                                  "../{artist}{suffix}", "a//{suffix}"])
def test_a_rule_that_cannot_work_is_refused_with_its_fields(rule: str) -> None:
    with pytest.raises(CatalogueError, match="naming rule"):
        checked_rule(rule)


@pytest.mark.parametrize(("path", "word"), [("a:b.tif", "character"), ("x./b.tif", "dot or a space"),
                                            ("NUL.tif", "device"), ("e\u0301.tif", "decomposed"),
                                            ("b\udcff.tif", "UTF-8"), ("x/" * 101 + "b.tif", "longer")])
def test_what_does_not_travel_is_said(path: str, word: str) -> None:
    assert any(word in problem for problem in problems(path))
