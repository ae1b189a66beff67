"""What is done every day: browse, look, search, open, repeat."""

import os
from pathlib import Path
from typing import Any

import pytest
from textual._compositor import Compositor
from textual.widgets import Button, Input, Select, Static

from catalogue.errors import GONE, Busy
from catalogue.operations.correcting import merge_pieces, undo_statement
from catalogue.records import orders, pieces, scans
from catalogue.records.database import Database, open_database, open_seat, transaction
from catalogue.records.orders import NewLine
from catalogue.screens import system_viewer
from catalogue.screens.actions.files import text_of
from catalogue.screens.actions.repeating import offer_repeat
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.confirm import ConfirmDialog, MessageDialog
from catalogue.screens.dialogs.repeat import RepeatDialog
from catalogue.screens.dialogs.search import SearchDialog
from catalogue.screens.dialogs.sheet import SheetPanel
from catalogue.screens.pages.piece import PiecePage
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home, Settings
from tests import recorded
from tests.screens.shop import (
    listed,
    older_scan_current,
    piece_never_ordered,
    running,
    said,
    settled,
    sha,
    typed,
    until,
    words,
)

Shop = Home


async def _open(pilot, title: str) -> None:  # type: ignore[no-untyped-def]
    """Find a piece through the search and open it."""
    await pilot.press("slash")
    await typed(pilot, title)
    await pilot.press("enter")
    await settled(pilot)
    assert isinstance(pilot.app.screen, PiecePage)


async def test_browsing_shows_the_picture_and_facts_while_moving(shop: Shop) -> None:
    async with running(shop) as pilot:
        text = words(pilot)
        for fact in ("All artists", "Artists  3", "Pieces  4", "Harbour, Blue Hour", "38.1 × 28.6 cm", "16 bit",
                     "in 2 stores, checked 3 weeks ago", "1 order, last 15 Jan 2025", "▀"):
            assert fact in text
        await pilot.press("down")
        await settled(pilot)
        text = words(pilot)
        assert "✗ damage: 1 file" in text
        assert "2 orders, last 11 Feb 2024" in text


async def test_an_artist_narrows_the_pieces(shop: Shop) -> None:
    async with running(shop) as pilot:
        await pilot.press("left", "down")
        await settled(pilot)
        table = pilot.app.screen.query_one("#pieces", RowTable)
        assert [row.title for row in table.rows_held] == ["Marché [épreuve]"]
        await pilot.press("enter")
        assert table.has_focus
        await pilot.press("left", "home")
        await settled(pilot)
        assert table.row_count == 4


async def test_the_piece_page_says_everything(shop: Shop) -> None:
    async with running(shop, size=(200, 60)) as pilot:
        await _open(pilot, "low")
        text = words(pilot)
        for fact in ("Harbour, Low Water", "Maren Tarnvik, 2019", "38.1 × 28.6 cm", "76.2 ×  57.1 cm  at 300 ppi",
                     "114.3 ×  85.7 cm  at 200 ppi", "Scans  5", "● ", "current", "tile", "Wide test profile",
                     "✓ main disk: Maren Tarnvik/Harbour, Low Water/Harbour, Low Water master.tif", "✓ share:",
                     "Orders  2", "A-102", "cotton rag 310 g", "Printed from: current master",
                     "Edition 25 + 3 AP, all sizes: 6 issued, 19 left", "3 proofs left"):
            assert fact in text, fact
        await pilot.press("down")
        await settled(pilot)
        assert "truncated: the file ends at 40 % of its picture" in words(pilot)
        await pilot.press("tab", "down")
        await settled(pilot)
        assert "Printed from: another master" in words(pilot)
        await pilot.press("escape")
        assert not isinstance(pilot.app.screen, PiecePage)


async def test_an_older_scan_becomes_the_current_master_and_orders_say_so(shop: Shop) -> None:
    async with running(shop) as pilot:
        await _open(pilot, "low")
        await pilot.press("m")
        await pilot.pause()
        assert isinstance(pilot.app.screen, PiecePage)  # it is current already
        await pilot.press("down", "m")
        await settled(pilot)
        assert isinstance(pilot.app.screen, ConfirmDialog)
        await pilot.press("enter")
        await settled(pilot)
        assert "another master" in words(pilot)
    db = open_database(shop.database)
    piece = pieces.by_id(db, 1)
    assert piece is not None
    assert piece.current_source == "person"
    assert scans.by_id(db, piece.current_scan_id or 0).sha256 == sha(11)  # type: ignore[union-attr]
    db.close()


