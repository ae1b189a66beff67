"""Artist, piece and role guessed from whole trees of names. The habits of naming are common practice, no source."""

import random
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.filing.guess import FileFacts, Guess, guess_all
from catalogue.filing.names import read_name
from catalogue.filing.titles import read_title, title_key
from scripts import names_generator
from scripts.bench_names import judged, wrong_joins
from scripts.names_shops import SHOPS, Shop

MESSY = {
    "JOBS/2021/2021-034 Dubrelle/FOR PRINT/CDubrelle Citrons 30x24 300dpi.tif": (
        "Claire Dubrelle", "Citrons", "print file"),
    "JOBS/2022/2022-007 Claire Dubrelle/Citrons.tif": ("Claire Dubrelle", "Citrons", "master"),
    "JOBS/2022/2022-007 Claire Dubrelle/raw/Citrons_01.tif": ("Claire Dubrelle", "Citrons", "tile"),
    "JOBS/2022/2022-007 Claire Dubrelle/raw/Citrons_02.tif": ("Claire Dubrelle", "Citrons", "tile"),
    "2021/Wetherlam, John/Low Tide.tif": ("John Wetherlam", "Low Tide", "master"),
    "2021/Wetherlam, John/Low Tide copy.tif": ("John Wetherlam", "Low Tide", "master"),
    "2022/J Wetherlam/Spider web.tif": ("John Wetherlam", "Spider web", "master"),
    "2022/John Wetherlam/The Final Harvest.tif": ("John Wetherlam", "The Final Harvest", "master"),
    "2022/John Wetherlam/The Print Room.tif": ("John Wetherlam", "The Print Room", "master"),
    "2022/John Wetherlam/The Print Room web.jpg": ("John Wetherlam", "The Print Room", "reference"),
    "2020/Mary Anna Leith/Tides I.tif": ("Mary Anna Leith", "Tides I", "master"),
    "2020/Mary Anna Leith/Tides II.tif": ("Mary Anna Leith", "Tides II", "master"),
    "2020/Mary Anna Leith/Triptych I (of 3).tif": ("Mary Anna Leith", "Triptych I", "master"),
    "2020/Anna Leith/Blue Door.tif": ("Anna Leith", "Blue Door", "master"),
    "2020/Anna Leith/Red Sky.tif": ("Anna Leith", "Red Sky", "master"),
    "to sort/scan0001.tif": ("", "", "master"),
    "to sort/IMG_2231.jpg": ("", "", "reference"),
}


def facts(path: str) -> FileFacts:
    return FileFacts(path, format="JPEG" if path.endswith("jpg") else "TIFF", width=8000, height=6000)


def told(guess: Guess) -> tuple[str, str, str]:
    return guess.artist.value, guess.piece.value, guess.role.value


def test_a_messy_folder_is_read_as_a_person_would() -> None:
    guesses = guess_all([facts(path) for path in MESSY])
    assert {path: told(guess) for path, guess in zip(MESSY, guesses, strict=True)} == MESSY


def test_the_order_of_the_files_does_not_matter() -> None:
    paths = list(MESSY)
    random.Random(7).shuffle(paths)
    guesses = guess_all([facts(path) for path in paths])
    assert {path: told(guess) for path, guess in zip(paths, guesses, strict=True)} == MESSY


def test_every_guess_says_how_sure_it_is_and_why() -> None:
    for guess in guess_all([facts(path) for path in MESSY]):
        for value in (guess.artist, guess.piece, guess.role):
            assert 0 <= value.certainty < 1
            assert bool(value.value) == (value.certainty > 0)
            assert value.reason or not value.value


def test_files_that_show_one_piece_get_one_piece() -> None:
    named = FileFacts("Nell Ashgrove/Harbour.tif", group=1)
    lost = FileFacts("to sort/scan0007.tif", group=1)
    other = FileFacts("Nell Ashgrove/Low Tide.tif", group=2)
    guesses = guess_all([named, lost, other, FileFacts("Nell Ashgrove/Ebb.tif")])
    assert told(guesses[1])[:2] == ("Nell Ashgrove", "Harbour")
    assert "Nell Ashgrove/Harbour.tif" in guesses[1].piece.reason
    assert guesses[2].piece.value == "Low Tide"


