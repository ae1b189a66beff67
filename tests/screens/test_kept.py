"""Screens that are kept, and made ahead: always of what is asked now, never of what was shown before."""

import asyncio
import gc
import weakref
from dataclasses import replace
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Button, Input, Static

from catalogue.errors import Damaged
from catalogue.records import orders, pieces
from catalogue.records.database import open_database, transaction
from catalogue.screens.actions.opening import open_piece
from catalogue.screens.actions.repeating import offer_repeat
from catalogue.screens.app import CatalogueApp
from catalogue.screens.background import changes, garbage, screen_cache
from catalogue.screens.dialogs.help import HelpDialog
from catalogue.screens.dialogs.repeat import RepeatDialog
from catalogue.screens.dialogs.search import SearchDialog
from catalogue.screens.keys import KEYS, PAGE_TITLES
from catalogue.screens.pages.piece import PiecePage
from catalogue.screens.pages.piece_view import piece_view
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home
from tests.screens.shop import held_up, older_scan_current, running, said, settled, sha, typed, until, words


def _app(pilot: Pilot[None]) -> CatalogueApp:
    assert isinstance(pilot.app, CatalogueApp)
    return pilot.app


async def test_what_is_made_ahead_is_what_is_shown(shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screen_cache, "IDLE_SECONDS", 0.01)
    monkeypatch.setattr(screen_cache, "BETWEEN", 0.001)
    async with running(shop, size=(120, 40), ahead=True) as pilot:
        app = _app(pilot)
        made = set(app._registry)
        for mode, _ in PAGE_TITLES:
            await app.action_show_page(mode)
            await settled(pilot)
        await app.action_show_page("browse")
        for key, kind, shown in (("r", RepeatDialog, "Harbour"), ("question_mark", HelpDialog, "Keys"),
                                 ("slash", SearchDialog, "Artist, title, year"), ("enter", PiecePage, "Harbour")):
            await pilot.press(key)
            await settled(pilot)
            assert isinstance(app.screen, kind)
            assert shown in words(pilot)
            framed = app.screen.query_one("#piece-left" if kind is PiecePage else ".panel")
            assert framed.region.x + framed.region.width < app.size.width, "its own sheet of styles holds"
            await pilot.press("escape")
            await settled(pilot)
        assert {node for node in app._registry if isinstance(node, RowTable | Input | Picture)} <= made


async def test_nothing_is_made_while_keys_come(shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screen_cache, "IDLE_SECONDS", 60)
    async with running(shop) as pilot:
        app = _app(pilot)
        await pilot.press("down")
        worker = app.run_worker(screen_cache.make_ahead(app, [PiecePage]))
        await asyncio.sleep(3 * screen_cache.BETWEEN)
        assert worker.is_running
        assert not app.is_screen_installed("PiecePage 1")
        worker.cancel()


