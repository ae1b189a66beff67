"""The rest of the desk: a piece and an edition begun, a capture planned, buyers, a statement, where numbers are."""

import json
from pathlib import Path

import pytest
from textual.widgets import Input, Static

from catalogue.errors import Refused
from catalogue.operations import artist_statements
from catalogue.operations.editions import move_prints
from catalogue.records import artist_statements as statements_kept
from catalogue.records import buyers, editions, orders, pieces
from catalogue.records.database import open_database, transaction
from catalogue.records.numbers import Number
from catalogue.screens.actions.opening import open_piece
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.capture_plan import plan_words
from catalogue.screens.dialogs.confirm import Choice, ConfirmDialog, TextQuestion
from catalogue.screens.dialogs.form import FormDialog
from catalogue.screens.dialogs.sheet import SheetPanel
from catalogue.screens.dialogs.statement import StatementPanel
from catalogue.screens.pages.buyers import BuyersPage
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home, Settings
from tests.screens.shop import fill_in, running, said, settled, words


def app_of(pilot: object) -> CatalogueApp:
    app = pilot.app  # type: ignore[attr-defined]
    assert isinstance(app, CatalogueApp)
    return app


async def fill(pilot: object, **texts: str) -> None:
    app = app_of(pilot)
    assert isinstance(app.screen, FormDialog)
    await fill_in(pilot, **texts)  # type: ignore[arg-type]
    await pilot.press("ctrl+s")  # type: ignore[attr-defined]
    await settled(pilot)  # type: ignore[arg-type]


async def test_a_new_piece_is_begun_and_taken_back(shop: Home) -> None:
    async with running(shop) as pilot:
        await pilot.press("n")
        await settled(pilot)
        await fill(pilot, artist="Maren Tarnvik")
        assert "needs an artist and a title" in words(pilot)
        await fill(pilot, title="Harbour, Fog", year="2024", size="90 x 60 cm", edition="25 + 3")
        db = open_database(shop.database)
        piece_id = pieces.known_piece(db, "Maren Tarnvik", "Harbour, Fog")
        assert piece_id is not None
        piece = pieces.by_id(db, piece_id)
        assert piece is not None
        assert (piece.year, piece.width_mm, piece.height_mm) == ("2024", 900, 600)
        assert [(e.size_limit, e.proofs) for e in editions.of_piece(db, piece_id)] == [(25, 3)]
        assert "Pieces  5" in words(pilot)
        await pilot.press("u")
        await settled(pilot)
        assert pieces.known_piece(db, "Maren Tarnvik", "Harbour, Fog") is None
        db.close()


async def test_a_piece_that_is_there_already_is_not_begun_again(shop: Home) -> None:
    async with running(shop) as pilot:
        await pilot.press("n")
        await settled(pilot)
        await fill(pilot, artist="Tobin Quarrel", title="three kites")
        assert isinstance(pilot.app.screen, FormDialog)
        said_below = pilot.app.screen.query_one("#form-wrong", Static)
        assert str(said_below.render()) == \
            "Tobin Quarrel already has a piece called 'three kites'. Open it and correct it with e."
        pilot.app.screen._refuse(Refused("That artist has gone.", hint="See: catalogue artist list."))
        assert str(said_below.render()) == "That artist has gone. See: catalogue artist list."


