"""Every key that the help names reaches its action, on every screen; made from the table itself."""

import asyncio
import io
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from textual.screen import Screen
from textual.widgets import Button, Input, Static

from catalogue.indexing.corrections import Correction
from catalogue.screens.actions.opening import open_piece
from catalogue.screens.app import CatalogueApp
from catalogue.screens.background.threads import WorkerThread
from catalogue.screens.dialogs.audit import AuditDialog
from catalogue.screens.dialogs.capture_plan import CapturePlanDialog
from catalogue.screens.dialogs.confirm import Choice, ConfirmDialog, MessageDialog, ReasonDialog, TextQuestion
from catalogue.screens.dialogs.form import Field, FormDialog
from catalogue.screens.dialogs.help import HelpDialog
from catalogue.screens.dialogs.repeat import RepeatDialog
from catalogue.screens.dialogs.search import SearchDialog
from catalogue.screens.dialogs.sheet import JobSheetPanel, Sheet, SheetPanel
from catalogue.screens.keys import EVERYWHERE, KEYS, LISTS, PAGE_TITLES, Key
from catalogue.screens.pages.add_store import AddStorePage
from catalogue.screens.pages.buyers import BuyersPage
from catalogue.screens.pages.names import NamesPage, Reading
from catalogue.screens.widgets.bars import KeyLine
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home
from tests.screens.shop import older_scan_current, running, settled
from tests.waiting import HANG_SECONDS

MODES = [mode for mode, _ in PAGE_TITLES]
DIALOGS: dict[str, Callable[[], Screen[Any]]] = {
    "help": HelpDialog, "search": SearchDialog, "repeat": RepeatDialog,
    "question": lambda: ConfirmDialog("Really?", "", yes="Yes"), "words": lambda: MessageDialog("Words", "text"),
    "form": lambda: FormDialog("Piece", [Field("title", "Title", "Pier")], lambda _: lambda _: Correction(0, "")),
    "names": lambda: NamesPage("Names", lambda _: lambda _: [], WorkerThread("test", object), Reading(),
                               lambda _: None),
    "choice": lambda: Choice("Which?", [(1, "this", ""), (2, "that", "")]),
    "reason": lambda: ReasonDialog("Why?", ""), "auditing": lambda: AuditDialog([]), "adding": AddStorePage,
    "line": lambda: TextQuestion("What?", "Say it."), "plan": CapturePlanDialog,
    "buyers": lambda: BuyersPage(lambda _: None),
    "job_sheet": lambda: JobSheetPanel(1, "A-1", lambda _: Sheet(Path("sheet.html"), "words")),
    "sheet": lambda: SheetPanel("Sheet", lambda _: Sheet(Path("sheet.html"), "words")),
}