async def test_a_repeat_starts_from_what_is_proposed_not_from_the_one_before(shop: Home) -> None:
    async with running(shop) as pilot:
        app = _app(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        first = app.screen
        picture = first.query_one(Picture)._path
        for name, value in (("buyer", "Somebody else"), ("notes", "rush"), ("quantity", "no number")):
            first.query_one(f"#repeat-{name}", Input).value = value
        await settled(pilot)
        assert first.query_one("#record", Button).disabled
        await pilot.press("escape")
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        assert app.screen is first
        shown = {name: first.query_one(f"#repeat-{name}", Input).value for name in ("quantity", "buyer", "notes")}
        assert shown == {"quantity": "1", "buyer": "", "notes": ""}
        assert first.query_one("#repeat-buyer", Input).placeholder == "^l: Café Lumbrel"
        assert "Three Kites" in words(pilot) and "Harbour" not in words(pilot)
        assert first.query_one(Picture)._path == app.preview(sha(3)) != picture
        assert str(first.query_one("#repeat-wrong", Static).content) == ""
        assert first.query_one("#repeat-quantity", Input).has_focus
        await pilot.press("ctrl+l", "enter")
        await settled(pilot)
    db = open_database(shop.database)
    assert [line.buyer for line in orders.lines_of_piece(db, 3)] == ["Café Lumbrel", "Café Lumbrel"]
    assert len(orders.lines_of_piece(db, 1)) == 2
    db.close()


async def test_a_panel_that_records_waits_for_its_answer(shop: Home) -> None:
    other = open_database(shop.database)
    async with running(shop) as pilot:
        app = _app(pilot)
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        await pilot.press("ctrl+l")
        with transaction(other):
            app.screen.query_one("#record", Button).press()
            await until(pilot, lambda: bool(app.writes.open))
            assert isinstance(app.screen, RepeatDialog)
            app.screen.action_back()
            assert isinstance(app.screen, RepeatDialog)
            assert any("Recording …" in text for text in said(pilot))
        await settled(pilot)
        assert not isinstance(app.screen, RepeatDialog)
        assert any("Recorded as order" in text for text in said(pilot))
    other.close()


async def test_help_is_of_the_place_it_is_asked_at(shop: Home) -> None:
    async with running(shop) as pilot:
        for place in ("browse", "health", "orders"):
            await _app(pilot).action_show_page(place)
            await pilot.press("question_mark")
            await settled(pilot)
            dialog = pilot.app.screen
            assert isinstance(dialog, HelpDialog)
            table: Any = dialog.query_one("#help-here", Static).content
            told = [str(cell) for cell in table.columns[1].cells]
            assert told == [key.help for key in KEYS[place]]
            await pilot.press("escape")


async def test_a_theme_turned_meanwhile_is_seen_everywhere(shop: Home) -> None:
    async with running(shop) as pilot:
        app = _app(pilot)
        await pilot.press("slash")
        await settled(pilot)
        box = app.screen.query_one(Input)
        await pilot.press("escape", "2")
        await settled(pilot)
        page = app.screen
        before = box.styles.background, page.query_one(RowTable).styles.background
        await pilot.press("1")
        app.action_turn_light()
        await settled(pilot)
        await pilot.press("2")
        await settled(pilot)
        await pilot.press("slash")
        await settled(pilot)
        assert app.screen.query_one(Input) is box
        after = box.styles.background, page.query_one(RowTable).styles.background
        assert before[0] != after[0] and before[1] != after[1]
        assert {widget.styles.background for widget in page.query("PageBar")} == \
               {widget.styles.background for widget in app.get_screen_stack("browse")[0].query("PageBar")}


async def test_what_another_seat_writes_is_seen(shop: Home) -> None:
    other = open_database(shop.database)
    async with running(shop) as pilot:
        app = _app(pilot)
        await app.action_show_page("orders")
        await settled(pilot)
        lines = app.screen.query_one("#lines", RowTable)
        await app.action_show_page("browse")
        app.changes.look_for_writes()
        await settled(pilot)
        with transaction(other):
            piece = pieces.piece_called(other, 1, "Made Elsewhere")
            order = orders.save(other, "A-200", "2026-02-01", buyer="Ms Colquhane", status="requested", currency="EUR")
            orders.add_line(other, order, orders.NewLine(piece, 300, 200, 1, "baryta"))
        app.changes.look_for_writes()
        await settled(pilot)
        assert "Made Elsewhere" in words(pilot)
        assert lines.row_count == 5, "a page nobody sees does not work"
        await pilot.press("2")
        await until(pilot, lambda: lines.row_count == 6)
    other.close()


async def test_the_search_keeps_nothing_either(shop: Home) -> None:
    async with running(shop) as pilot:
        app = _app(pilot)
        await pilot.press("slash")
        await typed(pilot, "kites")
        assert "Three Kites" in words(pilot)
        await pilot.press("escape")
        with held_up(app, "search"):
            await pilot.press("slash")
            await pilot.pause()
            assert isinstance(app.screen, SearchDialog)
            assert "Three Kites" not in words(pilot)
        assert pilot.app.screen.query_one("#words", Input).value == ""


class Ring:
    """Holds itself, so only a collection lets it go."""

    def __init__(self) -> None:
        self.me = self


@pytest.mark.parametrize(("idle", "collected"), [(0.0, False), (2 * garbage.BREATH, True)])
def test_garbage_is_collected_only_while_nobody_waits(idle: float, collected: bool) -> None:
    gc.collect()
    rings = [Ring() for _ in range(2 * garbage.PILED_UP)]
    gone = weakref.ref(rings[0])
    del rings
    garbage.collect_when_idle(idle)
    assert (gone() is None) == collected


async def test_a_piece_never_shows_what_was_asked_about_another(shop: Home) -> None:
    async with running(shop) as pilot:
        app = _app(pilot)
        open_piece(app, 1)
        await settled(pilot)
        page = app.screen
        assert isinstance(page, PiecePage)
        with held_up(app):
            page.catalogue_changed()
            await pilot.pause()
            db = open_database(shop.database)
            page.show(piece_view(db, 3, {}))
            db.close()
        await settled(pilot)
        assert page.piece_id == 3
        assert "Three Kites" in words(pilot) and "Harbour" not in words(pilot)


async def test_a_piece_opened_late_does_not_cover_what_was_opened_since(shop: Home) -> None:
    async with running(shop) as pilot:
        app = _app(pilot)
        with held_up(app):
            await pilot.press("enter")
            await pilot.press("slash")
            await pilot.pause()
        await settled(pilot)
        assert isinstance(app.screen, SearchDialog)


async def test_a_piece_shown_again_is_told_anew(shop: Home) -> None:
    async with running(shop) as pilot:
        app = _app(pilot)
        await until(pilot, lambda: len(app.changes.online) == 2)
        open_piece(app, 1)
        await settled(pilot)
        assert "✓ share: " in words(pilot)
        await pilot.press("escape")
        app.changes.online = dict.fromkeys(app.changes.online, False)
        open_piece(app, 1)
        await settled(pilot)
        assert "✓ share: " not in words(pilot)


async def test_what_is_recorded_is_what_was_shown_once_and_from_that_scan(shop: Home) -> None:
    """Keys pressed on while it is recorded change nothing, and record nothing again."""
    older_scan_current(shop)
    db = open_database(shop.database)
    before = len(orders.lines_of_piece(db, 1))
    async with running(shop) as pilot:
        app = _app(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        dialog = app.screen
        assert isinstance(dialog, RepeatDialog)
        await pilot.press("ctrl+l", "enter")    # which asks about the other scan
        await settled(pilot)
        with held_up(app):
            dialog.action_record()
            dialog.action_switch_scan()
            dialog.action_record()
            dialog.query_one("#repeat-quantity", Input).value = "7"
            await pilot.pause()
        await settled(pilot)
        assert app.screen is not dialog
    lines = orders.lines_of_piece(db, 1)
    assert len(lines) == before + 1
    assert (lines[0].scan_sha256, lines[0].quantity) == (sha(11), 2)
    db.close()


async def test_another_scan_than_was_shown_is_not_recorded(shop: Home) -> None:
    db = open_database(shop.database)
    before = len(orders.lines_of_piece(db, 1))
    async with running(shop) as pilot:
        app = _app(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        older_scan_current(shop)
        await pilot.press("ctrl+l", "enter")
        await settled(pilot)
        assert any("The scan to print from has changed" in text for text in said(pilot))
        assert len(orders.lines_of_piece(db, 1)) == before
        assert "✗ " in words(pilot)
    db.close()


async def test_a_fault_of_ours_does_not_lock_the_panel(shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> int:
        raise RuntimeError("nobody thought of this")

    monkeypatch.setattr("catalogue.screens.dialogs.repeat_jobs.record_order", broken)
    async with running(shop) as pilot:
        app = _app(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        await pilot.press("ctrl+l", "enter")
        await settled(pilot)
        assert any("nobody thought of this" in text for text in said(pilot))
        await pilot.press("escape")
        assert not isinstance(app.screen, RepeatDialog)


async def test_an_error_that_lasts_is_told_once(shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_: object) -> int:
        raise Damaged("Nothing can be had.")

    async with running(shop) as pilot:
        app = _app(pilot)
        with monkeypatch.context() as patch:
            patch.setattr(changes, "others_writes", broken)
            for _ in range(3):
                app.changes.look_for_writes()
                await settled(pilot)
        assert sum("Nothing can be had" in text for text in said(pilot)) == 1


async def test_while_nothing_is_proposed_nothing_is_shown(shop: Home) -> None:
    async with running(shop, size=(120, 40)) as pilot:
        app = _app(pilot)
        offer_repeat(app, piece_id=3)
        await settled(pilot)
        assert "Café Lumbrel" in words(pilot)
        await pilot.press("escape")
        with held_up(app):
            offer_repeat(app, piece_id=1)
            await pilot.pause()
            assert isinstance(app.screen, RepeatDialog)
            assert "Café Lumbrel" not in words(pilot) and "Three Kites" not in words(pilot).split("╭")[1]
            await pilot.press("ctrl+l", "enter")
            assert isinstance(app.screen, RepeatDialog), "there is nothing to record yet"
        await settled(pilot)
        assert not isinstance(app.screen, RepeatDialog), "Enter waited for what it records"


async def test_a_repeat_starts_from_the_current_master_again(shop: Home) -> None:
    older_scan_current(shop)
    async with running(shop) as pilot:
        app = _app(pilot)
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        told = app.screen.query_one("#repeat-words", Static)
        await pilot.press("ctrl+t")
        await settled(pilot)
        assert "= from last time's scan" in str(told.content)
        await pilot.press("escape")
        offer_repeat(app, piece_id=1)
        await settled(pilot)
        assert "From the current master" in str(told.content)


async def test_a_page_opened_again_does_not_draw_the_picture_of_the_one_before(shop: Home) -> None:
    """Seen or not for a moment, it would be sent, and over a slow line waited for."""
    async with running(shop, size=(120, 40)) as pilot:
        app = _app(pilot)
        await pilot.press("enter")
        await settled(pilot)
        page = app.screen
        assert isinstance(page, PiecePage)
        picture = page.query_one(Picture)
        await until(pilot, lambda: picture._drawing is not None)
        await pilot.press("escape")
        await settled(pilot)
        assert app.screen is not page
        picture.show(b"another", "", picture._shape)
        assert picture._drawing is None
        await settled(pilot)


async def test_over_a_slow_line_pictures_are_smaller(shop: Home) -> None:
    sizes = {}
    for connection in ("fast", "slow"):
        home = replace(shop, settings=replace(shop.settings, connection=connection))
        async with running(home, size=(120, 40)) as pilot:
            picture = pilot.app.screen.query_one(Picture)
            await until(pilot, lambda shown=picture: shown._drawing is not None)
            drawing = picture._drawing
            assert drawing is not None
            sizes[connection] = drawing.width, len(drawing.rows)
    assert sizes["slow"][0] < 0.7 * sizes["fast"][0] and sizes["slow"][1] < 0.7 * sizes["fast"][1]