def test_what_a_file_states_outweighs_its_folders() -> None:
    guess = guess_all([FileFacts("2021/Smith/scan1.tif", title="Ebb", creator="Nell Ashgrove")])[0]
    assert told(guess)[:2] == ("Nell Ashgrove", "Ebb")


def test_an_ambiguous_surname_is_left_open_and_says_so() -> None:
    guesses = guess_all([facts(p) for p in (
        "2020/Mary Anna Leith/Ebb.tif", "2020/Mary Anna Leith/Flow.tif", "2020/Anna Leith/Blue Door.tif",
        "2020/Anna Leith/Red Sky.tif", "2021/Leith/Old Pier.tif")])
    assert guesses[-1].artist.value == ""
    assert "Anna Leith or Mary Anna Leith" in guesses[-1].artist.reason


def test_one_name_with_the_family_first_turns_no_other() -> None:
    guesses = guess_all([FileFacts(path) for path in (
        "Mizuno Haruka/Yuki.tif", "Leopold Fass/Weir.tif", "Leopold Fass/Quay.tif", "Marit Saarela/Birch.tif",
        "Marit Saarela/Blue Door.tif")])
    assert [guess.artist.value for guess in guesses] == [
        "Haruka Mizuno", *["Leopold Fass"] * 2, *["Marit Saarela"] * 2]


def test_an_artist_whose_titles_another_has_too_is_no_purpose() -> None:
    """Nor does a surname's folder go to the third of that name."""
    rowan = [f"Scans/Rowan Leith/{title}.tif" for title in ("Quay", "Moor", "Mill", "Lock", "Dale")]
    guesses = guess_all([FileFacts(path) for path in (
        "Scans/Anneke Leith/Weir.tif", "Scans/Anneke Leith/Quay.tif", "Scans/Leith/Weir new.tif",
        "Scans/Leith/Garden.tif", *rowan, "Scans/Marit Saarela/Birch.tif", "Scans/Marit Saarela/Fence.tif")])
    assert [guess.artist.value for guess in guesses] == [
        *["Anneke Leith"] * 2, "", "", *["Rowan Leith"] * 5, *["Marit Saarela"] * 2]


@pytest.mark.parametrize(("name", "title"), [
    ("Low Tide 50x70cm 300dpi", "Low Tide"), ("Low Tide - FINAL v2", "Low Tide"), ("low_tide_600ppi_16bit", "low tide"),
    ("2019-05-03 Low Tide", "Low Tide"), ("Low Tide (2)", "Low Tide"), ("Low Tide A3 AdobeRGB", "Low Tide"),
    ("The Print", "The Print"), ("Final", ""), ("Ombre et toile", "Ombre et toile"), ("Spider web", "Spider web"),
    ("16 Kites final FINAL", "16 Kites"), ("Kites_final_FINAL_v2", "Kites"), ("The Final Copy v2", "The Final Copy"),
    ("Salt final", "Salt final"), ("The Final Copy", "The Final Copy"),
    ("Harbour [master]", "Harbour"), ("No 7", "No 7"), ("Blue Jug (miniature)", "Blue Jug (miniature)"),
    ("[sold] Blue Jug", "[sold] Blue Jug"), ("(sold) Blue Jug v2", "(sold) Blue Jug"),
])
def test_only_what_is_surely_no_title_is_taken_off(name: str, title: str) -> None:
    read = read_name(name)
    assert read_title(read, 0, len(read.tokens) - 1).text == title


@given(st.lists(st.sampled_from(
    ["Harbour", "print", "web", "final", "of", "the", "Tide", "raw", "2", "copy", "Blue", "-", "_", "30x40", "2019"]),
    min_size=1, max_size=8))
