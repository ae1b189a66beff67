"""Orders: found by plain words, summed, sorted, changed where they stand, several at once and undone as one."""

import pytest
from textual.widgets import Input, Static

from catalogue.ledger.values import shown_size
from catalogue.records import orders
from catalogue.records.database import open_database, transaction
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.confirm import ConfirmDialog
from catalogue.screens.dialogs.form import FormDialog
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home
from tests.screens.shop import burst, fill_in, held_up, running, said, settled, words


def numbers(app: CatalogueApp) -> list[str]:
    return [row.line.number for row in app.screen.query_one("#lines", RowTable).rows_held]


def sums(app: CatalogueApp) -> str:
    return str(app.screen.query_one("#orders-sums", Static).content)


def app_of(pilot: object) -> CatalogueApp:
    app = pilot.app  # type: ignore[attr-defined]
    assert isinstance(app, CatalogueApp)
    return app


@pytest.fixture
def book(shop: Home) -> Home:
    """The shop, with an order in pounds, one without a price, and one cancelled."""
    db = open_database(shop.database)
    with transaction(db):
        for number, placed, currency, price, status in (
                ("A-106", "2025-03-02", "GBP", "80.00", "requested"), ("A-107", "2025-03-31", "EUR", "", "requested"),
                ("A-108", "2025-04-01", "EUR", "10.00", "cancelled")):
            order = orders.save(db, number, placed, buyer="Dr Oakhanger", status=status, currency=currency)
            orders.add_line(db, order, orders.NewLine(3, 400, 300, 2, "canvas satin", price=price))
    db.close()
    return shop


def line_of(home: Home, number: str) -> orders.Line:
    db = open_database(home.database)
    try:
        return orders.lines_of(db, orders.by_number(db, number).id)[0]
    finally:
        db.close()


async def test_who_what_and_how_much_is_seen(book: Home) -> None:
    async with running(book, size=(200, 60), place="orders") as pilot:
        text = words(pilot)
        for fact in ("Buyer", "Medium", "Qty", "Price", "Dr Oakhanger", "canvas satin", "80.00 GBP", "240.00 EUR"):
            assert fact in text, fact
        # by hand: 5 orders of 240 euros and 4 + 2 + 1 + 1 + 3 prints, one of 2 prints in pounds, 2 without a price
        assert sums(app_of(pilot)) == ("7 orders, 15 prints: 1,200.00 EUR, 80.00 GBP  1 line without a price."
                                       "  1 cancelled line not counted.")


@pytest.mark.parametrize(("typed", "found"), [
    ("2025-03", ["A-107", "A-105", "A-106"]), ("tarnvik", ["A-104", "A-102", "A-101"]),
    ("umberlow", ["A-105", "A-101"]), ("canvas", ["A-108", "A-107", "A-106"]),
    ("2025-03 canvas requested", ["A-107", "A-106"]), ("cancelled", ["A-108"]), ("nothing like it", [])])
async def test_one_line_of_plain_words_filters(book: Home, typed: str, found: list[str]) -> None:
    async with running(book, place="orders") as pilot:
        await pilot.press("f")
        pilot.app.screen.query_one("#orders-filter", Input).value = typed
        await settled(pilot)
        assert numbers(app_of(pilot)) == found
        assert f"Order lines  {len(found)}" in words(pilot)


async def test_letters_typed_at_once_into_the_filter_are_all_there_and_escape_leads_back(book: Home) -> None:
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        with held_up(app):
            await burst(pilot, "f", *"quarrel", "enter", "r")
        await settled(pilot)
        assert type(app.screen).__name__ == "RepeatDialog"
        assert "Three Kites" in words(pilot), "r waited for the filtered list"
        await pilot.press("escape")
        assert app.screen.query_one("#orders-filter", Input).value == "quarrel"
        await pilot.press("escape")
        await settled(pilot)
        assert len(numbers(app)) == 8


async def test_the_list_is_sorted_by_any_column_either_way(book: Home) -> None:
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        seen = {}
        for _ in range(9):
            title = str(app.screen.query_one("#lines", RowTable).border_title)
            seen[title.partition("by ")[2].partition(" ")[0]] = numbers(app)
            await pilot.press("s")
            await settled(pilot)
        assert seen["price"][-1] == "A-107" and seen["price"][-2:-3:-1] == ["A-108"]
        assert [line_of(book, number).quantity for number in seen["quantity"]] == [4, 3, 2, 2, 2, 2, 1, 1]
        await pilot.press("S")
        await settled(pilot)
        assert "Order lines, by date, reversed" in words(pilot)
        assert numbers(app) == list(reversed(seen[""]))