async def test_search_finds_over_everything_and_drops_stale_answers(shop: Shop) -> None:
    async with running(shop) as pilot:
        await pilot.press("slash", *"har")
        await typed(pilot, "harb")
        table = pilot.app.screen.query_one("#found", RowTable)
        kinds = [row.kind for row in table.rows_held]
        assert kinds[0] == "piece"
        assert {"piece", "order", "master", "tile"} <= set(kinds)
        await typed(pilot, "umberlow")
        assert {row.kind for row in table.rows_held} == {"order"}
        await typed(pilot, "harbuor")
        assert "Searched for: harbuor → harbour" in words(pilot)
        await typed(pilot, "the one with xyzzy harbour")
        assert "Left out, no match: the, one, with, xyzzy" in words(pilot)
        await typed(pilot, "harbuor")
        await pilot.press("down", "down", "up", "enter")
        await settled(pilot)
        assert isinstance(pilot.app.screen, PiecePage)
        await pilot.press("slash")
        await typed(pilot, "quarrel")
        await pilot.press("down", "enter")
        await settled(pilot)
        assert pilot.app.screen.query_one("#artists", RowTable).highlighted.name == "Tobin Quarrel"
        assert [r.title for r in pilot.app.screen.query_one("#pieces", RowTable).rows_held] == ["Three Kites"]
        await pilot.press("slash")
        await typed(pilot, "nothing fits")
        await pilot.press("enter")
        await settled(pilot)
        assert isinstance(pilot.app.screen, SearchDialog)
        assert "No matches." in words(pilot)


async def test_search_corrects_slips_by_words_that_others_wrote_meanwhile(shop: Shop) -> None:
    async with running(shop) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        await pilot.press("slash", *"quarel")
        await until(pilot, lambda: "quarel → quarrel" in words(pilot))
        db = open_database(shop.database)
        with transaction(db):
            orders.save(db, "Z-998", "2031-01-01", buyer="Doktor Umbelliver")
        db.close()
        await pilot.press("escape")
        app.changes.look_for_writes()
        await settled(pilot)
        await pilot.press("slash", *"umbeliver")
        await until(pilot, lambda: "umbeliver → umbelliver" in words(pilot))


