"""What is shown is what is acted on, at any pace; nothing written is dropped; no key is lost or goes elsewhere.

A burst is what a terminal sends when keys come faster than answers. Threads that read are held up meanwhile. What comes
of it must be what a person gets who waits after every key.
"""

from pathlib import Path
from typing import Any

import pytest
from textual import events
from textual.pilot import Pilot
from textual.screen import Screen
from textual.widgets import Input

from catalogue.likeness.evidence import Evidence, Relation
from catalogue.reading.model import Fault
from catalogue.records import findings, likenesses, orders, pieces, scans
from catalogue.records.database import open_database, transaction
from catalogue.screens import system_viewer
from catalogue.screens.actions import files, opening, repeating
from catalogue.screens.actions.opening import open_piece
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.confirm import ConfirmDialog, MessageDialog, ReasonDialog
from catalogue.screens.dialogs.repeat import RepeatDialog
from catalogue.screens.dialogs.search import SearchDialog
from catalogue.screens.keys import KEYS, PAGE_TITLES
from catalogue.screens.pages.alike import NOTHING_TO_UNDO
from catalogue.screens.pages.piece import PiecePage
from catalogue.screens.widgets.held_rows import ROW_GONE
from catalogue.screens.widgets.paged_table import PagedTable, Source
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home
from tests.screens.shop import WHOLE, burst, held_up, running, said, settled, sha, until, words
from tests.screens.test_snapshots import tiles_proposed

LANES = ("read", "disks", "alike", "health", "search")
# The list of each place whose rows keys act on.
LISTS = {"browse": "#pieces", "piece": "#scans", "orders": "#lines", "alike": "#pairs", "audit": "#findings",
         "intake": "#proposals", "stores": "#stores-table", "health": "#criteria"}
# Keys that act on the row under the cursor; all others of a place do the same wherever it stands.
ON_ROWS = {"browse": {"open", "repeat", "edit", "mark", "copy_path", "open_file", "reveal"},
           "piece": {"edit", "mark", "copy_path", "open_file", "reveal", "make_current"},
           "orders": {"open", "repeat", "sheet", "sheet_and_copy", "print_file", "move_on", "edit", "mark",
                      "cancel_lines", "hand_over"},
           "alike": {"confirm", "reject", "open", "piece"},
           "stores": {"index", "audit", "bring_up_to_date", "retire"},
           "audit": {"next_step", "accept", "piece"},
           "intake": {"answer", "take_or_leave"}, "health": {"answer"}}


@pytest.fixture
def busy(shop: Home) -> Home:
    """The shop with pairs of several pieces to judge, more findings, orders in different states."""
    db = open_database(shop.database)
    with transaction(db):
        for one, two in ((1, 2), (22, 3), (23, 4), (21, 11)):
            evidence = Evidence(Relation.REWORKED, 0.9 - one / 100, ("made up for a test",), size_a=(160, 120),
                                size_b=(160, 120), matrix=WHOLE)
            a, b = (scans.by_digest(db, sha(n)) for n in (one, two))
            assert a and b
            likenesses.keep(db, a.id, b.id, "reworked", 0.9 - one / 100, evidence.to_json())
        for name in ("a.tif", "b.tif"):
            findings.record(db, Fault.NOT_A_PICTURE if name == "a.tif" else "no profile", f"{name} begins as text",
                            path=name, hint=f"Rename {name}.",
                            scan_id=scans.by_digest(db, sha(2 if name == "a.tif" else 4)).id)
        for number, status in (("A-104", "requested"), ("A-103", "approved")):
            orders.set_status(db, orders.by_number(db, number).id, status)
    db.close()
    return shop


class Trace:
    """What keys have set off, by what it was about; noted, not done."""

    def __init__(self, app: CatalogueApp, patch: pytest.MonkeyPatch) -> None:
        self.noted: list[Any] = []
        patch.setattr(opening, "open_piece", lambda _, *given: self.noted.append(("open", given)))
        patch.setattr(repeating, "offer_repeat", lambda _, **given: self.noted.append(("repeat", given)))
        patch.setattr(app.writes, "add", lambda what, *_, **__: self.noted.append(("write", what)))
        patch.setattr(app, "begin", lambda name, *_: self.noted.append(("work", name)))
        patch.setattr(app, "copy_to_clipboard", lambda text: self.noted.append(("path", text)))
        patch.setattr(app, "push_screen", lambda screen, *_: self.noted.append(("panel", told_by(screen))))
        patch.setattr(system_viewer, "start_program", lambda command: self.noted.append(("start", command)))
        for name in ("index", "copy", "job_sheet", "print_files", "restore"):
            for module in ("orders", "stores", "audit"):
                patch.setattr(f"catalogue.screens.pages.{module}.start_{name}",
                              lambda _, *given, name=name: self.noted.append(
                                  (name, [value for value in given if not callable(value)])), raising=False)

    def take(self) -> list[Any]:
        noted, self.noted = self.noted, []
        return noted


