"""Names guessed for scans on record: a scan is guessed from the names of all its files."""

from collections.abc import Callable
from itertools import permutations
from pathlib import Path

import pytest

from catalogue.indexing.guessing import guess_scans
from catalogue.indexing.naming import NO_TAGS
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.operations.place_rules import named_on_record
from catalogue.records import guesses
from catalogue.records.database import Database
from catalogue.records.guesses import Guess, Located, located
from catalogue.settings import Home

TREE = ("Mara Vint/Harbour.tif", "Mara Vint/Meadow.tif", "Otto Brell/Pier.tif", "Otto Brell/Orchard.tif")


def guessed_in_tree(home: Home, same: tuple[str, ...]) -> Guess:
    """The guess of a scan that lies in these files, among those of TREE."""
    scans = [Located(number, paths, "TIFF", 80, 60, NO_TAGS, None)
             for number, paths in enumerate([*((path,) for path in TREE), same])]
    return guess_scans(home, scans)[len(TREE)]


@pytest.mark.parametrize("same", permutations(("Mara Vint/Low Tide.tif", "Mara Vint/Low Tide copy.tif")))
def test_a_copy_beside_its_file_does_not_name_the_piece(home: Home, same: tuple[str, ...]) -> None:
    guess = guessed_in_tree(home, same)
    assert (guess.artist, guess.title) == ("Mara Vint", "Low Tide")


@pytest.mark.parametrize("same", permutations(("Mara Vint/Low Tide print 60x40.tif", "Mara Vint/Low Tide.tif")))
def test_a_master_whose_copy_was_named_for_printing_stays_a_master(home: Home, same: tuple[str, ...]) -> None:
    guess = guessed_in_tree(home, same)
    assert (guess.artist, guess.title, guess.role) == ("Mara Vint", "Low Tide", "master")


def test_a_scan_is_named_by_whichever_file_says_most(db: Database, home: Home, scan: Callable[..., Path],
                                                     tmp_path: Path) -> None:
    (tmp_path / "main").mkdir()
    store = add_store(db, "main", tmp_path / "main", "primary", consent=True)
    for seed, path in enumerate(TREE):
        scan(f"main/{path}", seed=seed)
    for path in ("0 to sort/scan0001.tif", "Mara Vint/Low Tide.tif"):   # one after the other: the second comes later
        scan(f"main/{path}", seed=100)
        index(db, home, [store])
    names = {path: (guess.artist, guess.title) for path, guess in named_on_record(db, home, ())}
    assert names["0 to sort/scan0001.tif"] == names["Mara Vint/Low Tide.tif"] == ("Mara Vint", "Low Tide")
    same, = (item for item in located(db) if len(item.paths) > 1)
    on_record = guesses.of_scan(db, same.scan_id)
    assert on_record and (on_record.artist, on_record.title) == ("Mara Vint", "Low Tide")
