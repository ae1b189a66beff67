"""A small shop's 46 scans, named as shops name them and without tags: what every new user's first hour looks like.

The habits of naming are common practice, no source.
"""

import random
import unicodedata

import pytest

from catalogue.filing.guess import FileFacts, Guess, guess_all
from catalogue.filing.titles import title_key

JOHN, CLAIRE, ANNA, MARY = "John Wetherlam", "Claire Dubrelle", "Anna Leith", "Mary Anna Leith"
SHOP = {
    # orders: a number and a name, prints apart, captures in raw
    "JOBS/2021/2021-034 Dubrelle/Citrons.tif": (CLAIRE, "Citrons", "master"),
    "JOBS/2021/2021-034 Dubrelle/FOR PRINT/CDubrelle Citrons 30x24 300dpi.tif": (CLAIRE, "Citrons", "print file"),
    "JOBS/2021/2021-034 Dubrelle/FOR PRINT/CDubrelle Citrons 50x40 300dpi.tif": (CLAIRE, "Citrons", "print file"),
    "JOBS/2021/2021-034 Dubrelle/raw/Citrons_01.tif": (CLAIRE, "Citrons", "tile"),
    "JOBS/2021/2021-034 Dubrelle/raw/Citrons_02.tif": (CLAIRE, "Citrons", "tile"),
    "JOBS/2021/2021-034 Dubrelle/raw/Citrons_03.tif": (CLAIRE, "Citrons", "tile"),
    "JOBS/2021/2021-034 Dubrelle/raw/Citrons_04.tif": (CLAIRE, "Citrons", "tile"),
    "JOBS/2021/2021-051 Wetherlam, John/Slack Water.tif": (JOHN, "Slack Water", "master"),
    "JOBS/2021/2021-051 Wetherlam, John/FOR PRINT/JWetherlam Slack Water A2 300dpi.tif": (
        JOHN, "Slack Water", "print file"),
    "JOBS/2021/2021-051 Wetherlam, John/raw/Slack_Water_01.tif": (JOHN, "Slack Water", "tile"),
    "JOBS/2021/2021-051 Wetherlam, John/raw/Slack_Water_02.tif": (JOHN, "Slack Water", "tile"),
    "JOBS/2022/2022-007 Claire Dubrelle/Figs and Knife.tif": (CLAIRE, "Figs and Knife", "master"),
    "JOBS/2022/2022-007 Claire Dubrelle/FOR PRINT/CDubrelle Figs and Knife 30x24 300dpi.tif": (
        CLAIRE, "Figs and Knife", "print file"),
    "JOBS/2022/2022-007 Claire Dubrelle/raw/Figs_and_Knife_01.tif": (CLAIRE, "Figs and Knife", "tile"),
    "JOBS/2022/2022-007 Claire Dubrelle/raw/Figs_and_Knife_02.tif": (CLAIRE, "Figs and Knife", "tile"),
    "JOBS/2022/2022-031 J Wetherlam/Ropewalk.tif": (JOHN, "Ropewalk", "master"),
    "JOBS/2022/2022-031 J Wetherlam/FOR PRINT/JWetherlam Ropewalk 50x70 300dpi.tif": (JOHN, "Ropewalk", "print file"),
    "JOBS/2022/2022-031 J Wetherlam/raw/Ropewalk_01.tif": (JOHN, "Ropewalk", "tile"),
    "JOBS/2022/2022-031 J Wetherlam/raw/Ropewalk_02.tif": (JOHN, "Ropewalk", "tile"),
    # a folder a year, an artist written three ways
    "2021/Wetherlam, John/Low Tide.tif": (JOHN, "Low Tide", "master"),
    "2021/Wetherlam, John/Low Tide copy.tif": (JOHN, "Low Tide", "master"),
    "2021/Wetherlam, John/Low Tide FINAL v2.tif": (JOHN, "Low Tide", "master"),
    "2021/Wetherlam, John/Low Tide web.jpg": (JOHN, "Low Tide", "reference"),
    "2022/J Wetherlam/Spider web.tif": (JOHN, "Spider web", "master"),
    "2022/J Wetherlam/Spider web 30x40cm canvas.tif": (JOHN, "Spider web", "print file"),
    "2022/John Wetherlam/The Final Harvest.tif": (JOHN, "The Final Harvest", "master"),
    "2022/John Wetherlam/The Final Harvest print 40x50.tif": (JOHN, "The Final Harvest", "print file"),
    "2022/John Wetherlam/The Print Room.tif": (JOHN, "The Print Room", "master"),
    "2022/John Wetherlam/The Print Room web.jpg": (JOHN, "The Print Room", "reference"),
    # two of one family, and series
    "2020/Mary Anna Leith/Tides I.tif": (MARY, "Tides I", "master"),
    "2020/Mary Anna Leith/Tides II.tif": (MARY, "Tides II", "master"),
    "2020/Mary Anna Leith/Tides III.tif": (MARY, "Tides III", "master"),
    "2020/Mary Anna Leith/Triptych I (of 3).tif": (MARY, "Triptych I", "master"),
    "2020/Mary Anna Leith/Triptych II (of 3).tif": (MARY, "Triptych II", "master"),
    "2020/Anna Leith/Blue Door.tif": (ANNA, "Blue Door", "master"),
    "2020/Anna Leith/Blue Door (2).tif": (ANNA, "Blue Door", "master"),
    "2020/Anna Leith/Blue Door 600ppi AdobeRGB.tif": (ANNA, "Blue Door", "master"),
    "2020/Anna Leith/Red Sky 2019.tif": (ANNA, "Red Sky", "master"),
    "2020/Anna Leith/Number 17.tif": (ANNA, "Number 17", "master"),
    "2020/Anna Leith/Number 19.tif": (ANNA, "Number 19", "master"),
    # what nobody filed
    "to sort/scan0001.tif": ("", "", "master"),
    "to sort/scan0002.tif": ("", "", "master"),
    "to sort/IMG_2231.jpg": ("", "", "reference"),
    "to sort/Untitled-1.tif": ("", "", "master"),
    "to sort/Ropewalk.tif": (JOHN, "Ropewalk", "master"),
    "to sort/Image (7).tif": ("", "", "master"),
}