def told_by(screen: Screen[Any]) -> Any:
    """What a panel asks about: everything it was made with."""
    return type(screen).__name__, *(str(value) for name, value in sorted(vars(screen).items())
                                    if name in ("_title", "_text", "_below", "_names", "_proposal", "_rows"))


async def at(pilot: Pilot[None], place: str, tmp_path: Path) -> RowTable[Any]:
    """The list of a place, as when it is first looked at."""
    app = pilot.app
    assert isinstance(app, CatalogueApp)
    await settled(pilot)
    if place == "piece":
        open_piece(app, 1)
    else:
        await app.action_show_page(place)
    await settled(pilot)
    table = app.screen.query_one(LISTS[place], RowTable)
    if place == "intake":
        app.screen._show(tiles_proposed(tmp_path))  # type: ignore[attr-defined]
    table.focus()
    if place == "health":
        app.screen.query_one("#areas", RowTable).cursor_row = 0
    await settled(pilot)
    assert table.row_count > 1
    return table


@pytest.mark.parametrize("place", list(LISTS))
async def test_every_key_acts_on_the_row_that_the_keys_before_have_led_to(
        busy: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str) -> None:
    """For every key of the table of keys: down and that key at once, while nothing can be read, does what it does for
    somebody who waits in between."""
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        table = await at(pilot, place, tmp_path)
        down = next(n for n, row in enumerate(table.rows_held) if row.asks) if place == "health" else 1
        with monkeypatch.context() as patch:
            trace = Trace(app, patch)
            for key in KEYS[place]:
                if key.action in ("pane_left", "pane_right", "leave_box", "back", "look", "watch", "clear_after",
                                  "next_status", "all", "undo", "next_view") or key.action.startswith("view"):
                    continue
                name = key.keys.split(",")[0]
                seen = []
                for way in ("first", "slow", "burst"):
                    table.focus()
                    table.cursor_row = 0
                    table.unmark_all()
                    app.clear_notifications()
                    await settled(pilot)
                    if way == "burst":
                        with held_up(app, *LANES):
                            await burst(pilot, *["down"] * down, name)
                    elif way == "slow":
                        for step in (*["down"] * down, name):
                            await burst(pilot, step)
                            await settled(pilot)
                    else:
                        await burst(pilot, name)
                    await settled(pilot)
                    seen.append((trace.take(), said(pilot), [getattr(row, "take", None) for row in table.rows_held],
                                 [table._held.identity(row) for row in table.marked]))
                    if place == "intake":
                        app.screen._show(tiles_proposed(tmp_path))  # type: ignore[attr-defined]
                first, slow, fast = seen
                assert fast == slow, key
                assert (slow != first) == (key.action in ON_ROWS[place]), (key, seen)


async def test_a_search_opens_what_was_typed_not_what_stood_there(busy: Home) -> None:
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        await burst(pilot, "slash", *"harbour", "space", *"low")
        await settled(pilot)
        assert app.screen.query_one("#found", RowTable).highlighted.name == "Harbour, Low Water"
        with held_up(app, "search"):
            await burst(pilot, *["backspace"] * 11, *"kites", "enter")
        await settled(pilot)
        assert isinstance(app.screen, PiecePage)
        assert app.screen.piece_id == 3


async def test_down_after_the_last_letter_waits_for_what_that_letter_finds(busy: Home) -> None:
    """Up and down are no keys of the box, though the class of the box inherits some of these names."""
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        await burst(pilot, "slash", *"umberlo")
        await settled(pilot)
        table = app.screen.query_one("#found", RowTable)
        first, second = (row.piece_id for row in table.rows_held)
        assert first != second
        with held_up(app, "search"):
            await burst(pilot, "w", "down", "enter")
        await settled(pilot)
        assert isinstance(app.screen, PiecePage)
        assert app.screen.piece_id == second


