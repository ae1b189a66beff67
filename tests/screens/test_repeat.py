"""The repeat panel: a number and Enter, nothing odd recorded unasked, the print drawn as the job sheet draws it."""

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image
from textual.widgets import Button, Input, Static

from catalogue.errors import GONE
from catalogue.print_files.recipe import Recipe
from catalogue.print_files.render import render
from catalogue.records import orders
from catalogue.records.database import open_database, transaction
from catalogue.records.orders import Line
from catalogue.screens.actions.repeating import offer_repeat
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.repeat import RepeatDialog
from catalogue.screens.dialogs.sheet import SheetPanel
from catalogue.screens.pictures.cells import Cells
from catalogue.screens.pictures.drawing import draw_picture
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.pictures.print_drawing import AROUND, BARE, RED, WHITE, drawn_print
from catalogue.screens.widgets.bars import KeyLine
from catalogue.settings import Home
from catalogue.sheets.layout import PrintLayout, print_layout, recipe_layout
from tests.files import SRGB
from tests.screens.shop import burst, held_up, older_scan_current, running, said, settled, until, words


def newest(home: Home, piece_id: int = 1) -> Line:
    db = open_database(home.database)
    try:
        return orders.lines_of_piece(db, piece_id)[0]
    finally:
        db.close()


def told(app: CatalogueApp) -> str:
    return str(app.screen.query_one("#repeat-wrong", Static).content)


def app_of(pilot: object) -> CatalogueApp:
    app = pilot.app  # type: ignore[attr-defined]
    assert isinstance(app, CatalogueApp)
    return app