def guess(paths: list[str]) -> dict[str, Guess]:
    facts = [FileFacts(p, format="JPEG" if p.endswith("jpg") else "TIFF", width=8000, height=6000) for p in paths]
    return dict(zip(paths, guess_all(facts), strict=True))


def told(guessed: Guess) -> tuple[str, str, str]:
    return guessed.artist.value, guessed.piece.value, guessed.role.value


@pytest.mark.parametrize("path", SHOP)
def test_every_scan_of_a_small_shop_is_filed_as_a_person_would(path: str) -> None:
    assert told(guess(list(SHOP))[path]) == SHOP[path]


def test_no_folder_of_years_or_orders_is_an_artist_and_three_spellings_are_one() -> None:
    assert {g.artist.value for g in guess(list(SHOP)).values()} == {JOHN, CLAIRE, ANNA, MARY, ""}


def test_the_order_in_which_files_are_met_changes_nothing() -> None:
    paths = list(SHOP)
    random.Random(11).shuffle(paths)
    assert {p: told(g) for p, g in guess(paths).items()} == SHOP


@pytest.mark.parametrize("stem", [
    "é" * 127 + "x", "[master] (2) {x}", "שלום עולם", "a\u202eb", "Low\x07Tide", "- - -", "()", "1", "___", "第", "님",
])
def test_odd_names_among_others_are_guessed_without_error(stem: str) -> None:
    guessed = guess([*SHOP, f"2021/Wetherlam, John/{stem}.tif", f"{stem}/{stem}/{stem}.tif"])
    assert {p: told(g) for p, g in guessed.items() if p in SHOP} == SHOP