async def test_a_second_answer_for_the_same_words_keeps_the_cursor_on_its_line(busy: Home) -> None:
    """Another seat records an order meanwhile, which comes first in the list."""
    async with running(busy) as pilot:
        app = pilot.app
        await burst(pilot, "slash", *"umberlow")
        await settled(pilot)
        await burst(pilot, "down")
        await settled(pilot)
        dialog = app.screen
        assert isinstance(dialog, SearchDialog)
        table = dialog.query_one("#found", RowTable)
        meant = table.highlighted
        db = open_database(busy.database)
        with transaction(db):
            order = orders.save(db, "A-200", "2026-01-20", buyer="Hotel Umberlow", status="printed", currency="EUR")
            orders.add_line(db, order, orders.NewLine(3, 600, 450, 1, "cotton rag 310 g"))
        db.close()
        dialog.on_input_changed(Input.Changed(dialog.query_one("#words", Input), "umberlow"))
        await settled(pilot)
        assert table.row_count == 3
        assert table.highlighted == meant


async def test_enter_then_r_repeats_the_piece_that_was_opened(busy: Home) -> None:
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        await burst(pilot, "end", "enter")
        await settled(pilot)
        shown = app.screen
        assert isinstance(shown, PiecePage)
        first = shown.piece_id
        await burst(pilot, "escape", "home")
        await settled(pilot)
        with held_up(app):
            await burst(pilot, "down", "enter", "r")
        await settled(pilot)
        assert isinstance(app.screen, RepeatDialog)
        assert shown.piece_id != first
        assert app.screen._subject == {"line_id": None, "piece_id": shown.piece_id}


async def test_verdicts_in_a_burst_are_of_one_pair_after_the_other(busy: Home) -> None:
    async with running(busy, place="alike") as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        wanted = [row.pair.id for row in table.rows_held]
        with held_up(pilot.app, *LANES, "write"):  # type: ignore[arg-type]
            await burst(pilot, "r", "r", "r")
        await settled(pilot)
        assert table.row_count == len(wanted) - 3
    db = open_database(busy.database)
    verdicts = {row.id: row.verdict for row in likenesses.listed(db)}
    assert [verdicts[number] for number in wanted] == ["rejected", "rejected", "rejected", ""]
    db.close()


async def test_space_on_three_originals_at_once_leaves_out_three(busy: Home, tmp_path: Path) -> None:
    async with running(busy) as pilot:
        table = await at(pilot, "intake", tmp_path)
        with held_up(pilot.app, "disks"):  # type: ignore[arg-type]
            await burst(pilot, "space", "down", "space")
        await settled(pilot)
        assert [row.take for row in table.rows_held] == [False, False]


async def test_an_answer_about_one_original_stays_with_it(busy: Home, tmp_path: Path) -> None:
    """The folder is looked at again while the panel is open, and the originals come in another order."""
    async with running(busy) as pilot:
        table = await at(pilot, "intake", tmp_path)
        page, plan = pilot.app.screen, tiles_proposed(tmp_path)
        await burst(pilot, "down", "enter")
        await settled(pilot)
        page._show(type(plan)(plan.folder, plan.store_id, plan.store, plan.root,
                              plan.proposals[::-1]))  # type: ignore[attr-defined]
        pilot.app.screen.query_one("#answer-artist", Input).value = "Nell Orrin"
        pilot.app.screen.query_one("#answer-piece", Input).value = "Stair"
        await burst(pilot, "ctrl+s")
        await settled(pilot)
        assert {row.kind.value: row.artist.value for row in table.rows_held} == {
            plan.proposals[0].kind.value: "Tobin Quarrel", plan.proposals[1].kind.value: "Nell Orrin"}


async def test_a_finding_closed_by_another_seat_is_not_acted_on(busy: Home) -> None:
    async with running(busy, place="audit") as pilot:
        table = pilot.app.screen.query_one("#findings", RowTable)
        db = open_database(busy.database)
        with transaction(db):
            findings.resolve_by_id(db, table.rows_held[1].id, "elsewhere")
        db.close()
        await burst(pilot, "down", "e")
        await settled(pilot)
        assert not isinstance(pilot.app.screen, ReasonDialog)
        assert "closed in the meantime" in words(pilot)


