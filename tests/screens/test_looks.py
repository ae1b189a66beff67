"""What a person would wince at: clipped words, empty lists without a next step, keys named that do nothing."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from textual.widgets import Input, Static

from catalogue.records.database import open_database
from catalogue.records.upkeep_lists import Coverage, Growth
from catalogue.screens.actions.repeating import offer_repeat
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.audit import budget_of
from catalogue.screens.pages.health import HealthView, plot_words
from catalogue.screens.pages.names import NamesPage
from catalogue.screens.widgets.bars import KeyLine
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home
from tests.screens.shop import piece_never_ordered, running, said, settled, until, words

SMALL = (80, 24)


def key_line(pilot: Any) -> str:
    return str(pilot.app.screen.query_one(KeyLine).render())


def sums(pilot: Any) -> str:
    return str(pilot.app.screen.query_one("#orders-sums", Static).render())


@asynccontextmanager
async def of_no_orders(folder: Path) -> AsyncIterator[Any]:
    home = Home(folder)
    open_database(home.database).close()
    async with running(home, place="orders") as pilot:
        yield pilot


async def test_a_filter_that_fits_no_order_says_how_to_go_on(shop: Home) -> None:
    async with running(shop, SMALL, place="orders") as pilot:
        await pilot.press("f", *"zzz")
        await settled(pilot)
        assert "No order line matches" in sums(pilot)
        assert "Esc" in key_line(pilot)
        await pilot.press("escape", "escape")
        await settled(pilot)
        assert pilot.app.screen.query_one(RowTable).row_count and "prints" in sums(pilot)


async def test_a_list_of_no_orders_says_how_the_first_is_made(tmp_path: Path) -> None:
    async with of_no_orders(tmp_path / "home") as pilot:
        assert "No orders yet" in sums(pilot) and "r" in sums(pilot)


async def test_labels_of_a_form_keep_off_their_fields(shop: Home) -> None:
    async with running(shop) as pilot:
        await pilot.press("e")
        await settled(pilot)
        screen = pilot.app.screen
        for label, field in zip(screen.query("#form-grid Label"), screen.query("#form-grid Input"), strict=True):
            assert label.content_region.right < field.region.x, label


async def test_a_form_names_no_key_that_does_nothing_in_it(shop: Home) -> None:
    async with running(shop, place="orders") as pilot:
        await pilot.press("b")
        await settled(pilot)
        await pilot.press("e")
        await settled(pilot)
        assert "save" in key_line(pilot)
        assert "as guessed" not in key_line(pilot) and "match" not in key_line(pilot)


async def test_the_words_of_the_names_are_of_the_list_with_the_cursor(shop: Home) -> None:
    async with running(shop, place="stores") as pilot:
        await pilot.press("n")
        await until(pilot, lambda: isinstance(pilot.app.screen, NamesPage)
                    and pilot.app.screen.query_one("#filed", RowTable).row_count > 0)
        await settled(pilot)
        page = pilot.app.screen
        for name, attribute in (("levels", "folder"), ("filed", "artist")):
            page.query_one(f"#{name}").focus()
            await settled(pilot)
            row = page.query_one(f"#{name}", RowTable).highlighted
            value = getattr(row, attribute)
            shown = str(page.query_one("#names-words", Static).render())
            assert shown.startswith("/".join(value) if isinstance(value, tuple) else value or "Unsorted"), name


def test_one_scan_of_a_year_is_one() -> None:
    view = HealthView((), (Growth("2026", 1, 46_700),), {}, Coverage(0, 0, 0, 0, 0, 0))
    assert "2026: 1 scan," in str(plot_words(view, 60, 5)) and "1 scans" not in str(plot_words(view, 60, 5))


@pytest.mark.parametrize(("typed", "told"), [
    (("-3", "", ""), "-3 minutes"), (("", "0", ""), "0 gigabytes"), (("", "", "101"), "100 per cent")])
def test_a_limit_that_cannot_be_says_what_can(typed: tuple[str, str, str], told: str) -> None:
    with pytest.raises(ValueError, match=told) as wrong:
        budget_of(*typed)
    assert str(wrong.value)[0] != "i" and str(wrong.value)[-9:] != "cannot be"


@pytest.mark.parametrize("keys", [("5",), ("6", "a")])
async def test_what_stands_in_fields_and_ticks_is_not_cut_on_a_small_screen(shop: Home, keys: tuple[str, ...]) -> None:
    async with running(shop, SMALL) as pilot:
        for key in keys:
            await pilot.press(key)
            await settled(pilot)
        for field in pilot.app.screen.query(Input):
            assert len(field.placeholder) <= field.content_size.width, field.placeholder
        shown = words(pilot)
        for tick in pilot.app.screen.query("Tick"):
            assert str(tick.label) in shown, tick.label  # type: ignore[attr-defined]


async def test_a_tick_for_copies_says_where_they_go(shop: Home) -> None:
    async with running(shop, place="intake") as pilot:
        assert "copy stores too" in words(pilot)


@pytest.mark.parametrize("key", ["enter", "space"])
async def test_keys_on_an_empty_list_of_new_scans_say_what_to_do_first(shop: Home, key: str) -> None:
    async with running(shop, place="intake") as pilot:
        await pilot.press("escape", key)
        await settled(pilot)
        assert any("folder" in text for text in said(pilot))


async def test_enter_on_a_store_reads_it_as_a_second_click_does(shop: Home) -> None:
    async with running(shop, place="stores") as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        begun: list[str] = []
        app.begin = lambda name, *_: bool(begun.append(name))  # type: ignore[method-assign]
        await pilot.press("enter")
        await settled(pilot)
        assert begun == ["Indexing"]


async def test_a_search_without_a_match_says_how_to_go_on(shop: Home) -> None:
    async with running(shop) as pilot:
        await pilot.press("slash", *"qqqzzz")
        await settled(pilot)
        assert "No matches. Try fewer words" in words(pilot)


async def test_sizes_of_a_piece_s_orders_are_not_cut(shop: Home) -> None:
    async with running(shop, SMALL) as pilot:
        await pilot.press("enter")
        await settled(pilot)
        sizes = [column.width for column in pilot.app.screen.query_one("#orders", RowTable)._strips.columns
                 if column.title == "Size"]
        assert sizes == [len("18.5 × 14.4 cm")]


async def test_a_first_order_opens_with_what_to_enter_not_with_a_fault(shop: Home) -> None:
    new = piece_never_ordered(shop)
    async with running(shop) as pilot:
        assert isinstance(pilot.app, CatalogueApp)
        offer_repeat(pilot.app, piece_id=new)
        await settled(pilot)
        told = str(pilot.app.screen.query_one("#repeat-wrong", Static).render())
        assert told == "No print of this piece has been ordered yet. Enter a size."
