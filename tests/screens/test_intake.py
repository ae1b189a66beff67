"""New scans on the intake page: watched while they come, shown with their map, imported, and removed only when safe."""

import shutil
import threading
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from textual.containers import VerticalScroll
from textual.widgets import Button, Checkbox, Input, Static

from catalogue.errors import Damaged
from catalogue.fixity.copying import copy_verified
from catalogue.intake import applying, arrivals, watching
from catalogue.progress import Cancelled
from catalogue.reading.file import read_file
from catalogue.reading.model import Reading
from catalogue.records import pieces
from catalogue.records.database import open_database
from catalogue.screens.app import CatalogueApp
from catalogue.screens.background import folder_watch
from catalogue.screens.dialogs.confirm import ConfirmDialog, MessageDialog
from catalogue.screens.dialogs.proposal_answers import AnswerDialog
from catalogue.screens.pages.intake import NO_SCANS, IntakePage
from catalogue.screens.widgets.intake_tables import WatchedTable
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home, Settings
from catalogue.storage.folders import Entry
from tests.screens.shop import running, said, settled, until, words
from tests.waiting import HANG_SECONDS

Pixels = npt.NDArray[np.uint8]


def scene(seed: int, width: int = 760, height: int = 420) -> Pixels:
    """Spots and strokes everywhere, so that an overlap can be seen."""
    dice = np.random.default_rng(seed)
    picture = cv2.resize(dice.integers(60, 200, (7, 9, 3), dtype=np.uint8), (width, height),
                         interpolation=cv2.INTER_CUBIC)
    for _ in range(420):
        centre = int(dice.integers(0, width)), int(dice.integers(0, height))
        size = int(dice.integers(3, 30))
        cv2.ellipse(picture, centre, (size, max(2, size // 2)), float(dice.integers(0, 180)), 0, 360,
                    tuple(int(c) for c in dice.integers(0, 256, 3)), -1)
    return np.asarray(picture, np.uint8)


def scanned(path: Path, pixels: Pixels, minute: int = 0) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    at = datetime(2026, 3, 1, 10, minute).strftime("%Y:%m:%d %H:%M:%S")
    tifffile.imwrite(path, np.ascontiguousarray(pixels), photometric="rgb", resolution=(600, 600), resolutionunit=2,
                     metadata=None, extratags=[(306, "s", 0, at, True)])
    return path


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Quick looks, read in this process; the names read, once each time."""
    names: list[str] = []

    def here(path: Path, cancelled: Cancelled) -> Reading | None:
        names.append(path.name)
        return None if cancelled() else read_file(path)

    monkeypatch.setattr(folder_watch, "LOOK_SECONDS", 0.02)
    monkeypatch.setattr(watching, "SETTLE", 0.05)
    monkeypatch.setattr(folder_watch, "read_in_subprocess", here)
    return names


def app_of(pilot: Any) -> CatalogueApp:
    assert isinstance(pilot.app, CatalogueApp)
    return pilot.app


def page_of(pilot: Any) -> IntakePage:
    assert isinstance(pilot.app.screen, IntakePage)
    return pilot.app.screen


def details(pilot: Any) -> str:
    return str(page_of(pilot).query_one("#proposal-words").render())


def asked(pilot: Any) -> str:
    """The words of the panel on top."""
    return "\n".join(str(static.content) for static in pilot.app.screen.query(Static))


async def watching_begun(pilot: Any, key: Path) -> WatchedTable:
    page = page_of(pilot)
    page.query_one("#intake-folder", Input).value = str(key)
    await pilot.press("escape", "w")
    await settled(pilot)
    assert "Watching key" in words(pilot) and "Stop watching" in words(pilot)
    return page.query_one(WatchedTable)


async def test_tiles_are_told_as_they_come_and_the_plan_follows(
        shop: Home, tmp_path: Path, read: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    key, whole = tmp_path / "key", scene(5)
    key.mkdir()
    async with running(shop, place="intake") as pilot:
        bells: list[int] = []
        monkeypatch.setattr(pilot.app, "bell", lambda: bells.append(1))
        table = await watching_begun(pilot, key)
        assert "Scan the first tile" in details(pilot)
        scanned(key / "t1.tif", whole[:, :400])
        await until(pilot, lambda: len(table.scans) == 1)
        half = scanned(tmp_path / "t2.tif", whole[:, 300:700], 1).read_bytes()
        (key / "t2.tif").write_bytes(half[:len(half) // 2])     # the scanner rests in the middle of its writing
        await until(pilot, lambda: read.count("t2.tif") >= 2)
        assert len(table.scans) == 1
        (key / "t2.tif").write_bytes(half)
        await until(pilot, lambda: len(table.scans) == 2)
        assert "overlaps t1.tif" in details(pilot) and "1 t1.tif   2 t2.tif" in details(pilot)
        assert not bells
        scanned(key / "t3.tif", np.rot90(whole[:, 330:]), 2)
        await until(pilot, lambda: len(table.scans) == 3 and table.scans[2].state == "warning")
        await settled(pilot)
        assert bells == [1] and any("t3.tif is turned 90°" in text for text in said(pilot))
        text = words(pilot)
        assert "! " in details(pilot) and "Scan it again" in details(pilot)     # in words, not by colour
        assert "check this" in text and "1 to check" in text
        await pilot.press("g")
        assert any("Stop watching first" in text for text in said(pilot))
        (key / "t3.tif").unlink()
        await until(pilot, lambda: table.scans[2].state == "gone")
        assert "removed" in words(pilot)
        await pilot.press("up")
        await settled(pilot)
        assert "overlaps t1.tif" in details(pilot)
        before = len(read)
        monkeypatch.setattr(arrivals, "read_all", lambda *_: pytest.fail("read a second time"))
        await pilot.press("w")
        proposals = page_of(pilot).query_one("#proposals", RowTable)
        await until(pilot, lambda: proposals.row_count == 1)
        await settled(pilot)
        assert len(read) == before
        assert "Stop watching" not in words(pilot) and "tiles" in words(pilot)
        assert "1 t1.tif   2 t2.tif" in details(pilot)


async def test_the_plan_of_a_watch_opens_once_other_long_work_has_ended(
        shop: Home, tmp_path: Path, read: list[str]) -> None:
    key = tmp_path / "key"
    scanned(key / "a.tif", scene(1, 300, 200))
    go = threading.Event()
    async with running(shop, place="intake") as pilot:
        app, page = app_of(pilot), page_of(pilot)
        table = await watching_begun(pilot, key)
        await until(pilot, lambda: len(table.scans) == 1)
        app.begin("Indexing", lambda *_: go.wait(HANG_SECONDS), lambda _: "")
        await pilot.press("w")
        await until(pilot, lambda: "finished: Indexing" in details(pilot))
        go.set()
        proposals = page.query_one("#proposals", RowTable)
        await until(pilot, lambda: proposals.row_count == 1)
        await settled(pilot)
    assert read


async def test_a_watch_by_the_mouse_goes_on_elsewhere_and_ends_when_left(
        shop: Home, tmp_path: Path, read: list[str]) -> None:
    key = tmp_path / "key"
    scanned(key / "a.tif", scene(1, 300, 200))
    async with running(shop, place="intake") as pilot:
        page = page_of(pilot)
        page.query_one("#intake-folder", Input).value = str(key)
        await pilot.click("#intake-watch")
        table = page.query_one(WatchedTable)
        await until(pilot, lambda: len(table.scans) == 1)
        watch = page._watcher
        assert watch is not None and watch.thread.is_alive()
        await app_of(pilot).action_show_page("orders")
        await settled(pilot)
        scanned(key / "b.tif", scene(2, 300, 200), 1)
        await until(pilot, lambda: any("b.tif" in text for text in said(pilot)))
        key.rename(tmp_path / "pulled")     # at rest, or in the middle of a look: then its scans are gone first
        await until(pilot, lambda: any("no such folder" in text or "in this folder are gone" in text
                                       for text in said(pilot)))
        (tmp_path / "pulled").rename(key)
        await until(pilot, lambda: any("The folder is back" in text for text in said(pilot)))
        assert sorted(set(read)) == ["a.tif", "b.tif"] and len(table.scans) == 2
    watch.thread.join(HANG_SECONDS)
    assert not watch.thread.is_alive()


async def test_a_watch_reads_apart_and_is_left_at_once(shop: Home, tmp_path: Path,
                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    """With the real reading process: its file comes; leaving during another waits for nothing."""
    monkeypatch.setattr(folder_watch, "LOOK_SECONDS", 0.02)
    monkeypatch.setattr(watching, "SETTLE", 0.05)
    key = tmp_path / "key"
    scanned(key / "a.tif", scene(1, 300, 200))
    async with running(shop, place="intake") as pilot:
        table = await watching_begun(pilot, key)
        await until(pilot, lambda: len(table.scans) == 1)
        watch = page_of(pilot)._watcher
        assert watch is not None
        scanned(key / "b.tif", scene(2, 300, 200), 1)
        await pilot.press("q")
    watch.thread.join(HANG_SECONDS)
    assert not watch.thread.is_alive()


async def test_what_ends_a_watch_is_said(shop: Home, tmp_path: Path, read: list[str],
                                         monkeypatch: pytest.MonkeyPatch) -> None:
    async with running(shop, place="intake") as pilot:
        await pilot.press("escape", "w")
        assert any("Enter a folder" in text for text in said(pilot))
        table = await watching_begun(pilot, tmp_path / "key")
        await until(pilot, lambda: any("no such folder" in text for text in said(pilot)))
        await pilot.press("w")
        await until(pilot, lambda: any(NO_SCANS in text for text in said(pilot)))
        assert "Stop watching" not in words(pilot) and read == [] and table.scans == []

        page_of(pilot).query_one("#intake-folder", Input).value = str(shop.folder.parent / "main disk")
        await pilot.press("w")
        await until(pilot, lambda: any("main disk" in text for text in said(pilot)))
        page_of(pilot).query_one("#intake-folder", Input).value = str(tmp_path / "key")
        hangs = threading.Event()

        def stuck(_: watching.Watch) -> Iterator[watching.News]:
            hangs.wait()
            yield from ()

        monkeypatch.setattr(watching.Watch, "look", stuck)
        pilot.app.clear_notifications()
        await pilot.press("w")
        await settled(pilot)
        await pilot.press("w", "w")     # a share that does not answer holds nobody up
        await until(pilot, lambda: any(NO_SCANS in text for text in said(pilot)))
        hangs.set()

        def broken(_: watching.Watch) -> Iterator[watching.News]:
            raise OSError(5, "Input/output error")

        monkeypatch.setattr(watching.Watch, "look", broken)
        await pilot.press("w")
        await until(pilot, lambda: any("Input/output error" in text for text in said(pilot)))
        await settled(pilot)
        assert "Stop watching" not in words(pilot)


@pytest.mark.parametrize("size", [(80, 24), (200, 60)])
async def test_the_map_of_tiles_is_whole_on_small_and_large_screens(
        shop: Home, tmp_path: Path, read: list[str], size: tuple[int, int]) -> None:
    key, whole = tmp_path / "key", scene(7)
    for number, left in enumerate((0, 180, 360), 1):
        scanned(key / f"t{number}.tif", whole[:, left:left + 400], number)
    scanned(key / "all.tif", whole, 9)
    async with running(shop, size=size, place="intake") as pilot:
        table = await watching_begun(pilot, key)
        await until(pilot, lambda: any(scan.state == "complete" for scan in table.scans))
        await settled(pilot)
        assert "a stitched master of 3 of these tiles" in " ".join(details(pilot).split())
        await pilot.press("w")
        proposals = page_of(pilot).query_one("#proposals", RowTable)
        await until(pilot, lambda: proposals.row_count == 1)
        await settled(pilot)
        scroll = page_of(pilot).query_one("#proposal-scroll", VerticalScroll)
        text = details(pilot).splitlines()
        top = next(n for n, row in enumerate(text) if "┌" in row)
        bottom = next(n for n, row in enumerate(text) if "└" in row)
        widths = {len(row) for row in text[top:bottom + 1]}
        assert len(widths) == 1 and widths.pop() <= scroll.size.width, "no row is broken"
        assert bottom - top < scroll.size.height, "all of it can be seen at once"
        for number in (1, 2, 3):
            assert any(str(number) in row for row in text[top:bottom]) and f"{number} t{number}.tif" in "\n".join(text)
        scroll.focus()
        await pilot.press("pagedown", "pagedown")
        await settled(pilot)
        assert "all.tif" in words(pilot)


async def proposed_and_answered(pilot: Any, key: Path) -> None:
    page = page_of(pilot)
    page.query_one("#intake-folder", Input).value = str(key)
    page.query_one("#intake-folder", Input).focus()
    await pilot.press("enter")
    await until(pilot, lambda: page.query_one("#proposals", RowTable).row_count and app_of(pilot).work is None)
    await settled(pilot)
    await pilot.press("end", "enter")   # what is held comes first
    await settled(pilot)
    dialog = pilot.app.screen
    assert isinstance(dialog, AnswerDialog)
    dialog.query_one("#answer-artist", Input).value = "Nell Orrin"
    dialog.query_one("#answer-piece", Input).value = "Stair"
    await pilot.press("ctrl+s")
    await settled(pilot)


async def until_taken(pilot: Any) -> None:
    await until(pilot, lambda: any("Importing finished" in text for text in said(pilot)))
    await until(pilot, lambda: app_of(pilot).work is None)
    await settled(pilot)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few bytes read here rather than in processes, which take a second to start."""
    monkeypatch.setattr(arrivals, "read_all", lambda jobs, *_: ((kept, read_file(real)) for kept, real in jobs))


async def test_the_folder_stays_unless_removing_is_chosen_and_said_again(
        shop: Home, tmp_path: Path, quick: None) -> None:
    key = tmp_path / "key"
    scan = scanned(key / "scan [1].tif", scene(3, 120, 90))
    other = scanned(key / "scan [2].tif", scene(3, 120, 90))
    shutil.copy(scan, other)
    both_on_one = Settings(workers=1, copies_on_one_disk=True)  # the stores of a test lie on one disk
    async with running(Home(shop.folder, both_on_one), place="intake") as pilot:
        await until(pilot, lambda: len(app_of(pilot).changes.online) == 2)
        choice = page_of(pilot).query_one("#intake-remove", Checkbox)
        assert not choice.value and "▐ ▌ remove" in words(pilot)
        await proposed_and_answered(pilot, key)
        await pilot.press("d", "g")
        await settled(pilot)
        assert choice.value and "▐X▌ remove" in words(pilot)
        assert "asked again" in asked(pilot)
        await pilot.press("enter")
        await settled(pilot)
        question = pilot.app.screen
        assert isinstance(question, ConfirmDialog) and "2 files" in asked(pilot)
        assert str(key) in asked(pilot) and "2 stores" in asked(pilot)
        assert isinstance(question.focused, Button) and str(question.focused.label) == "Leave the folder unchanged"
        await pilot.press("enter")
        await until_taken(pilot)
        assert scan.exists() and other.exists() and not choice.value
        assert not any("removed" in text for text in said(pilot))
        # what is held by now is removed only after the same question
        await pilot.click("#intake-remove")
        await pilot.press("g")
        await settled(pilot)
        assert isinstance(pilot.app.screen, ConfirmDialog)
        pilot.app.clear_notifications()
        await pilot.press("y")
        await until_taken(pilot)
        report = pilot.app.screen
        assert isinstance(report, MessageDialog)
        told = str(report.query_one("#text").render())
        assert "2 files removed from" in told and "scan [1].tif" in told and "scan [2].tif" in told
        assert list(key.iterdir()) == []
        await pilot.press("escape")
        await settled(pilot)
        assert "No pictures there" in words(pilot) and "scan [1].tif" not in details(pilot)


def damaged_on(name: str) -> Callable[..., Any]:
    """As when a disk gives back other bytes than it was given."""

    def copy(source: Path, target: Entry, **how: Any) -> Any:
        if name in target.path.parts:
            raise Damaged("Other bytes.", path=target.path)
        return copy_verified(source, target, **how)

    return copy


async def test_a_copy_that_fails_keeps_the_source(shop: Home, tmp_path: Path, quick: None,
                                                  monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(applying, "copy_verified", damaged_on("share"))
    key = tmp_path / "key"
    scan = scanned(key / "scan1.tif", scene(3, 120, 90))
    before = scan.read_bytes()
    async with running(Home(shop.folder, Settings(workers=1)), place="intake") as pilot:
        await until(pilot, lambda: len(app_of(pilot).changes.online) == 2)
        await proposed_and_answered(pilot, key)
        await pilot.press("d", "g")
        await settled(pilot)
        await pilot.press("enter")
        await settled(pilot)
        await pilot.press("y")
        await app_of(pilot).action_show_page("orders")      # the person does something else meanwhile
        await until_taken(pilot)
        assert not isinstance(pilot.app.screen, MessageDialog)
        await app_of(pilot).action_show_page("intake")
        await settled(pilot)
        report = pilot.app.screen
        assert isinstance(report, MessageDialog)
        told = str(report.query_one("#text").render())
        assert "Nothing was removed" in told
        assert "Other bytes." in told and applying.NOT_COMPLETED in " ".join(told.split())
    assert scan.read_bytes() == before
    db = open_database(shop.database)
    assert pieces.known_piece(db, "Nell Orrin", "Stair") is not None
    db.close()