async def test_from_launch_to_the_sheet_in_at_most_fourteen_keys(shop: Home) -> None:
    """Typed at once, before the first list is read: another ten of Three Kites, as last time, for last time's buyer."""
    keys = ["slash", *"kite", "enter", "r", "1", "0", "ctrl+l", "enter"]
    assert len(keys) <= 14
    app = CatalogueApp(shop, colours=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await burst(pilot, *keys)
        await until(pilot, lambda: isinstance(app.screen, SheetPanel))
        await settled(pilot)
        assert "JOB SHEET" in words(pilot) and "10 prints" in words(pilot)
        assert len(app.screen_stack) == 3, "two screens: the piece with its panel, and the sheet over it"
    app.close_threads()
    line = newest(shop, 3)
    assert (line.quantity, line.unit_price, line.price, line.buyer) == (10, "240.00", "2400.00", "Café Lumbrel")


async def test_ten_and_enter_twice_records_without_a_buyer(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        with held_up(app):
            await burst(pilot, "1", "0", "enter")
        await settled(pilot)
        assert told(app) == "No buyer? Press Enter again to record it."
        assert app.screen.query_one("#repeat-buyer", Input).has_focus
        await pilot.press("enter")
        await settled(pilot)
        assert isinstance(app.screen, SheetPanel)
    assert (newest(shop, 3).quantity, newest(shop, 3).buyer) == (10, "")


async def test_the_total_follows_what_is_typed(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        total = app.screen.query_one("#repeat-total", Static)
        assert app.screen.query_one("#repeat-price", Input).value == "120.00", "two prints cost 240.00"
        assert str(total.content) == "240.00 EUR"
        await pilot.press("1", "0")
        assert str(total.content) == "1,200.00 EUR"
        app.screen.query_one("#repeat-price", Input).value = "99.50"
        await settled(pilot)
        assert str(total.content) == "995.00 EUR"
        app.screen.query_one("#repeat-price", Input).value = "nothing"
        await settled(pilot)
        assert str(total.content) == "–"


async def test_the_buyer_is_the_artist_or_the_last_one_by_a_key(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        buyer = app.screen.query_one("#repeat-buyer", Input)
        assert (buyer.value, buyer.placeholder) == ("", "^l: Ms Colquhane")
        await pilot.press("ctrl+l")
        assert buyer.value == "Ms Colquhane"
        await pilot.press("ctrl+o")
        assert buyer.value == "Maren Tarnvik"


async def test_an_odd_wrap_and_a_price_of_another_size_are_asked_about_once(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        app.screen.query_one("#repeat-size", Input).value = "40 x 30"
        app.screen.query_one("#repeat-border", Input).value = ""
        app.screen.query_one("#repeat-wrap", Input).value = "4"
        await settled(pilot)
        await pilot.press("ctrl+o", "enter")
        assert told(app).startswith("A wrap of 4 mm (15 to 100 mm is usual) and 240.00 each, ")
        assert app.screen.query_one("#repeat-wrap", Input).has_focus
        app.screen.query_one("#repeat-wrap", Input).value = "4 cm"
        await settled(pilot)
        await pilot.press("enter")
        await settled(pilot)
        assert isinstance(app.screen, SheetPanel)
    assert (newest(shop, 3).wrap_mm, newest(shop, 3).price) == (40, "240.00")


@pytest.mark.parametrize(("size", "width"), [("24 x 18 in", 609.6), ("600x450mm", 600), ("60 × 45", 600),
                                             ("0.6 x 0.45 m", 600)])
async def test_a_size_in_any_unit_is_said_in_centimetres(shop: Home, size: str, width: float) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        assert app.screen.query_one("#repeat-size", Input).value == "60 × 45 cm"
        app.screen.query_one("#repeat-size", Input).value = size
        await settled(pilot)
        assert f"ppi at {width / 10:g} × " in words(pilot)


async def test_the_other_scan_is_offered_only_where_there_is_one(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        line = app.screen.query_one(KeyLine)
        assert not app.screen.query_one("#switch").display
        assert "switch_scan" not in {key.action for key in line.fitting(200)}
        await pilot.press("ctrl+t")
        assert any("is the scan that was printed last time" in text for text in said(pilot))
        await pilot.press("escape")
        older_scan_current(shop)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        assert app.screen.query_one("#switch").display
        assert "switch_scan" in {key.action for key in app.screen.query_one(KeyLine).fitting(200)}


async def test_a_piece_that_has_gone_is_refused(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=999)
        await settled(pilot)
        assert not isinstance(app.screen, RepeatDialog)
        assert any(GONE in text for text in said(pilot))


async def test_a_faulty_number_is_no_fault_of_the_program(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        for text in ("0", "²", "-1", "1.5", "9" * 30):
            app.screen.query_one("#repeat-quantity", Input).value = text
            await settled(pilot)
            assert told(app), text
            await pilot.press("enter")
            await settled(pilot)
            assert isinstance(app.screen, RepeatDialog)
    assert newest(shop).number == "A-102"


def rects_of(layout: PrintLayout) -> list[float]:
    return [*layout.finished, *layout.sheet, *layout.picture, *layout.scan]


def rects(picture: Picture) -> list[float]:
    assert picture._layout is not None
    return rects_of(picture._layout)


async def test_the_picture_is_the_print_that_is_asked_for(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        picture = app.screen.query_one(Picture)
        assert rects(picture) == pytest.approx(rects_of(print_layout(600, 450, border_mm=30, scan_size=(9000, 6750))),
                                               abs=0.3)     # a print file has whole pixels
        app.screen.query_one("#repeat-size", Input).value = "40 x 40"
        app.screen.query_one("#repeat-border", Input).value = ""
        app.screen.query_one("#repeat-wrap", Input).value = "38"
        await settled(pilot)
        assert rects(picture) == pytest.approx(rects_of(print_layout(400, 400, wrap_mm=38, scan_size=(9000, 6750))),
                                               abs=0.3)
        assert "─ folds, ┄ edge of the wrap; dimmed: cropped" in words(pilot)
        assert picture._drawing is not None and isinstance(picture._drawing.rows[0], Cells)


def test_a_drawn_print_has_its_border_its_wrap_and_its_crop_where_the_layout_says() -> None:
    """Looked up pixel by pixel in a drawing of 1 pixel a centimetre times ten."""
    scan = Image.new("RGB", (200, 100), (0, 0, 200))
    bordered = drawn_print(scan, print_layout(600, 400, border_mm=50, scan_size=(200, 100)), (600, 400))
    assert bordered.size == (600, 400)
    assert bordered.getpixel((300, 200)) == (0, 0, 200)
    assert bordered.getpixel((25, 200)) == WHITE
    wrapped = print_layout(600, 400, wrap_mm=40, edge="mirrored", scan_size=(300, 200))
    drawn_so = drawn_print(Image.new("RGB", (300, 200), (0, 0, 200)), wrapped, (680, 480))
    assert drawn_so.getpixel((20, 20)) == BARE
    assert drawn_so.getpixel((40, 240)) == drawn_so.getpixel((340, 40)) == RED   # the folds
    assert {drawn_so.getpixel((0, y)) for y in range(60)} == {RED, BARE}           # a broken line
    square = print_layout(400, 400, scan_size=(200, 100))
    cropped = drawn_print(scan, square, (800, 400))
    assert cropped.getpixel((400, 200)) == (0, 0, 200)
    dim = cropped.getpixel((100, 200))
    assert dim not in ((0, 0, 200), AROUND)
    assert cropped.getpixel((200, 200)) == RED                                     # where it is cut


def test_a_print_in_few_colours_shows_its_folds() -> None:
    layout = print_layout(600, 400, wrap_mm=60, scan_size=(300, 200))
    rows = draw_picture(Image.new("RGB", (300, 200), (20, 20, 20)), 60, 20, palette="light on dark", layout=layout).rows
    assert any("@" in row for row in rows if isinstance(row, str))


@pytest.mark.parametrize("choices", [
    {"wrap_mm": 8, "edge": "mirrored", "bleed_mm": 3, "marks": True},
    {"wrap_mm": 8, "edge": "stretched", "stretch_mm": 2, "turn": 90, "crop": (100, 50, 400, 260)},
    {"border_mm": 6, "turn": 180, "marks": True}, {"fit": "whole", "turn": 270},
    {"wrap_mm": 10, "edge": "colour", "edge_colour": "40,90,160", "crop": (0, 120, 500, 300)},
    {"wrap_mm": 10, "bleed_mm": 4, "crop": (30, 20, 500, 420)}])
def test_the_drawing_looks_like_the_print_file_itself(choices: dict[str, Any], tmp_path: Path) -> None:
    """A print file made by the recipe, reduced by Pillow, beside the drawing of the same recipe from a preview."""
    base = np.random.default_rng(5).integers(0, 256, (6, 8, 3)).astype(np.uint8)
    scan = Image.fromarray(base).resize((640, 480), Image.Resampling.BICUBIC)
    master = tmp_path / "master.tif"
    tifffile.imwrite(master, np.asarray(scan), photometric="rgb", metadata=None, iccprofile=SRGB)
    recipe = Recipe(hashlib.sha256(master.read_bytes()).hexdigest(), 90, 60, 150, bits=8, **choices)
    made = render(master, recipe, tmp_path / "print.tif")
    layout = recipe_layout(recipe, 640, 480)
    assert layout.paper is not None
    size = tuple(round(side * 4) for side in layout.extent_size)
    drawing = drawn_print(scan.resize((320, 240), Image.Resampling.BOX), layout, (size[0], size[1]))
    box = [round((layout.paper[n] - layout.extent[n % 2]) * 4) for n in range(4)]
    ours = np.asarray(drawing.crop((box[0], box[1], box[2], box[3])), np.int16)
    real = Image.fromarray(tifffile.imread(made.path)).resize((ours.shape[1], ours.shape[0]), Image.Resampling.BOX)
    apart = np.abs(ours - np.asarray(real, np.int16)).max(axis=2)
    assert np.median(apart) <= 3 and np.percentile(apart, 90) <= 16, (np.median(apart), np.percentile(apart, 90))
    if recipe.marks:
        assert (ours[np.asarray(real).max(axis=2) < 60] < 60).all(axis=-1).mean() > 0.9


async def test_a_second_print_joins_the_order_recorded_last_with_one_key(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        await pilot.press("ctrl+n")
        assert any("No order has been recorded" in text for text in said(pilot))
        await pilot.press("ctrl+l", "enter")
        await settled(pilot)
        first = newest(shop)
        await pilot.press("escape")
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        field = app.screen.query_one("#repeat-order", Input)
        assert (field.value, field.placeholder) == ("", f"new; ^n: {first.number}")
        await pilot.press("3", "ctrl+n", "enter")
        await settled(pilot)
        second = newest(shop, 3)
        assert (second.order_id, second.quantity, second.buyer) == (first.order_id, 3, first.buyer)
        await pilot.press("escape")
        db = open_database(shop.database)
        with transaction(db):
            orders.set_status(db, first.order_id, "printed")
        db.close()
        offer_repeat(app, piece_id=2)
        await settled(pilot)
        await pilot.press("ctrl+n", "enter", "enter")
        await settled(pilot)
        assert told(app) == f"Order {first.number!r} is printed. Clear its number for a new order."
    assert newest(shop, 2).number == "A-104"


async def test_more_prints_than_numbers_left_are_never_offered_to_be_recorded(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        await pilot.press("2", "0", "ctrl+l")
        await settled(pilot)
        record = app.screen.query_one("#record", Button)
        assert record.disabled and "19 of 25 numbers are left; 20 are ordered." in words(pilot)
        await pilot.press("enter")
        assert told(app).startswith("19 of 25 numbers are left; 20 are ordered. The edition size is fixed.")
        await pilot.press("ctrl+u", "1", "9")
        await settled(pilot)
        assert not record.disabled
        await pilot.press("enter")
        await settled(pilot)
    assert newest(shop).numbers == "7–25"


async def test_a_small_terminal_shows_the_panel_without_laying_it_out_for_ever(shop: Home) -> None:
    """At 40 columns a scrollbar came and went, and every key waited ten seconds for the panel to come to rest."""
    async with running(shop, size=(40, 15)) as pilot:
        app = app_of(pilot)
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        panel = app.screen
        await pilot.press("1", "0", "enter")
        await settled(pilot)
        assert told(app) == "No buyer? Press Enter again to record it." and "Press Enter" in words(pilot)
        laid_out = app.screen.query_one("#repeat-scroll")._layout_updates
        for _ in range(5):
            await pilot.pause()
        assert app.screen.query_one("#repeat-scroll")._layout_updates == laid_out
        await pilot.press("escape")
        await settled(pilot)
        assert app.screen is not panel