def taken_away(table: RowTable[Any]) -> None:
    """The list as it comes back after another seat has removed the row under the cursor."""
    gone = table._held.identity(table.highlighted)
    if isinstance(table, PagedTable):
        source = table._source
        assert source is not None
        table.show(Source(lambda *asked: [row for row in source.page(*asked) if table._held.identity(row) != gone]),
                   keep=True)
    else:
        rows = [row for row in table.rows_held if table._held.identity(row) != gone]
        table.show_rows(rows, keep=True)


@pytest.mark.parametrize("place", list(LISTS))
async def test_a_row_that_another_seat_removed_is_said_to_be_gone_and_its_neighbour_left_alone(
        busy: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str) -> None:
    """For every key that acts on a row: one word, nothing done; from the next row on it acts again."""
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        table = await at(pilot, place, tmp_path)
        meant, count = table.highlighted, table.row_count
        following = table._held.identity(table.rows_held[1])
        taken_away(table)
        await settled(pilot)
        assert table.highlighted is meant
        with monkeypatch.context() as patch:
            trace = Trace(app, patch)
            for key in KEYS[place]:
                if key.action in ON_ROWS[place]:
                    app.clear_notifications()
                    await burst(pilot, key.keys.split(",")[0])
                    await settled(pilot)
                    assert trace.take() == [], key
                    assert len(said(pilot)) == 1, key
                    assert ROW_GONE in said(pilot)[0], key
        await burst(pilot, "down")
        await settled(pilot)
        assert table._held.identity(table.highlighted) == following
        assert table.row_to_act_on is table.highlighted
        assert table.row_count == count - 1


async def test_a_click_on_a_row_that_is_gone_opens_nothing(busy: Home) -> None:
    async with running(busy) as pilot:
        table = pilot.app.screen.query_one("#pieces", RowTable)
        taken_away(table)
        await settled(pilot)
        await pilot.click("#pieces", offset=(5, table.cursor_row + table._header_height + 1))     # below the border
        await settled(pilot)
        assert not isinstance(pilot.app.screen, PiecePage)
        assert [ROW_GONE in text for text in said(pilot)] == [True]


async def test_a_finding_closed_elsewhere_stays_under_the_cursor_until_it_leaves(busy: Home) -> None:
    """In the catalogue itself: the list is read again, and the key after that does not close the next finding."""
    async with running(busy, place="audit") as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        table = app.screen.query_one("#findings", RowTable)
        meant, following = table.rows_held[:2]
        db = open_database(busy.database)
        with transaction(db):
            findings.resolve_by_id(db, meant.id, "elsewhere")
        app.changes.tell(of_others=True)
        await settled(pilot)
        await burst(pilot, "e")
        await settled(pilot)
        assert not isinstance(app.screen, ReasonDialog)
        assert [ROW_GONE in text for text in said(pilot)] == [True]
        await burst(pilot, "down", "e", *"seen", "enter")
        await settled(pilot)
        still_open = {row.id for row in findings.list_open(db)}
        assert following.id not in still_open
        assert table.highlighted.id in still_open, "the person closed one, and the cursor is on the next"
        db.close()


# Writes

