"""Print files from the screens: from the list of orders and from the job sheet, stopped, refused, and said in words."""

import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from textual.widgets import Input, Static

from catalogue.operations import print_files as operation
from catalogue.print_files.recipe import from_json
from catalogue.records import print_files
from catalogue.records.database import open_database
from catalogue.screens.actions.repeating import offer_repeat
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.confirm import ConfirmDialog
from catalogue.screens.dialogs.sheet import JobSheetPanel
from catalogue.screens.pictures.picture import Picture
from catalogue.settings import Home, Settings
from catalogue.sheets.layout import recipe_layout
from tests.copies import copy_shop
from tests.operations.test_print_files import PrintShop, built
from tests.operations.test_print_recipes import OldShop
from tests.operations.test_same_everywhere import rot
from tests.screens.shop import held_up, running, said, settled, until, words
from tests.waiting import HANG_SECONDS

__all__ = ["built"]


@pytest.fixture
def print_shop(built: Path, tmp_path: Path) -> PrintShop:
    """Two masters and an order K-1 of two lines; the settings name the folder of the printer."""
    made = PrintShop(tmp_path)
    copy_shop(built, tmp_path, made.home)
    made.home = Home(made.home.folder, Settings(workers=1, print_folder=str(made.hot)))
    return made


def app_of(pilot: Any) -> CatalogueApp:
    assert isinstance(pilot.app, CatalogueApp)
    return pilot.app


async def over(pilot: Any) -> str:
    """Wait for the end of the long work; all that was said."""
    await until(pilot, lambda: app_of(pilot).work is None)
    await settled(pilot)
    return "\n".join(said(pilot))


def row_of(app: CatalogueApp) -> int:
    return int(app.screen._line.line.id)  # type: ignore[attr-defined]


async def test_a_line_of_the_list_is_made_and_made_again_bit_for_bit(print_shop: PrintShop) -> None:
    async with running(print_shop.home, place="orders") as pilot:
        line = row_of(app_of(pilot))
        await pilot.press("w")
        first = await over(pilot)
        made, = print_shop.made()
        assert made.line_id == line and f"Print file finished. {print_shop.hot / made.name}" in first
        (print_shop.hot / made.name).unlink()
        await pilot.press("w")
        again = await over(pilot)
        assert "bit for bit" in again
        assert (print_shop.hot / made.name).is_file()


async def test_marked_lines_are_made_one_after_the_other(print_shop: PrintShop) -> None:
    async with running(print_shop.home, place="orders") as pilot:
        await pilot.press("space", "down", "space", "w")
        assert "2 print files made, 0 not made" in await over(pilot)
        assert {file.line_id for file in print_shop.made()} == {1, 2}