async def test_an_edition_of_one_size_is_begun(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        open_piece(app, 3)
        await settled(pilot)
        await pilot.press("n")
        await settled(pilot)
        await fill(pilot, edition="10", size="40 x 30 cm", medium="canvas")
        assert not isinstance(app.screen, FormDialog)
        db = open_database(shop.database)
        assert [(e.size_limit, e.scope, e.width_mm, e.height_mm, e.medium) for e in editions.of_piece(db, 3)] == [
            (10, "one size", 400, 300, "canvas")]
        db.close()
        await pilot.press("n")
        await settled(pilot)
        await fill(pilot, edition="many")
        assert "'many'" in words(pilot)


@pytest.mark.parametrize(("size", "overlap", "words"), [
    # by hand, on a bed of 29.7 × 42 cm: three captures of 42 cm across 90 cm are moved by 24 cm and overlap by 18 cm,
    # four of 29.7 cm are moved by 20.1 cm and overlap by 9.6 cm
    ("90 x 90 cm", "25%", ("12 captures", "43%", "32%", "0, 24, 48 cm", "0, 20.1, 40.2, 60.3 cm")),
    ("900 x 900 mm", "0.25", ("12 captures",)), ("20 x 30 cm", "25%", ("one capture",)),
    ("", "25%", ("Enter the size of the original.",)),
    ("90", "25%", ("'90'",)),
    ("90 x 90 cm", "much", ("'much'",)),
    ("90 x 90 cm", "95%", ("0 to 90%",))])
def test_a_capture_plan(size: str, overlap: str, words: tuple[str, ...]) -> None:
    found = "\n".join(plan_words(Settings(), size, overlap))
    assert [word for word in words if word not in found] == [], found


async def test_every_bed_of_the_settings_has_its_plan(shop: Home) -> None:
    several = Home(shop.folder, Settings(beds=("copy stand 600x900",)))
    async with running(several, place="intake") as pilot:
        await pilot.press("escape", "p")
        await settled(pilot)
        pilot.app.screen.query_one("#plan-size", Input).value = "90 x 60 cm"
        await settled(pilot)
        assert "copy stand" in words(pilot) and "usual bed" in words(pilot)


async def test_a_capture_is_planned_from_the_intake_and_from_a_piece(shop: Home) -> None:
    async with running(shop, place="intake") as pilot:
        await pilot.press("escape", "p")
        await settled(pilot)
        pilot.app.screen.query_one("#plan-size", Input).value = "90 x 90 cm"
        await settled(pilot)
        assert "12 captures" in words(pilot)
        await pilot.press("escape")
        open_piece(app_of(pilot), 1)
        await settled(pilot)
        await pilot.press("p")
        await settled(pilot)
        assert plan_words(Settings(), "", "")[0] in words(pilot)


async def test_buyers_are_corrected_joined_and_lead_to_their_orders(shop: Home) -> None:
    async with running(shop, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("b")
        await settled(pilot)
        assert isinstance(app.screen, BuyersPage) and "Buyers  4" in words(pilot)
        table = app.screen.query_one("#buyers", RowTable)
        table.cursor_row = next(n for n, row in enumerate(table.rows_held) if row.name == "Hotel Umberlow")
        await pilot.press("e")
        await settled(pilot)
        await fill(pilot, contact="desk@umberlow.example")
        assert "desk@umberlow.example" in words(pilot)
        table.cursor_row = next(n for n, row in enumerate(table.rows_held) if row.name == "Dr Oakhanger")
        await pilot.press("space")
        table.cursor_row = next(n for n, row in enumerate(table.rows_held) if row.name == "Hotel Umberlow")
        await pilot.press("m")
        await settled(pilot)
        choice = app.screen
        assert isinstance(choice, Choice)
        await pilot.press("down", "enter")
        await settled(pilot)
        assert "Buyers  3" in words(pilot)
        table.cursor_row = next(n for n, row in enumerate(table.rows_held) if row.name == "Hotel Umberlow")
        await pilot.press("enter")
        await settled(pilot)
        assert "Order lines of Hotel Umberlow  3" in words(pilot)
        assert [row.line.number for row in app.screen.query_one("#lines", RowTable).rows_held] == [
            "A-105", "A-104", "A-101"]
        await pilot.press("escape")
        await settled(pilot)
        assert "Order lines  5" in words(pilot)
        await pilot.press("b", "u")
        await settled(pilot)
        assert "Buyers  4" in words(pilot)
    db = open_database(shop.database)
    assert [buyer.contact for buyer in buyers.matching(db, "Hotel Umberlow")] == ["desk@umberlow.example"]
    db.close()


async def test_a_statement_is_drafted_from_the_artists_row_and_issued(shop: Home) -> None:
    db = open_database(shop.database)
    with transaction(db):
        for number in ("A-104", "A-102"):
            orders.set_status(db, orders.by_number(db, number).id, "collected")
    async with running(shop) as pilot:
        app = app_of(pilot)
        await pilot.press("S")
        assert any("Choose one artist" in text for text in said(pilot))
        artists = app.screen.query_one("#artists", RowTable)
        artists.focus()
        artists.cursor_row = next(n for n, row in enumerate(artists.rows_held) if row.name == "Maren Tarnvik")
        await settled(pilot)
        await pilot.press("S")
        await settled(pilot)
        assert isinstance(app.screen, TextQuestion) and "Maren Tarnvik?" in words(pilot)
        await pilot.press(*"40", "space", "%", "enter")
        await settled(pilot)
        box = app.screen.query_one(Input)
        assert box.value == "last month"
        box.value = "2025"
        await pilot.press("enter")
        await settled(pilot)
        panel = app.screen
        assert isinstance(panel, StatementPanel)
        # by hand: one print of Harbour, Blue Hour in 2025 at 240.00, of which 40 % are 96.00
        assert "Draft" in words(pilot) and "Owed: 96.00 EUR" in words(pilot) and "Tax is not" in words(pilot)
        page = Path(str(panel.query_one("#sheet-path", Static).content).replace("\n", ""))
        assert "96.00" in page.read_text() and page.with_suffix(".csv").exists()
        await pilot.press("i")
        await settled(pilot)
        assert isinstance(app.screen, ConfirmDialog)
        await pilot.press("y")
        await settled(pilot)
        assert "Issued " in words(pilot)
        artist_id = artists.rows_held[artists.cursor_row].id
        issued = [json.loads(content) for content in statements_kept.issued(db, artist_id)]
        assert [(statement["first"], statement["last"]) for statement in issued] == [("2025-01-01", "2025-12-31")]
        await pilot.press("i")
        assert "It has been issued" in words(pilot)
    db.close()


async def test_a_period_that_is_none_is_said(shop: Home) -> None:
    db = open_database(shop.database)
    artist = pieces.artist_called(db, "Tobin Quarrel")
    artist_statements.set_terms(db, artist.id, "fixed", "12.50", "EUR")
    db.close()
    async with running(shop) as pilot:
        app = app_of(pilot)
        artists = app.screen.query_one("#artists", RowTable)
        artists.focus()
        artists.cursor_row = next(n for n, row in enumerate(artists.rows_held) if row.name == "Tobin Quarrel")
        await settled(pilot)
        await pilot.press("S")
        await settled(pilot)
        app.screen.query_one(Input).value = "some day"
        await pilot.press("enter")
        await settled(pilot)
        assert any("'some day'" in text for text in said(pilot))


async def test_where_each_number_is_comes_up_as_a_page(shop: Home) -> None:
    db = open_database(shop.database)
    edition = editions.of_piece(db, 1)[0]
    move_prints(db, edition.id, [Number("number", 2)], "consigned", holder="Gallery Umberlow", day="2025-06-01")
    db.close()
    async with running(shop) as pilot:
        app = app_of(pilot)
        open_piece(app, 1)
        await settled(pilot)
        await pilot.press("w")
        await settled(pilot)
        assert isinstance(app.screen, SheetPanel)
        text = words(pilot)
        assert "in the shop" in text and "Gallery Umberlow, since 01 Jun 2025" in text
        page = Path(str(app.screen.query_one("#sheet-path", Static).content).replace("\n", ""))
        assert "Gallery Umberlow" in page.read_text()
        await pilot.press("escape")
        open_piece(app, 3)
        await settled(pilot)
        await pilot.press("w")
        assert any("has no edition" in text for text in said(pilot))
