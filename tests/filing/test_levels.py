"""What folder levels mean, chosen by a person, becomes place rules, and place rules become the choices again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.allowed_settings import setting_fault
from catalogue.filing.levels import MEANINGS, Choice, choices_of, meaning_of, rules_of, with_choice
from catalogue.indexing.guessing import guess_paths
from catalogue.indexing.naming import names_in_path


def test_levels_become_rules_the_most_particular_first() -> None:
    choices = (Choice((), 0, "artist"), Choice((), 1, "year"), Choice(("JOBS",), 0, "ignore"))
    assert rules_of(choices) == (
        "{ignore=JOBS}/{year}/**/*", "{ignore=JOBS}/**/*", "{artist}/{year}/**/*", "{artist}/**/*")
    assert not setting_fault("place_rules", list(rules_of(choices)))


def test_what_a_level_means_holds_below_its_prefix_alone() -> None:
    choices = (Choice(("Clients",), 1, "artist"), Choice(("Clients", "Brun"), 2, "piece"))
    rules = rules_of(choices)
    assert names_in_path("Clients/Brun/Citrons/x.tif", rules).piece == "Citrons"
    assert names_in_path("Clients/Brun/Citrons/x.tif", rules).artist == "Brun"
    assert names_in_path("Clients/Quill/Harbour/x.tif", rules).piece == ""
    assert names_in_path("Clients/Quill/x.tif", rules).artist == "Quill"
    assert names_in_path("Shows/Quill/x.tif", rules).artist == ""


def test_a_folder_that_is_no_artist_is_left_out_of_what_is_guessed() -> None:
    """Both artists are found below a folder of jobs, and the titles in their files' names."""
    paths = [f"JOBS/{artist}/{number} {title} 30x40.tif" for artist, titles in (
        ("Ada Quill", ("Harbour", "Meadow", "Pier")), ("Ben Ashe", ("Citrons", "Olives", "Figs")))
        for number, title in enumerate(titles, 4711)]
    rules = rules_of((Choice((), 0, "job"), Choice((), 1, "artist")))
    found = {path: (guess.artist, guess.title) for path, guess in zip(paths, guess_paths(paths, rules), strict=True)}
    assert found["JOBS/Ada Quill/4711 Harbour 30x40.tif"] == ("Ada Quill", "Harbour")
    assert found["JOBS/Ben Ashe/4713 Figs 30x40.tif"] == ("Ben Ashe", "Figs")


def test_series_and_year_of_folders_are_taken_as_they_are() -> None:
    rules = rules_of((Choice((), 0, "artist"), Choice((), 1, "series"), Choice((), 2, "year")))
    guess, = guess_paths(["Ada Quill/Tides/2019/Low Water master.tif"], rules)
    assert (guess.artist, guess.series, guess.year, guess.title, guess.role) == (
        "Ada Quill", "Tides", "2019", "Low Water", "master")
    assert "place rule" in guess.reason


def test_a_year_that_is_none_is_left_to_the_guess() -> None:
    rules = rules_of((Choice((), 0, "artist"), Choice((), 1, "year")))
    assert names_in_path("Ada Quill/2019/x.tif", rules).year == "2019"
    assert (names_in_path("Ada Quill/Harbour/x.tif", rules).artist,
            names_in_path("Ada Quill/Harbour/x.tif", rules).year) == (
        "Ada Quill", "")


def test_the_last_choice_takes_the_place_of_those_it_covers() -> None:
    choices = with_choice((Choice(("A",), 0, "ignore"), Choice((), 1, "year")), Choice((), 0, "artist"))
    assert set(choices) == {Choice((), 1, "year"), Choice((), 0, "artist")}
    choices = with_choice(choices, Choice(("A",), 0, "job"))
    assert meaning_of(choices, ("A",)) == "job" and meaning_of(choices, ("B",)) == "artist"
    assert meaning_of(choices, ("B", "x")) == "year" and meaning_of(choices, ("B", "x", "y")) == ""


def test_rules_written_by_hand_are_kept_apart() -> None:
    hand = ("{year}/{artist} - {piece}.*", "**/{piece}/*")
    choices, others = choices_of((*rules_of((Choice((), 0, "artist"),)), *hand))
    assert choices == (Choice((), 0, "artist"),) and others == hand


def test_a_name_that_no_rule_can_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="brace"):
        rules_of((Choice(("{odd}",), 0, "artist"),))


NAMES = st.sampled_from(["Ada Quill", "JOBS", "2021", "to sort (old)", "a*b", "[x]", "été"])


@given(st.lists(st.tuples(st.lists(NAMES, max_size=2), st.integers(0, 3), st.sampled_from(("", *MEANINGS)))), st.data())
def test_rules_read_a_path_as_its_folders_mean(made: list[tuple[list[str], int, str]], data: st.DataObject) -> None:
    """A reference of its own: each folder's meaning by the choices, against what the rules read. Names that a year's
    pattern does not fit, and levels of one meaning above another of it, are left out."""
    choices: tuple[Choice, ...] = ()
    for prefix, depth, meaning in made:
        if depth >= len(prefix) - 1 and meaning != "year":
            choices = with_choice(choices, Choice(tuple(prefix), depth, meaning))
    folders = data.draw(st.lists(NAMES, min_size=1, max_size=4))
    meanings = [meaning_of(choices, folders[:depth + 1]) for depth in range(len(folders))]
    place = names_in_path("/".join([*folders, "x.tif"]), rules_of(choices))
    for field, meaning in (("artist", "artist"), ("piece", "piece"), ("series", "series")):
        wanted = [name for name, one in zip(folders, meanings, strict=True) if one == meaning]
        if len(wanted) < 2:
            assert getattr(place, field) == (wanted[0] if wanted else ""), (choices, rules_of(choices))
    assert not rules_of(choices) or not setting_fault("place_rules", list(rules_of(choices)))