async def test_writes_wait_for_the_lock_say_so_and_keep_their_order(busy: Home,
                                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.records.database.BUSY_SECONDS", 0.01)
    monkeypatch.setattr("catalogue.screens.background.write_queue.SLOW", 0.0)
    other = open_database(busy.database)
    async with running(busy, place="alike") as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        wanted = [row.pair.id for row in app.screen.query_one("#pairs", RowTable).rows_held]
        with transaction(other):
            await burst(pilot, "r", "r", "r", "r")
            await until(pilot, lambda: "another program is writing" in words(pilot))
            assert [row.verdict for row in likenesses.listed(other)] == ["", "", "", ""]
        await until(pilot, lambda: not app.writes.open and app.gate.idle)
        await settled(pilot)
        verdicts = {row.id: row.verdict for row in likenesses.listed(other)}
        assert [verdicts[number] for number in wanted] == ["rejected"] * 4
        assert not any("Not done" in text for text in said(pilot))
    other.close()


async def test_a_write_that_fails_is_told_with_what_was_not_done(busy: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("nobody thought of this")

    async with running(busy, place="alike") as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        row = table.highlighted
        with monkeypatch.context() as patch:
            patch.setattr("catalogue.operations.judging.record_verdict", broken)
            await burst(pilot, "r")
            await settled(pilot)
        assert any(text.startswith("Not done: ") and f"{row.first} and {row.second}." in text for text in said(pilot))
        assert table.highlighted == row
        await burst(pilot, "u")
        await settled(pilot)
        assert any(NOTHING_TO_UNDO in text for text in said(pilot))


async def test_leaving_waits_for_what_is_not_recorded_and_asks(busy: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.records.database.BUSY_SECONDS", 0.01)
    monkeypatch.setattr("catalogue.screens.actions.leaving.PATIENCE", 0.05)
    other = open_database(busy.database)
    async with running(busy, place="alike") as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        with transaction(other):
            await burst(pilot, "r", "q")
            await until(pilot, lambda: isinstance(app.screen, ConfirmDialog))
            assert "not the same: " in words(pilot)
            assert app.focused.id == "no"  # type: ignore[union-attr]
            await burst(pilot, "enter")
            await settled_but_writing(pilot)
            assert not app._exit
        await until(pilot, lambda: not app.writes.open)
        await settled(pilot)
        await burst(pilot, "q")
        await until(pilot, lambda: app._exit)
    assert sum(row.verdict == "rejected" for row in likenesses.listed(other)) == 1
    other.close()


async def settled_but_writing(pilot: Pilot[None]) -> None:
    app = pilot.app
    assert isinstance(app, CatalogueApp)
    await until(pilot, lambda: app.gate.idle and not isinstance(app.screen, ConfirmDialog))


# Keys and text

SLOW = ("read", "search", "words")


async def test_letters_after_the_key_that_opens_the_search_reach_it(busy: Home) -> None:
    """At its first showing: it is made only now."""
    async with running(busy) as pilot:
        with held_up(pilot.app, *SLOW):  # type: ignore[arg-type]
            await burst(pilot, "slash", *"kites")
        await settled(pilot)
        assert pilot.app.screen.query_one("#words", Input).value == "kites"


async def test_keys_before_the_first_page_are_kept(busy: Home) -> None:
    app = CatalogueApp(busy, colours=True)
    async with app.run_test(size=(120, 40)) as pilot:
        await burst(pilot, "slash", *"kites", "enter")
        await until(pilot, lambda: isinstance(app.screen, PiecePage))
        await settled(pilot)
        assert "Three Kites" in words(pilot)
    app.close_threads()


@pytest.mark.parametrize("first_showing", [True, False])
async def test_a_form_filled_at_once_is_filled_as_by_a_slow_typist(busy: Home, first_showing: bool) -> None:
    async with running(busy) as pilot:
        if not first_showing:
            await burst(pilot, "r")
            await settled(pilot)
            await burst(pilot, "escape")
            await settled(pilot)
        keys = ("r", "1", "0", "tab", *"40x30", "tab", *"canvas", "tab", *"5", "tab", *"40")
        with held_up(pilot.app):  # type: ignore[arg-type]
            await burst(pilot, *keys)
        await settled(pilot)
        form = {name: pilot.app.screen.query_one(f"#repeat-{name}", Input).value
                for name in ("quantity", "size", "medium", "border", "wrap")}
        assert form == {"quantity": "10", "size": "40x30", "medium": "canvas", "border": "5", "wrap": "40"}


async def test_keys_keep_their_order_where_the_gate_gives_up_waiting_for_the_one_before(
        busy: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a machine that gives the program no time: a key that was let in goes its way, and is not queued again."""
    async with running(busy) as pilot:
        app = pilot.app
        await burst(pilot, "slash")
        await settled(pilot)
        monkeypatch.setattr("catalogue.screens.key_gate.LONGEST", 0.0)
        await burst(pilot, *"canvas 40")
        await settled(pilot)
        assert app.screen.query_one("#words", Input).value == "canvas 40"


async def test_a_fault_in_judging_what_keys_wait_for_is_told_and_locks_no_key(
        busy: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> bool:
        raise RuntimeError("nobody thought of this")

    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        with held_up(app):
            with monkeypatch.context() as patch:
                patch.setattr(app.gate, "_concerns", broken)
                await burst(pilot, "enter", "slash")
                await until(pilot, lambda: isinstance(app.screen, SearchDialog))
            await until(pilot, lambda: app.gate.idle)
        await settled(pilot)
        assert ["nobody thought of this" in text for text in said(pilot)] == [True]
        await burst(pilot, *"kites")
        await settled(pilot)
        assert app.screen.query_one("#words", Input).value == "kites"


async def test_pasted_text_keeps_its_place_among_keys(busy: Home) -> None:
    async with running(busy) as pilot:
        app = pilot.app
        await burst(pilot, "slash", *"ki")
        for event in (events.Paste("te"), events.Key("s", "s"), events.Paste(" x"), events.Key("y", "y")):
            event.set_sender(app)
            app.post_message(event)
        await settled(pilot)
        assert app.screen.query_one("#words", Input).value == "kites xy"


@pytest.mark.parametrize("place", [mode for mode, _ in PAGE_TITLES])
async def test_keys_at_the_first_showing_of_a_page_reach_it(busy: Home, place: str) -> None:
    """Go there, to the last row of its list, and to another place: as somebody who waits."""
    digit = str([mode for mode, _ in PAGE_TITLES].index(place) + 1)
    async with running(busy, place="orders" if place == "browse" else "browse") as pilot:
        app = pilot.app
        with held_up(app, *LANES):  # type: ignore[arg-type]
            await burst(pilot, digit, *(["escape"] if place == "intake" else []), "end", "question_mark")
        await settled(pilot)
        assert type(app.screen).__name__ == "HelpDialog"
        page = app.screen_stack[-2]
        assert place == page.MODE  # type: ignore[attr-defined]
        if place not in ("intake",):
            table = page.query_one(LISTS[place], RowTable)
            assert table.cursor_row == table.row_count - 1 > 0


async def test_a_letter_typed_into_a_field_is_a_letter_and_not_offered_as_a_key(busy: Home) -> None:
    async with running(busy, place="intake", size=(200, 60)) as pilot:
        app = pilot.app
        line = app.screen.query_one("KeyLine")
        assert "w watch" not in str(line.render()) and "^r refresh" in str(line.render())  # type: ignore[operator]
        await burst(pilot, *"gwd", "1", "q")
        await settled(pilot)
        assert app.screen.query_one("#intake-folder", Input).value == "gwd1q"
        await burst(pilot, "escape")
        await settled(pilot)
        assert "w watch" in str(line.render())


async def test_esc_and_a_letter_sent_at_once_are_two_keys(busy: Home) -> None:
    """A terminal sends the same bytes for Esc, w and for Alt-W."""
    async with running(busy, place="orders") as pilot:
        await burst(pilot, "question_mark", "alt+s")
        await settled(pilot)
        assert "Order lines, by number" in words(pilot)


async def test_the_place_pressed_again_leaves_what_was_opened_over_it(busy: Home) -> None:
    async with running(busy, place="intake") as pilot:
        app = pilot.app
        page = app.screen
        await burst(pilot, "escape", "slash", *"kites", "enter")
        await settled(pilot)
        assert isinstance(app.screen, PiecePage)
        assert "[5 Intake]" in words(pilot)
        await burst(pilot, "5")
        await settled(pilot)
        assert app.screen is page


async def test_ctrl_q_leaves_although_keys_wait(busy: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.screens.key_gate.PATIENCE", 0.0)
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        with held_up(app):
            await burst(pilot, "enter", "r", "enter")
            await until(pilot, lambda: app.gate.held == 2)
            await burst(pilot, "ctrl+q")
            await until(pilot, lambda: app._exit)


async def test_keys_after_the_one_that_leaves_end_in_nothing(busy: Home) -> None:
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        await burst(pilot, "q", "down", "2", "enter")
    assert not app.screen_stack
    for forwarded in (False, True):     # on its way to a widget, or from it, when the screens went
        late = events.Key("down", None)
        app.gate._admitted.append(late)
        if forwarded:
            late._set_forwarded()
        await app.on_event(late)


async def test_a_disk_that_never_answers_holds_keys_up_for_a_moment_only(busy: Home,
                                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "DISK_PATIENCE", 0.0)
    async with running(busy) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        with held_up(app, "disks"):
            await burst(pilot, "c", "slash", *"ki")
            await until(pilot, lambda: isinstance(app.screen, SearchDialog) and app.gate.idle)
        await settled(pilot)
        assert isinstance(app.screen, SearchDialog), "a late answer opens nothing"
        assert app.screen.query_one("#words", Input).value == "ki"
        assert any("Press the key again" in text for text in said(pilot))


def test_the_words_of_panels_are_used() -> None:
    """What :func:`told_by` compares is what panels hold."""
    assert told_by(ConfirmDialog("T", "x", yes="Y")) == ("ConfirmDialog", "x", "T")
    assert told_by(MessageDialog("T", "x", "b")) == ("MessageDialog", "b", "x", "T")
    assert pieces is not None