async def _press_all(pilot: Any, keys: tuple[Key, ...], monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of keys that did not reach their action. Actions are noted, not run."""
    app, ran = pilot.app, []

    async def note(action: Any, default_namespace: Any = None, namespaces: Any = None) -> bool:
        name = action if isinstance(action, str) else action[1]
        if name.startswith(("scroll_", "page_")) and namespaces is None and isinstance(default_namespace, Input):
            return False  # as an input does, which is one line high: the key goes on to the screen
        ran.append(name)
        return True

    missed = []
    with monkeypatch.context() as patch:
        patch.setattr(app, "run_action", note)
        for key in keys:
            for name in key.keys.split(","):
                ran.clear()
                app.simulate_key(name)
                end = time.monotonic() + HANG_SECONDS
                while not ran and time.monotonic() < end:
                    await asyncio.sleep(0.001)
                if not any(action.removeprefix("app.") == key.action.removeprefix("app.") for action in ran):
                    missed.append(f"{name}: {key.action}, but {ran}")
    return missed


async def test_every_key_of_every_place_works(shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    async with running(shop) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        for place in (*MODES, "piece"):
            if place == "piece":
                open_piece(app, 1)
            else:
                await app.action_show_page(place)
            await settled(pilot)
            page = app.screen
            assert place == page.KEY_CONTEXT  # type: ignore[attr-defined]
            page.query(RowTable).last().focus()
            await pilot.pause()
            missed = await _press_all(pilot, (*KEYS[place], *LISTS, *EVERYWHERE), monkeypatch)
            assert missed == [], place
            for key in (*KEYS[place], *EVERYWHERE):
                name = key.action.removeprefix("app.").partition("(")[0]
                owner = app if key.action.startswith("app.") else page
                assert hasattr(owner, f"action_{name}"), f"{key.shown} leads nowhere: {key.action}"


async def test_every_key_of_every_dialog_works(shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    async with running(shop) as pilot:
        for place, made in DIALOGS.items():
            dialog = made()
            if isinstance(dialog, RepeatDialog):
                dialog.begin(piece_id=1)
            await pilot.app.push_screen(dialog)
            await settled(pilot)
            keys = tuple(key for key in KEYS[place] if not (key.keys == "enter" and place in BY_FOCUS))
            missed = await _press_all(pilot, keys, monkeypatch)
            assert missed == [], place
            for key in KEYS[place]:
                assert hasattr(dialog, f"action_{key.action}"), f"{key.shown} leads nowhere: {key.action}"
            await pilot.app.pop_screen()


@pytest.mark.parametrize("place", DIALOGS)
async def test_ctrl_q_leaves_from_every_panel(shop: Home, place: str) -> None:
    async with running(shop) as pilot:
        dialog = DIALOGS[place]()
        if isinstance(dialog, RepeatDialog):
            dialog.begin(piece_id=1)
        await pilot.app.push_screen(dialog)
        await settled(pilot)
        await pilot.press("ctrl+q")
        assert pilot.app._exit


@pytest.mark.parametrize("size", [(80, 24), (120, 40), (160, 48), (200, 60)])
async def test_the_keys_of_every_panel_are_seen(shop: Home, size: tuple[int, int]) -> None:
    older_scan_current(shop)    # with the most to say
    async with running(shop, size=size) as pilot:
        for place, made in DIALOGS.items():
            dialog = made()
            if isinstance(dialog, RepeatDialog):
                dialog.begin(piece_id=1)
            await pilot.app.push_screen(dialog)
            await settled(pilot)
            for line in (*dialog.query(KeyLine), *dialog.query(Button)):
                if line.display and not isinstance(dialog, AddStorePage | NamesPage):
                    seen = dialog.find_widget(line)
                    assert seen.visible_region == seen.region and seen.region.height, (place, line)
            await pilot.app.pop_screen()


# Where Enter belongs to the focused button, field or list, and is tried with the action itself elsewhere.
BY_FOCUS = ("repeat", "auditing", "reason", "adding", "search", "line", "plan", "buyers")


def test_no_screen_uses_a_key_twice() -> None:
    for place, keys in KEYS.items():
        names = [name for key in keys for name in key.keys.split(",")]
        assert len(names) == len(set(names)), place


async def test_help_names_every_action(shop: Home) -> None:
    async with running(shop, place="alike") as pilot:
        await pilot.press("question_mark")
        await settled(pilot)
        console = Console(width=400, file=io.StringIO())
        with console.capture() as shown:
            for static in pilot.app.screen.query(Static):
                console.print(static.content)
        text = shown.get()
        for key in (*KEYS["alike"], *LISTS, *EVERYWHERE):
            assert key.help in text


@pytest.mark.parametrize("width", [40, 80, 120, 200])
@pytest.mark.parametrize("place", list(KEYS))
def test_the_key_line_never_overflows(place: str, width: int) -> None:
    """At 80 columns and fewer as well; help is always named on pages."""
    line = KeyLine(place, exclusive=place in DIALOGS)
    shown = line.fitting(width)
    text = " " + "   ".join(f"{key.shown} {key.label}" for key in shown)
    assert len(text) <= width
    if place in MODES:
        assert shown[-1].action == "app.help"


async def test_palette_lists_and_runs_actions(shop: Home) -> None:
    async with running(shop) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        titles = [command.title for command in app.get_system_commands(app.screen)]
        assert len(titles) == len(KEYS["browse"]) + len(EVERYWHERE) - 1
        await pilot.press("ctrl+p")
        await pilot.pause()
        assert app.screen.query_one("CommandInput", Input).placeholder == "What do you want to do?"
        for letter in "light or dark":
            await pilot.press({" ": "space"}.get(letter, letter))
        await settled(pilot)
        before = app.theme
        await pilot.press("enter")
        await settled(pilot)
        assert app.theme != before