async def test_state_price_and_notes_change_where_the_order_stands_and_are_taken_back(book: Home) -> None:
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"A-106", "enter")
        await settled(pilot)
        await pilot.press("e")
        await settled(pilot)
        form = app.screen
        assert isinstance(form, FormDialog)
        assert form.query_one("#form-unit_price", Input).placeholder == "80.00 GBP for all 2"
        assert form.query_one("#form-placed", Input).value == "02 Mar 2025"
        await fill_in(pilot, status="approved", quantity="3", unit_price="45", notes="rush", buyer="Café Lumbrel",
                      placed="04 Mar 2025")
        await pilot.press("enter")
        await settled(pilot)
        assert app.screen is not form
        line = line_of(book, "A-106")
        assert (line.status, line.unit_price, line.price, line.notes, line.buyer, line.placed) == (
            "approved", "45.00", "135.00", "rush", "Café Lumbrel", "2025-03-04")
        await pilot.press("u")
        await settled(pilot)
        line = line_of(book, "A-106")
        assert (line.status, line.unit_price, line.price, line.notes, line.buyer, line.placed) == (
            "requested", "", "80.00", "", "Dr Oakhanger", "2025-03-02")


async def test_size_and_medium_are_corrected_in_the_form_and_taken_back(book: Home) -> None:
    before = line_of(book, "A-106")
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"A-106", "enter", "e")
        await settled(pilot)
        form = app.screen
        shown = {name: form.query_one(f"#form-{name}", Input).value for name in ("size", "medium")}
        assert shown == {"size": shown_size(before.width_mm, before.height_mm), "medium": before.medium}
        assert form.query_one("#form-piece", Input).value == before.title
        await fill_in(pilot, size="A3", medium="baryta 300")
        await pilot.press("enter")
        await settled(pilot)
        line = line_of(book, "A-106")
        assert ({line.width_mm, line.height_mm}, line.medium) == ({297, 420}, "baryta 300")
        assert (line.quantity, line.price) == (before.quantity, before.price)
        await pilot.press("u")
        await settled(pilot)
    assert line_of(book, "A-106") == before


async def test_a_size_that_is_none_is_refused_in_the_form(book: Home) -> None:
    before = line_of(book, "A-106")
    async with running(book, place="orders") as pilot:
        await pilot.press("f", *"A-106", "enter", "e")
        await settled(pilot)
        form = app_of(pilot).screen
        await fill_in(pilot, size="large")
        await pilot.press("ctrl+s")
        await settled(pilot)
        assert "large" in str(form.query_one("#form-wrong", Static).content)
    assert line_of(book, "A-106") == before


async def test_marked_lines_change_all_at_once_and_are_one_undo(book: Home) -> None:
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"canvas asked", "enter")
        await settled(pilot)
        await pilot.press("space", "space", "e")
        await settled(pilot)
        form = app.screen
        assert "2 order lines" in words(pilot)
        assert form.query_one("#form-unit_price", Input).placeholder == ""
        await fill_in(pilot, notes="together")
        await pilot.press("ctrl+s")
        await settled(pilot)
        assert [line_of(book, number).notes for number in ("A-106", "A-107", "A-108")] == ["together", "together", ""]
        await pilot.press("home", "space", "space", "m")
        await settled(pilot)
        assert isinstance(app.screen, ConfirmDialog) and "2 orders: requested → approved?" in words(pilot)
        await pilot.press("enter")
        await settled(pilot)
        assert [line_of(book, number).status for number in ("A-106", "A-107")] == ["approved"] * 2
        assert numbers(app) == [], "they are asked no more"
        await pilot.press("u")
        await settled(pilot)
        assert [line_of(book, number).status for number in ("A-106", "A-107")] == ["requested"] * 2
        await pilot.press("u")
        await settled(pilot)
        assert [line_of(book, number).notes for number in ("A-106", "A-107")] == ["", ""]


async def test_orders_in_different_states_do_not_move_on_together(book: Home) -> None:
    async with running(book, place="orders") as pilot:
        await pilot.press("space", "space", "m")
        await settled(pilot)
        assert not isinstance(pilot.app.screen, ConfirmDialog)
        assert any("in different states" in text for text in said(pilot))


async def test_a_price_that_is_none_is_refused_in_the_form_and_nothing_changes(book: Home) -> None:
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"A-106", "enter", "e")
        await settled(pilot)
        form = app.screen
        await fill_in(pilot, unit_price="-5")
        await pilot.press("ctrl+s")
        await settled(pilot)
        assert app.screen is form
        assert "below zero" in str(form.query_one("#form-wrong", Static).content)
    assert line_of(book, "A-106").price == "80.00"


async def test_a_state_another_seat_has_changed_is_not_written_over(book: Home) -> None:
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"A-106", "enter", "e")
        await settled(pilot)
        db = open_database(book.database)
        with transaction(db):
            orders.set_status(db, orders.by_number(db, "A-106").id, "printed")
        db.close()
        app.screen.query_one("#form-status", Input).value = "approved"
        await settled(pilot)
        await pilot.press("ctrl+s")
        await settled(pilot)
        assert "now printed, no longer requested" in str(app.screen.query_one("#form-wrong", Static).content)
    assert line_of(book, "A-106").status == "printed"


