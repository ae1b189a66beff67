"""The shop's place rules: kept in the settings, which stay as they are else; changed with what they file."""

import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.errors import CatalogueError, NotFound, Refused
from catalogue.filing.levels import Choice, rules_of
from catalogue.indexing.stores import add_store
from catalogue.operations import correcting, place_rules
from catalogue.operations.place_rules import with_place_rules
from catalogue.records.database import Database
from catalogue.settings import Home, read_settings
from tests.indexing.test_corrections import Shop

RULES = rules_of((Choice((), 0, "job"), Choice((), 1, "artist")))


@pytest.fixture
def shop(db: Database, home: Home, scan: Callable[..., Path], tmp_path: Path) -> Shop:
    (tmp_path / "main").mkdir()
    add_store(db, "main", tmp_path / "main", "primary", consent=True)
    shop = Shop(db, home, scan)
    shop.add("Umberlow/Harbour/Weir master.tif", "Umberlow/Meadow/Gate master.tif",
             "Umberlow/Pier/Shed master.tif")
    return shop


@pytest.mark.parametrize("text", [
    "", "dates = \"%Y-%m-%d\"", "# mine\nplace_rules = [\"{artist}/{piece}/*\"]  # old\ntheme = \"light\"\n",
    "theme = \"light\"\nplace_rules = [\n  \"{artist}/{piece}/*\", # ]\n  \"{piece}/*\"\n]\n# end\nworkers = 2\n"])
def test_the_settings_keep_all_else(text: str) -> None:
    """Read back with Python's own TOML reader."""
    made = with_place_rules(text, RULES)
    assert tomllib.loads(made) == tomllib.loads(text) | {"place_rules": list(RULES)}
    assert [line for line in text.splitlines() if line.startswith("#")] == [
        line for line in made.splitlines() if line.startswith("#")]
    assert with_place_rules(made, RULES) == made


@given(st.lists(st.text(st.characters(exclude_categories=("Cs",)), max_size=12)))
def test_any_rule_is_written_as_it_is(rules: list[str]) -> None:
    assert tomllib.loads(with_place_rules("theme = \"dark\"\n", rules))["place_rules"] == rules


def test_rules_are_previewed_changed_and_taken_back(shop: Shop) -> None:
    before = shop.filed()
    shown = place_rules.preview_refiling(shop.db, shop.home, RULES)
    assert shown.counts and shop.filed() == before
    assert not (shop.home.folder / "settings.toml").exists()
    done = place_rules.change_place_rules(shop.db, shop.home, RULES)
    assert done.refiled.moves == shown.moves
    assert read_settings(shop.home.folder / "settings.toml").place_rules == RULES == done.home.settings.place_rules
    assert set(shop.filed().values()) == {"Harbour: Weir", "Meadow: Gate", "Pier: Shed"} != set(before.values())
    home, count = place_rules.undo_place_rules(shop.db, done.home)
    assert count == 3 and shop.filed() == before and home.settings.place_rules == ()
    assert read_settings(shop.home.folder / "settings.toml").place_rules == ()
    with pytest.raises(NotFound):
        place_rules.undo_place_rules(shop.db, home)


def test_what_a_person_stated_stays(shop: Shop) -> None:
    scan = shop.scan_at("Umberlow/Pier/Shed master.tif")
    correcting.describe_scans(shop.db, [scan.sha256], new_piece=("Ada Quill", "Jetty"))
    place_rules.change_place_rules(shop.db, shop.home, RULES)
    assert shop.filed()["Umberlow/Pier/Shed master.tif"] == "Ada Quill: Jetty"


def test_a_change_that_is_stopped_leaves_the_settings_alone(shop: Shop) -> None:
    before = shop.filed()
    with pytest.raises(CatalogueError, match="stopped"):
        place_rules.change_place_rules(shop.db, shop.home, RULES, cancelled=lambda: True)
    assert read_settings(shop.home.folder / "settings.toml").place_rules == () and shop.filed() == before
    with pytest.raises(Refused, match="place_rules"):
        place_rules.keep_place_rules(shop.home, ["*/*"])


def test_names_are_joined_before_there_is_a_scan_of_either(shop: Shop) -> None:
    done = correcting.state_names(shop.db, {"J Quill": "Jan Quill", "CASHE": "Cy Ashe"})
    for path in ("J Quill/Gate", "Jan Quill/Barn", "Jan Quill/Mill", "J Quill/Weir"):
        shop.add(f"{path}/master.tif")
    found = [name for path, name in shop.filed().items() if "Quill" in path]
    assert len(found) == 4 and all(name.startswith("Jan Quill: ") for name in found)
    correcting.undo_statement(shop.db, done.id)
    with pytest.raises(Refused):
        correcting.state_names(shop.db, {"J Quill": " "})


def test_titles_are_stated_before_there_is_a_scan_and_later_runs_follow(shop: Shop) -> None:
    """A spelling is corrected, two titles become one; what is read later under the old names is of these pieces."""
    done = correcting.state_names(shop.db, {"J Quill": "Jan Quill"}, [
        ("Jan Quill", "Haborn", "Harbour at Night"), ("Jan Quill", "Weir old", "Weir"),
        ("Jan Quill", "Weir", "The Weir")])
    for path in ("J Quill/Haborn", "Jan Quill/Weir old", "Jan Quill/Weir", "J Quill/Barn"):
        shop.add(f"{path}/master.tif")
    filed = {path: name for path, name in shop.filed().items() if "Quill" in path}
    assert filed == {"J Quill/Haborn/master.tif": "Jan Quill: Harbour at Night",
                     "Jan Quill/Weir old/master.tif": "Jan Quill: The Weir",
                     "Jan Quill/Weir/master.tif": "Jan Quill: The Weir", "J Quill/Barn/master.tif": "Jan Quill: Barn"}
    previewed = dict(place_rules.named_on_record(shop.db, shop.home, ()))
    assert previewed["J Quill/Haborn/master.tif"].title == "Harbour at Night"
    with pytest.raises(Refused):
        correcting.state_names(shop.db, {}, [("Jan Quill", "Barn", " ")])
    correcting.undo_statement(shop.db, done.id)
    assert {"J Quill: Haborn", "Jan Quill: Weir old", "Jan Quill: Weir"} <= set(shop.filed().values())


def test_a_title_stated_before_is_stated_anew_of_the_same_piece(shop: Shop) -> None:
    """The preview shows the title that the piece has now; that one is corrected, and no second piece made."""
    artist, title = shop.filed()["Umberlow/Pier/Shed master.tif"].split(": ")
    piece = shop.piece(artist, title)
    correcting.describe_piece(shop.db, piece.id, {"title": "Shed by the Pier"})
    correcting.state_names(shop.db, {}, [(artist, "Shed by the Pier", "The Shed")])
    assert shop.filed()["Umberlow/Pier/Shed master.tif"] == f"{artist}: The Shed"
    correcting.state_names(shop.db, {}, [(artist, title, "Shed")])
    assert shop.filed()["Umberlow/Pier/Shed master.tif"] == f"{artist}: Shed"
    assert len([one for one in shop.filed().values() if "Shed" in one]) == 1


def test_the_preview_of_what_is_on_record_names_artists_as_they_are_called_now(shop: Shop) -> None:
    artist = shop.piece(*shop.filed()["Umberlow/Pier/Shed master.tif"].split(": ")).artist_id
    correcting.rename_artist(shop.db, artist, "Una Umberlow")
    named = place_rules.named_on_record(shop.db, replace(shop.home), ())
    assert {guess.artist for _, guess in named} == {"Una Umberlow"}