async def test_the_job_sheet_makes_it_and_then_names_it(print_shop: PrintShop) -> None:
    async with running(print_shop.home, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("p")
        await settled(pilot)
        assert isinstance(app.screen, JobSheetPanel)
        await pilot.press("w")
        await over(pilot)
        made, = print_shop.made()
        assert str(print_shop.hot / made.name) in str(app.screen.query_one("#sheet-said", Static).content)
        assert made.name in words(pilot) and made.sha256[:16] in words(pilot)


async def test_it_stops_when_asked_and_leaves_nothing_behind(print_shop: PrintShop,
                                                             monkeypatch: pytest.MonkeyPatch) -> None:
    real, begun = operation.render, []

    def slow(*given: Any, cancelled: Callable[[], bool], **options: Any) -> Any:
        """Begins to write once it was stopped, which is as if it were stopped midway."""
        begun.append(True)
        end = time.monotonic() + HANG_SECONDS
        while not cancelled() and time.monotonic() < end:
            time.sleep(0.001)
        return real(*given, cancelled=cancelled, **options)

    monkeypatch.setattr(operation, "render", slow)
    async with running(print_shop.home, place="orders") as pilot:
        await pilot.press("p")
        await settled(pilot)
        await pilot.press("w")
        await until(pilot, lambda: begun)
        await pilot.press("x")
        assert "Print file stopped." in await over(pilot)
        assert not list(print_shop.hot.iterdir()) and not print_shop.made()


@pytest.mark.parametrize("key", ["w", "p"])
async def test_without_a_folder_it_is_said_what_to_set(print_shop: PrintShop, key: str) -> None:
    async with running(Home(print_shop.home.folder, Settings(workers=1)), place="orders") as pilot:
        await pilot.press(key)
        await settled(pilot)
        if key == "p":
            await pilot.press("w")
        assert "print_folder in settings.toml" in await over(pilot)


async def test_a_damaged_master_gives_no_print_file_but_a_word_and_a_finding(print_shop: PrintShop) -> None:
    async with running(print_shop.home, place="orders") as pilot:
        with closing(open_database(print_shop.home.database)) as db:
            line = operation.chosen_lines(db, [row_of(app_of(pilot))])[0]
        rot(print_shop.folder / f"main/Ada Quill/{line.title}/master.tif")
        await pilot.press("w")
        told = await over(pilot)
        assert "master.tif" in told
        assert not list(print_shop.hot.iterdir())
        with closing(open_database(print_shop.home.database)) as db:
            assert print_files.of_line(db, line.id) == []
            assert "changed" in {row[0] for row in db.execute("SELECT kind FROM finding WHERE resolved IS NULL")}


async def test_a_cancelled_line_is_refused_in_words(print_shop: PrintShop) -> None:
    assert print_shop.call("order", "status", "K-1", "cancelled")[0] == 0
    async with running(print_shop.home, place="orders") as pilot:
        await pilot.press("w")
        assert "was cancelled" in await over(pilot)
        assert not list(print_shop.hot.iterdir())


async def test_the_repeat_panel_draws_what_will_be_printed_and_follows_the_fields(print_shop: PrintShop) -> None:
    """Last time's crop, turn, bleed and marks are proposed; what is typed changes the drawing before any answer."""
    print_shop.print("--line", 1, "--to", print_shop.hot, "--crop", "60,60,400,500", "--turn", "180", "--bleed", 3,
                     "--marks")
    recipe = from_json(print_shop.made()[0].recipe)
    async with running(print_shop.home) as pilot:
        app = app_of(pilot)
        offer_repeat(app, line_id=1)
        await settled(pilot)
        picture = app.screen.query_one(Picture)
        assert picture._layout == recipe_layout(recipe, 600, 840)
        text = str(app.screen.query_one("#repeat-words", Static).content)
        assert "turned 180°; crop 400 × 500 px from 60, 60; bleed 3 mm; with marks" in text
        assert "┄ cut, with bleed outside it; corner marks" in text
        with held_up(app):
            app.screen.query_one("#repeat-size", Input).value = "4 x 6 cm"
            await until(pilot, lambda: picture._layout == recipe_layout(replace(recipe, width_mm=40, height_mm=60),
                                                                        600, 840))
            app.screen.query_one("#repeat-border", Input).value = "5"
            await until(pilot, lambda: picture._layout == recipe_layout(
                replace(recipe, width_mm=40, height_mm=60, border_mm=5), 600, 840))


async def test_the_repeat_panel_says_why_no_print_file_can_be_made(print_shop: PrintShop) -> None:
    assert print_shop.call("order", "correct", "K-1", "--line", 2, "--edge", "grey")[0] == 0
    async with running(print_shop.home) as pilot:
        app = app_of(pilot)
        offer_repeat(app, line_id=2)
        await settled(pilot)
        assert "No print file can be made like this: " in str(app.screen.query_one("#repeat-words", Static).content)
        assert app.screen.query_one(Picture)._layout is not None, "drawn as the order says"


async def test_the_recipe_of_an_old_print_file_is_found_from_the_pieces_page(tmp_path: Path) -> None:
    """Proposed with how far it departs; recorded when the person agrees; then the page shows it."""
    old = OldShop(tmp_path)
    old.write((tifffile.imread(old.old) * 0.99).astype(np.uint16))      # made a little darker afterwards
    old.begin()
    home = Home(old.home.folder, Settings(workers=1))
    async with running(home) as pilot:
        app = app_of(pilot)
        await pilot.press("enter")
        await settled(pilot)
        scans: Any = app.screen.query_one("#scans")
        scans.cursor_row = next(at for at, row in enumerate(scans.rows_held) if row.scan.role == "print file")
        await settled(pilot)
        assert "No recipe on record: press R to find it." in str(app.screen.query_one("#scan-words", Static).content)
        await pilot.press("R")
        await until(pilot, lambda: app.work is None and isinstance(app.screen, ConfirmDialog))
        text = " ".join(str(part.content) for part in app.screen.query(Static))
        assert "turned 180°" in text and "ΔE00" in text
        await pilot.press("enter")
        await settled(pilot)
        assert "Recipe 50 × 70 mm at 100 ppi" in str(app.screen.query_one("#scan-words", Static).content)
    with closing(open_database(home.database)) as db:
        assert print_files.confirmed_recipe(db, old.scan) is not None