async def test_a_wrong_piece_is_corrected_in_the_form_until_it_is_printed(book: Home) -> None:
    before = line_of(book, "A-106")
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"A-106", "enter", "e")
        await settled(pilot)
        await fill_in(pilot, piece="harb blue")
        await pilot.press("down", "enter")
        await settled(pilot)
        line = line_of(book, "A-106")
        assert (line.title, line.price) == ("Harbour, Blue Hour", "80.00")
        assert line.scan_name == "Harbour, Blue Hour master.tif"
        assert any("is now Harbour, Blue Hour by Maren Tarnvik" in text for text in said(pilot))
        await pilot.press("u")
        await settled(pilot)
        assert line_of(book, "A-106") == before
        await pilot.press("e")
        await settled(pilot)
        await fill_in(pilot, piece="No Such Piece")
        await pilot.press("enter")
        await settled(pilot)
        assert "'No Such Piece' is not in the list" in str(app.screen.query_one("#form-wrong", Static).content)
        await pilot.press("escape", "f", *["backspace"] * 5, *"A-101", "enter", "e")
        await settled(pilot)
        assert app.screen.query_one("#form-piece", Input).disabled
        assert "printed, so it stays" in words(pilot) and "c cancels the line" in words(pilot)
    assert line_of(book, "A-106") == before


async def test_one_line_of_an_order_is_cancelled_after_a_yes_and_taken_back(book: Home) -> None:
    db = open_database(book.database)
    with transaction(db):
        kept = orders.add_line(db, orders.by_number(db, "A-106").id, orders.NewLine(1, 400, 300, 1))
    db.close()
    before = line_of(book, "A-106")
    async with running(book, place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"A-106 kites", "enter", "c")
        await settled(pilot)
        assert isinstance(app.screen, ConfirmDialog) and "Cancel this line of order A-106?" in words(pilot)
        assert "Three Kites, 2 prints of 40 × 30 cm, requested" in words(pilot)
        await pilot.press("enter")
        await settled(pilot)
        assert line_of(book, "A-106") == before, "the cursor was on no"
        await pilot.press("c", "y")
        await settled(pilot)
        assert line_of(book, "A-106").status == "cancelled"
        assert any("The order's other line stays." in text for text in said(pilot))
        await pilot.press("escape", "u")
        await settled(pilot)
    db = open_database(book.database)
    assert orders.lines_of(db, before.order_id) == [before, orders.get_line(db, kept)]
    db.close()


async def test_part_of_a_line_is_handed_over_and_taken_back(book: Home) -> None:
    before = line_of(book, "A-106")
    async with running(book, size=(200, 60), place="orders") as pilot:
        app = app_of(pilot)
        await pilot.press("f", *"A-106", "enter", "h")
        await settled(pilot)
        form = app.screen
        assert isinstance(form, FormDialog) and "Hand over: order A-106, Three Kites, 2 of 2 left" in words(pilot)
        await fill_in(pilot, quantity="3")
        await pilot.press("enter")
        await settled(pilot)
        assert "has 2 prints left to hand over, not 3" in str(form.query_one("#form-wrong", Static).content)
        await fill_in(pilot, quantity="1", notes="her son")
        await pilot.press("enter")
        await settled(pilot)
        assert line_of(book, "A-106").state == "1 of 2 handed over" and "part 1/2" in words(pilot)
        assert any(text.endswith(" u to undo.") for text in said(pilot))
        await pilot.press("m")
        await settled(pilot)
        assert "Order A-106: requested → approved?" in words(pilot), "the order goes on"
        await pilot.press("escape", "h")
        await settled(pilot)
        assert "1 of 2 left" in words(pilot)
        await pilot.press("enter")  # as it is proposed: all that is left, today
        await settled(pilot)
        assert line_of(book, "A-106").order_status == "collected"
        await pilot.press("h")
        await settled(pilot)
        assert any("nothing is left to hand over" in text for text in said(pilot))
        await pilot.press("u", "u")
        await settled(pilot)
    assert line_of(book, "A-106") == before


async def test_marked_lines_are_handed_over_whole(book: Home) -> None:
    async with running(book, size=(100, 40), place="orders") as pilot:
        await pilot.press("f", *"canvas", "enter", "space", "space", "space", "h")
        await settled(pilot)
        assert "Hand over 2 order lines, all that are left" in words(pilot), "A-108 is cancelled"
        await pilot.press("enter")
        await settled(pilot)
        assert [line_of(book, number).status for number in ("A-106", "A-107", "A-108")] == [
            "collected", "collected", "cancelled"]