def test_files_that_differ_in_case_or_unicode_form_only_are_one_piece() -> None:
    names = ("Débâcle", unicodedata.normalize("NFD", "Débâcle"), "DÉBÂCLE")
    guessed = guess([*SHOP, *(f"2022/John Wetherlam/{name}.tif" for name in names)])
    assert {title_key(guessed[f"2022/John Wetherlam/{name}.tif"].piece.value) for name in names} == {"debacle"}
    assert len({guessed[f"2022/John Wetherlam/{name}.tif"].piece.value for name in names}) == 1


def guessed(shop: dict[str, tuple[str, int]]) -> dict[str, Guess]:
    """By path the guesses of a shop given as path: format and long side."""
    facts = [FileFacts(path, format=kind, width=side, height=side * 3 // 4) for path, (kind, side) in shop.items()]
    return dict(zip(shop, guess_all(facts), strict=True))


@pytest.mark.parametrize(("beside", "kind", "side", "piece", "role"), [
    ("Spider web.tif", "TIFF", 9000, "Spider web", "master"),
    ("Spider web.tif", "TIFF", 0, "Spider web", "master"),  # seen, not read
    ("Spider web.tif", "TIFF", 1600, "Spider", "reference"),
    ("Spider web.jpg", "JPEG", 1600, "Spider", "reference"),
    ("Spider web.jpg", "JPEG", 9000, "Spider", "reference"),
    ("Spider - web.tif", "TIFF", 9000, "Spider", "reference"),
    ("Spider detail.tif", "TIFF", 9000, "Spider", "reference"),
])
def test_a_whole_scan_is_no_picture_for_the_web(beside: str, kind: str, side: int, piece: str, role: str) -> None:
    shop = {f"Clients/Anna Leith/{title}.tif": ("TIFF", 9000) for title in ("Spider", "Moor", "Low Tide", "Blue Door")}
    made = guessed({**shop, f"Clients/Anna Leith/{beside}": (kind, side)})
    guess = made[f"Clients/Anna Leith/{beside}"]
    assert (guess.piece.value, guess.role.value) == (piece, role)
    assert made["Clients/Anna Leith/Spider.tif"].piece.value == "Spider"


def test_likeness_files_a_whole_scan_for_the_web_with_its_piece() -> None:
    paths = ("Clients/Anna Leith/Spider.tif", "Clients/Anna Leith/Spider web.tif", "Clients/Anna Leith/Moor.tif")
    made = guess_all([FileFacts(path, width=9000, height=7000, group=1 if "Spider" in path else None)
                      for path in paths])
    assert len({title_key(guess.piece.value) for guess in made[:2]}) == 1


def test_an_artists_name_ends_before_a_title_with_a_comma() -> None:
    shop = {f"Scans/Ottoline Brackwater/{title}.tif": ("TIFF", 9000)
            for title in ("Kitchen Window", "Harbour at Night", "Clay Field", "Slipway,_Early_master")}
    shop |= {f"Print/Ottoline Brackwater/{title} A2 print.tif": ("TIFF", 6000)
             for title in ("Kitchen Window", "Clay Field", "Slipway, Early")}
    shop |= {f"Scans/Marnie Ellwick/{title}.tif": ("TIFF", 9000) for title in ("Above the Weir", "Moor", "Blue Door")}
    shop |= {"Print/Brackwater Slipway, Early 8x10 300dpi.tif": ("TIFF", 6000),
             "web/Ottoline Brackwater Slipway, Early web.jpg": ("JPEG", 1500),
             "Scans/Marnie Ellwick/web/Above the Weir.jpg": ("JPEG", 1500),
             "to sort/Marnie Ellwick - Fox, Sleeping.tif": ("TIFF", 9000)}
    made = guessed(shop)
    assert {(made[path].artist.value, made[path].piece.value) for path in shop if "Early" in path} == {
        ("Ottoline Brackwater", "Slipway, Early")}