def test_a_title_is_one_stretch_of_its_name(parts: list[str]) -> None:
    """Never a word from inside: what is left stands in the name as it was, one piece."""
    name = read_name(" ".join(parts))
    title = read_title(name, 0, len(name.tokens) - 1).text
    assert title_key(title) in title_key(" ".join(parts))


@given(st.text(max_size=255), st.text(max_size=40))
def test_no_name_is_too_odd(stem: str, folder: str) -> None:
    """Brackets, right-to-left, control characters, lone surrogates: a guess, never an error."""
    folder = folder.replace("/", "") or "x"
    guess = guess_all([FileFacts(f"{folder}/{stem.replace('/', '')}.tif"), FileFacts(f"{folder}/x.tif")])[0]
    assert guess.role.value


def test_shops_made_by_dice_are_mostly_guessed_right() -> None:
    """Habits combined at random, in languages that the vocabulary does not know; a little below the bench's figures."""
    counts: Counter[tuple[str, str]] = Counter()
    for seed in range(6):
        truths = names_generator.shop(seed, 100)
        guesses = guess_all([FileFacts(t.path, format=t.format, width=t.width, height=t.height) for t in truths])
        counts.update((kind, judged(kind, t, g)) for t, g in zip(truths, guesses, strict=True)
                      for kind in ("artist", "piece", "role"))
    for kind in ("artist", "piece", "role"):
        assert counts[kind, "right"] >= .93 * (counts[kind, "right"] + counts[kind, "wrong"])


@pytest.mark.parametrize("shop", [shop for shop in SHOPS if not shop.held_out], ids=lambda shop: shop.name)
def test_shops_are_guessed_right(shop: Shop) -> None:
    """The bench's figures, a little lower, shop by shop; no two pieces are ever filed as one."""
    truths = shop.archive()
    guesses = guess_all([FileFacts(t.path, format=t.format, width=t.width, height=t.height) for t in truths])
    for kind, least in (("artist", .97), ("piece", .97), ("role", .97)):
        verdicts = [judged(kind, t, g) for t, g in zip(truths, guesses, strict=True)]
        assert verdicts.count("right") >= least * (len(verdicts) - verdicts.count("unsorted"))
    assert wrong_joins(truths, guesses) == 0


@pytest.mark.parametrize(("paths", "artists"), [
    (["Jobs/2021-034 Quarrenby Two Boats/two_boats", "Jobs/2021-040 Quarrenby Slack Water/slack_water",
      "Jobs/2021-041 Quarrenby Low Field/low_field", "Jobs/2021-051 Aldermere Moor at Night/moor_at_night",
      "Jobs/2021-052 Aldermere Kites/kites", "Jobs/2021-053 Aldermere Old Pier/old_pier"], {"Quarrenby", "Aldermere"}),
    (["Artists/Nicanor Almensol Sotero/Patio", "Artists/Nicanor Almensol Sotero/Puerto",
      "2019/Almensol Sotero/Siesta", "2019/Almensol Sotero/Naranjas"], {"Nicanor Almensol Sotero"}),
    (["Artists/de la Brunelle, Odile/Jardin", "Artists/de la Brunelle, Odile/Quai",
      "Artists/Lecourbet, Anatole/Port", "Artists/Lecourbet, Anatole/Neige"],
     {"Odile de la Brunelle", "Anatole Lecourbet"}),
    (["Ida Fernlow/Low Tide (Ida)/Low Tide (Ida) print 30x40", "Ida Fernlow/Low Tide (Ida)/tile 1",
      "Ida Fernlow/Dusk (Ida)/proof", "Ida Fernlow/Kites/kites", "Tom Brekke/Dusk/dusk", "Tom Brekke/Salt/salt"],
     {"Ida Fernlow", "Tom Brekke"}),
], ids=["words beside a title that files repeat", "two family names", "a family of small words",
        "titles with her own name behind them"])
def test_an_artist_is_known_in_every_form_of_a_name(paths: list[str], artists: set[str]) -> None:
    assert {guess.artist.value for guess in guess_all([facts(f"{path}.tif") for path in paths])} == artists