async def test_a_catalogue_that_could_not_be_read_is_listed_once_it_can(
        shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    busy = True

    def seat(home: Home) -> Database:
        if busy:
            raise Busy("Another program is writing to the catalogue.")
        return open_seat(home)

    monkeypatch.setattr("catalogue.screens.app.open_seat", seat)
    app = CatalogueApp(shop, colours=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: app.changes._failing)
        busy = False
        app.changes.look_for_writes()
        await until(pilot, lambda: listed(app, "#pieces"))
        await settled(pilot)
        assert "Pieces  " in words(pilot)
    app.close_threads()


async def test_a_letter_lays_the_screen_out_anew_only_where_a_line_comes_or_goes(
        shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    laid: list[object] = []
    reflow = Compositor.reflow

    def counted(compositor: Compositor, *given: Any) -> Any:
        laid.append(compositor)
        return reflow(compositor, *given)

    async with running(shop, size=(80, 24)) as pilot:
        await pilot.press("slash", *"harbo")
        await settled(pilot)
        monkeypatch.setattr(Compositor, "reflow", counted)
        await pilot.press(*"ur")
        await settled(pilot)
        assert laid == []
        line = pilot.app.screen.query_one("#found-count", Static)
        assert (line.size.height, "found" in words(pilot)) == (1, True)
        await typed(pilot, "harbuor bleu huor lwo")     # what it was read as takes a second line
        await settled(pilot)
        assert (line.size.height, len(laid) > 0) == (2, True)
        await typed(pilot, "what nobody ever called a picture of his, nor a buyer, at the end")
        await settled(pilot)
        assert "at the end" in words(pilot), "the box shows where one types"
        assert (line.size.height, "No matches." in words(pilot)) == (1, True)


async def test_the_search_is_kept_but_begins_anew_and_draws_all_that_changed(shop: Shop) -> None:
    """Only rows that differ are drawn again: what stands there is what a fresh drawing shows."""
    async with running(shop) as pilot:
        app = pilot.app

        def drawn() -> list[str]:
            table = app.screen.query_one("#found", RowTable)
            return [strip.text for strip in table.render_lines(table.size.region)]

        await pilot.press("slash")
        await settled(pilot)
        first = app.screen
        for key in (*"harb", "down", "down", *["backspace"] * 4, *"quarrel", "backspace"):
            await pilot.press(key)
            await settled(pilot)
            kept = drawn()
            app.screen.query_one("#found", RowTable).refresh()
            assert kept == drawn(), key
        assert any("Quarrel" in line for line in drawn())
        await pilot.press("escape")
        await pilot.press("slash")
        await settled(pilot)
        assert app.screen is first
        assert app.screen.query_one(Input).value == ""
        assert app.screen.query_one("#found", RowTable).row_count == 0
        assert not any(line.strip() for line in drawn())
        assert app.focused is app.screen.query_one(Input)


async def test_a_repeat_is_the_number_and_enter_and_linked_to_the_very_scan(shop: Shop) -> None:
    async with running(shop) as pilot:
        await _open(pilot, "low")
        await pilot.press("r")
        await settled(pilot)
        assert pilot.app.focused is pilot.app.screen.query_one("#repeat-quantity", Input)
        assert "the same scan as last time, bit for bit" in words(pilot)
        await pilot.press("ctrl+l", "3", "enter")
        await settled(pilot)
        await pilot.press("escape")     # the job sheet
        assert "Orders  3" in words(pilot)
    db = open_database(shop.database)
    newest = orders.lines_of_piece(db, 1)[0]
    last = next(line for line in orders.lines_of_piece(db, 1) if line.number == "A-102")
    assert newest.repeat_of == last.id
    # last time two prints cost 240.00, so three are 360.00
    assert (newest.scan_sha256, newest.quantity, newest.medium, newest.buyer, newest.price, newest.status) == (
        sha(1), 3, "cotton rag 310 g", "Ms Colquhane", "360.00", "requested")
    assert [n.number for n in recorded.numbers_of_line(db, newest.id)] == [7, 8, 9]
    db.close()


async def test_a_repeat_can_be_changed_and_is_refused_with_the_reason(shop: Shop) -> None:
    async with running(shop) as pilot:
        await _open(pilot, "low")
        await pilot.press("r")
        await settled(pilot)
        dialog = pilot.app.screen
        wrong = dialog.query_one("#repeat-wrong", Static)
        dialog.query_one("#repeat-quantity", Input).value = "twenty"
        await settled(pilot)
        assert "'twenty'" in str(wrong.content)
        assert dialog.query_one("#record", Button).disabled
        dialog.query_one("#repeat-quantity", Input).value = "20"
        dialog.query_one("#repeat-buyer", Input).value = "[b]New[/] buyer"
        await settled(pilot)
        assert "19 numbers of 25 left" in words(pilot)
        assert dialog.query_one("#record", Button).disabled
        await pilot.press("enter")
        await settled(pilot)
        assert "19 of 25 numbers are left; 20 are ordered." in str(wrong.content)
        dialog.query_one("#repeat-quantity", Input).value = "1"
        dialog.query_one("#repeat-size", Input).value = "30 x 22.5"
        dialog.query_one("#repeat-price", Input).value = "80"
        await settled(pilot)
        dialog.query_one("#record", Button).press()
        await settled(pilot)
        assert not isinstance(pilot.app.screen, RepeatDialog)
    db = open_database(shop.database)
    newest = orders.lines_of_piece(db, 1)[0]
    assert (newest.width_mm, newest.height_mm, newest.buyer, newest.price) == (300, 225, "[b]New[/] buyer", "80.00")
    db.close()


async def test_a_grave_caution_moves_the_cursor_off_record(shop: Shop) -> None:
    """Another scan than last time's: Enter alone must not print from it."""
    older_scan_current(shop)
    async with running(shop) as pilot:
        await _open(pilot, "low")
        await pilot.press("r")
        await settled(pilot)
        dialog = pilot.app.screen
        assert "✗" in words(pilot)
        await pilot.press("ctrl+l", "enter")
        await settled(pilot)
        assert pilot.app.screen is dialog
        assert pilot.app.focused.id == "leave"  # type: ignore[union-attr]
        told = str(pilot.app.screen.query_one("#repeat-words", Static).content)
        assert "is not last time's" in next(line for line in told.splitlines() if line.startswith("✗"))
        assert "marked ✗" in str(dialog.query_one("#repeat-wrong", Static).content)
        await pilot.press("ctrl+t")
        await settled(pilot)
        assert "from last time's scan" in words(pilot)
        dialog.query_one("#record", Button).press()
        await settled(pilot)
        assert pilot.app.screen is not dialog
    db = open_database(shop.database)
    assert orders.lines_of_piece(db, 1)[0].scan_sha256 == sha(1)
    db.close()


async def test_a_file_found_is_the_one_under_the_cursor(shop: Shop) -> None:
    async with running(shop) as pilot:
        await pilot.press("slash")
        await typed(pilot, "tile 2")
        await pilot.press("enter")
        await settled(pilot)
        scans = pilot.app.screen.query_one("#scans", RowTable)
        assert scans.cursor_row > 0
        assert scans.highlighted.scan.sha256 == sha(22)
        await pilot.press("escape")
        await _open(pilot, "low water")
        assert pilot.app.screen.query_one("#scans", RowTable).highlighted.current


async def test_what_is_grave_is_seen_on_a_small_screen_and_the_rest_can_be_scrolled_to(shop: Shop) -> None:
    older_scan_current(shop)
    async with running(shop, size=(80, 24)) as pilot:
        await _open(pilot, "low")
        await pilot.press("r")
        await settled(pilot)
        assert "✗ " in words(pilot)
        scroll = pilot.app.screen.query_one("#repeat-scroll")
        assert scroll.max_scroll_y > 0 and scroll.scroll_y == 0
        await pilot.press("pagedown")
        assert scroll.scroll_y > 0
        await pilot.press("pageup")
        assert scroll.scroll_y == 0


async def test_a_first_order_opens_an_empty_form(shop: Shop) -> None:
    new = piece_never_ordered(shop)
    async with running(shop) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        offer_repeat(app, piece_id=new)
        await settled(pilot)
        dialog = app.screen
        assert dialog.query_one("#repeat-size", Input).has_focus
        dialog.query_one("#repeat-size", Input).value = "40x30"
        dialog.query_one("#repeat-medium", Input).value = "baryta"
        await settled(pilot)
        assert "First order" in words(pilot)
        dialog.query_one("#record", Button).press()
        await settled(pilot)
        # there is no scan, which is grave and said, and no buyer and no price, which is asked
        assert "No buyer and no price?" in str(dialog.query_one("#repeat-wrong", Static).content)
        await pilot.press("enter")
        await settled(pilot)
    db = open_database(shop.database)
    assert [(line.width_mm, line.medium) for line in orders.lines_of_piece(db, new)] == [(400, "baryta")]
    db.close()


async def test_orders_are_listed_filtered_opened_and_repeated(shop: Shop) -> None:
    async with running(shop, place="orders") as pilot:
        table = pilot.app.screen.query_one("#lines", RowTable)
        assert [row.line.number for row in table.rows_held] == ["A-105", "A-104", "A-103", "A-102", "A-101"]
        await pilot.press("f", *"requested")
        await settled(pilot)
        assert table.row_count == 0
        await pilot.press("escape", "escape")
        await settled(pilot)
        assert table.row_count == 5
        await pilot.press("down", "r")
        await settled(pilot)
        assert isinstance(pilot.app.screen, RepeatDialog)
        assert pilot.app.screen.query_one("#repeat-buyer", Input).placeholder == "^l: Dr Oakhanger"
        await pilot.press("escape", "enter")
        await settled(pilot)
        assert isinstance(pilot.app.screen, PiecePage)
        await pilot.press("1")
        await settled(pilot)
        assert not isinstance(pilot.app.screen, PiecePage)
        await pilot.press("2")
        await settled(pilot)
        assert isinstance(pilot.app.screen, PiecePage)  # a place is left as it was


async def test_an_order_moves_on_and_gets_its_job_sheet(shop: Shop) -> None:
    async with running(shop, place="orders") as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        await pilot.press("m")
        await settled(pilot)
        assert isinstance(app.screen, ConfirmDialog)
        await pilot.press("enter")
        await settled(pilot)
        assert app.screen.query_one("#lines", RowTable).rows_held[0].line.status == "collected"
        await pilot.press("m")
        assert any("This order is complete" in text for text in said(pilot))
        await pilot.press("down", "p")
        await settled(pilot)
        assert isinstance(app.screen, SheetPanel)
        assert "JOB SHEET" in words(pilot) and "A-104" in words(pilot)
        written = Path(str(app.screen.query_one("#sheet-path", Static).content))
    assert "Harbour, Blue Hour" in written.read_text()


async def test_the_path_is_shown_and_never_said_to_be_copied(shop: Shop) -> None:
    async with running(shop) as pilot:
        await pilot.press("c")
        await settled(pilot)
        assert isinstance(pilot.app.screen, MessageDialog)
        text = str(pilot.app.screen.query_one("#text", Static).content)
        place = shop.folder.parent / "main disk" / "Maren Tarnvik/Harbour, Blue Hour/Harbour, Blue Hour master.tif"
        assert f"main disk\n{place}" in text
        assert "copied" not in words(pilot).lower()
        assert "Not every" in words(pilot)
        await pilot.press("escape")


async def test_opening_a_master_asks_first_and_runs_the_command_of_the_settings(
        shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    started: list[list[str]] = []
    monkeypatch.setattr(system_viewer, "start_program", started.append)
    home = Home(shop.folder, Settings(open_with="viewer --new"))
    async with running(home) as pilot:
        await pilot.press("o")
        await settled(pilot)
        assert isinstance(pilot.app.screen, ConfirmDialog)
        assert pilot.app.focused.id == "no"  # type: ignore[union-attr]
        await pilot.press("enter")
        assert started == []
        await pilot.press("o")
        await settled(pilot)
        await pilot.press("y")
        await settled(pilot)
        assert started[0][:2] == ["viewer", "--new"]
        assert started[0][2].endswith("Harbour, Blue Hour master.tif")
        await pilot.press("f")
        await settled(pilot)
        assert len(started) == 2


async def test_a_store_unplugged_meanwhile_is_said_and_shown(shop: Shop) -> None:
    """The disk goes while its piece is on the screen: offline, not missing, and back again."""
    disk = shop.folder.parent / "share"
    async with running(shop, size=(200, 60)) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        await until(pilot, lambda: len(app.changes.online) == 2)
        await _open(pilot, "low")
        disk.rename(disk.with_name("drawer"))
        app.changes.look_at_disks()
        await settled(pilot)
        assert "– share: " in words(pilot)
        assert any("share is offline" in text for text in said(pilot))
        await pilot.press("c")
        await settled(pilot)
        assert "share (" in str(app.screen.query_one("#text", Static).content)
        await pilot.press("escape")
        disk.with_name("drawer").rename(disk)
        app.changes.look_at_disks()
        await settled(pilot)
        assert "✓ share: " in words(pilot)


async def test_a_locked_catalogue_is_said_and_the_screen_lives(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.records.database.BUSY_SECONDS", 0.1)
    other = open_database(shop.database)
    async with running(shop) as pilot:
        await _open(pilot, "low")
        await pilot.press("r")
        await settled(pilot)
        await pilot.press("ctrl+l")
        with transaction(other):
            pilot.app.screen.query_one("#record", Button).press()
            await settled(pilot)
            assert isinstance(pilot.app.screen, RepeatDialog)
            assert "Another program" in str(
                pilot.app.screen.query_one("#repeat-wrong", Static).content)
        pilot.app.screen.query_one("#record", Button).press()
        await settled(pilot)
        assert not isinstance(pilot.app.screen, RepeatDialog)
    other.close()


async def test_a_piece_that_goes_while_it_is_listed(shop: Shop) -> None:
    async with running(shop) as pilot:
        db = open_database(shop.database)
        with transaction(db):
            new = pieces.piece_called(db, 1, "AAA")
        pilot.app.screen.catalogue_changed()  # type: ignore[attr-defined]
        await settled(pilot)
        await pilot.press("home")
        await settled(pilot)
        with transaction(db):
            db.execute("DELETE FROM piece WHERE id = ?", [new])
        db.close()
        await pilot.press("enter")
        await settled(pilot)
        assert any(GONE in text for text in said(pilot))


@pytest.mark.parametrize("place", ["browse", "piece", "orders"])
async def test_what_is_gone_is_not_repeated(shop: Shop, place: str) -> None:
    """Merged away, or taken back, by another seat a moment ago: the list shows it still."""
    db = open_database(shop.database)
    if place == "orders":
        with transaction(db):
            orders.add_line(db, orders.save(db, "Z-999", "2031-01-01"), NewLine(1, 300, 200, 1))
    async with running(shop, place="orders" if place == "orders" else "browse") as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        table = app.screen.query_one("#lines" if place == "orders" else "#pieces", RowTable)
        if place == "piece":
            await pilot.press("enter")
            await settled(pilot)
        if place == "orders":
            assert table.highlighted.line.number == "Z-999"
            undo_statement(db)
        else:
            merge_pieces(db, table.rows_held[1].id, table.highlighted.id)
        shown = app.screen
        await pilot.press("r")
        await settled(pilot)
        assert app.screen is shown
        assert [GONE in text for text in said(pilot)] == [True]
    db.close()


def test_commands_that_open_files() -> None:
    path = Path("/stores/a b/[x].tif")
    assert system_viewer.viewer(path, "", "darwin") == ["open", str(path)]
    assert system_viewer.viewer(path, "", "linux") == ["xdg-open", str(path)]
    assert system_viewer.viewer(path, 'edit --title "new one"', "linux") == ["edit", "--title", "new one", str(path)]
    assert system_viewer.revealer(path, "darwin") == ["open", "-R", str(path)]
    assert system_viewer.revealer(path, "linux") == ["xdg-open", "/stores/a b"]


def test_a_missing_program_is_an_error_with_a_hint() -> None:
    from catalogue.errors import CatalogueError

    with pytest.raises(CatalogueError, match="surely-no-such-program-here") as caught:
        system_viewer.start_program(["surely-no-such-program-here", "x"])
    assert "open_with" in caught.value.hint


def test_a_path_that_is_no_text_can_be_shown() -> None:
    assert text_of(Path(os.fsdecode(b"/stores/caf\xe9.tif"))) == "/stores/caf\\xe9.tif"


async def test_themes_change_and_places_keep_their_digits(shop: Shop) -> None:
    async with running(shop) as pilot:
        dark = pilot.app.theme
        await pilot.press("t")
        assert pilot.app.theme != dark
        for digit, place in enumerate(("browse", "orders", "alike", "audit", "intake", "stores", "health"), 1):
            pilot.app.screen.set_focus(None)
            await pilot.press(str(digit))
            await settled(pilot)
            assert pilot.app.current_mode == place
        await pilot.click("PageBar", offset=(16, 0))
        await settled(pilot)
        assert pilot.app.current_mode == "orders"
        assert not pilot.app.screen.query(Select)


@pytest.mark.parametrize("protocol", ["kitty's", "sixel"])
async def test_sharp_pictures_lie_where_the_drawn_ones_would(shop: Shop, protocol: str) -> None:
    """As their library writes them; headless, so only placing and clearing are seen."""
    from textual_image.widget import TGPImage

    from catalogue.screens.pictures.sixel import SixelPicture

    kind = TGPImage if protocol == "kitty's" else SixelPicture
    app = CatalogueApp(shop, colours=True, sharp=kind)
    async with app.run_test(size=(120, 40)) as pilot:
        await until(pilot, lambda: bool(app.screen.query(kind)))
        await settled(pilot)
        image = app.screen.query_one(kind)
        place = app.screen.query_one("#preview-picture")
        assert image.size.width <= place.size.width
        assert image.size.height <= place.size.height
        assert image.size.area > 100
        if kind is SixelPicture:
            def brought() -> int:
                return sum("\x1bPq" in row or "\x1bP0" in row
                           for row in (strip.render(app.console) for strip in image.render_lines(image.size.region)))

            await until(pilot, lambda: brought() == 1)
            await pilot.press("question_mark")
            await settled(pilot)
            assert brought() == 0  # nothing shows through a panel
            await pilot.press("escape")
            await settled(pilot)
            assert brought() == 1
        await pilot.press("7")  # a place without pictures
        await settled(pilot)
        await pilot.press("1", "down")
        await settled(pilot)
        assert len(app.screen.query(kind)) == 1
    app.close_threads()
