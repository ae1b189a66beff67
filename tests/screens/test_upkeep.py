"""What is done now and then: first run, stores, audits, intake, health, and long work and its endings."""

import lzma
import os
import shutil
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from textual.widgets import Button, Checkbox, Input, Select, Static

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.errors import CatalogueError
from catalogue.indexing.naming import FORMER_RULES
from catalogue.intake.proposals import WHICH_ARTIST
from catalogue.progress import Progress
from catalogue.reading.model import Fault
from catalogue.records import files, findings, pieces, scans, stores
from catalogue.records.database import UPGRADING, open_database, transaction
from catalogue.screens.app import CatalogueApp
from catalogue.screens.background.folder_survey import survey_folder
from catalogue.screens.background.work import Work
from catalogue.screens.dialogs.audit import AuditDialog, budget_of
from catalogue.screens.dialogs.confirm import ConfirmDialog, MessageDialog, ReasonDialog
from catalogue.screens.dialogs.proposal_answers import AnswerDialog
from catalogue.screens.pages.add_store import AddStorePage
from catalogue.screens.widgets.bars import WorkLine, progress_line
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home, Settings
from tests import recorded
from tests.screens.shop import held_up, running, said, settled, sha, until, words


def painted_scan(path: Path, seed: int) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.random.default_rng(seed).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2, metadata=None)
    return path


def app_of(pilot: Any) -> CatalogueApp:
    assert isinstance(pilot.app, CatalogueApp)
    return pilot.app


async def test_first_run_from_nothing_to_browsing(tmp_path: Path) -> None:
    """Point to a folder, see what is there and how names are read, agree, and the pieces are listed."""
    disk = tmp_path / "disk [of scans]"
    painted_scan(disk / "Ada Tarn/Quay/Quay master.tif", 1)
    painted_scan(disk / "Ada Tarn/Kites/Kites master.tif", 2)
    painted_scan(disk / "loose.tif", 3)
    (disk / "broken.tif").write_bytes(b"II*\0")
    home = Home(tmp_path / "home", Settings(workers=1))
    async with running(home) as pilot:
        app = app_of(pilot)
        assert app.current_mode == "first"
        assert "Welcome" in words(pilot)
        await pilot.press("ctrl+s")
        assert any("Choose a folder" in text for text in said(pilot))
        pilot.app.screen.query_one("#folder", Input).value = str(disk)
        await settled(pilot)
        text = words(pilot)
        for fact in ("4 pictures", "4 .tif", "1 artist, 2 pieces", "Quay  by Ada Tarn", "disk [of scans]"):
            assert fact in text, fact
        assert not home.database.exists()          # looking writes nothing
        assert not list(disk.glob(".*"))
        await pilot.press("ctrl+s")
        await until(pilot, lambda: app.current_mode == "browse" and app.work is None and app.changes.online)
        await settled(pilot)
        assert [row.title for row in app.screen.query_one("#pieces", RowTable).rows_held] == ["Kites", "Quay"]
        assert any("Indexing finished" in text and "4 read" in text for text in said(pilot))
        assert (disk / ".scan-store.json").exists()


async def test_a_catalogue_without_pieces_says_what_to_do(tmp_path: Path) -> None:
    home = Home(tmp_path)
    open_database(home.database).close()
    async with running(home, size=(80, 24)) as pilot:
        await settled(pilot)
        assert "Press 6 for the stores" in words(pilot)


async def test_an_older_catalogue_says_what_it_waits_for(home: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    monkeypatch.setattr(CatalogueApp, "notify", lambda _, message, **__: told.append(message))
    home.folder.mkdir(parents=True)
    older = Path(__file__).parents[1] / "records" / "older" / "schema-27.sqlite.xz"
    home.database.write_bytes(lzma.decompress(older.read_bytes()))
    copied = Home(home.folder.with_name("another"))
    shutil.copytree(home.folder, copied.folder)
    assert UPGRADING in CliRunner().invoke(
        command, ["--catalogue", str(copied.folder), "find", "x"], obj=Session()).output
    async with running(home) as pilot:
        await settled(pilot)
        assert told == [UPGRADING] and "Artists" in words(pilot)


async def test_without_consent_no_marker_is_written(shop: Home, tmp_path: Path) -> None:
    disk = tmp_path / "other"
    painted_scan(disk / "a.tif", 1)
    async with running(shop, place="stores") as pilot:
        app = app_of(pilot)
        await pilot.press("a")
        await settled(pilot)
        page = app.screen
        assert isinstance(page, AddStorePage)
        page.query_one("#folder", Input).value = str(tmp_path)
        await settled(pilot)
        page.query_one("#folders", RowTable).focus()
        page.query_one("#folders", RowTable).cursor_row = next(
            n for n, f in enumerate(page.query_one("#folders", RowTable).rows_held) if f == disk)
        await pilot.press("enter")
        await settled(pilot)
        assert page.query_one("#folder", Input).value == str(disk)
        assert "open folder" in words(pilot)
        page.query_one("#take").focus()
        await settled(pilot)
        assert "open folder" not in words(pilot), "there Enter adds the folder"
        page.query_one("#consent", Checkbox).value = False
        page.query_one("#kind", Select).value = "off-site"
        await pilot.press("ctrl+s")
        await until(pilot, lambda: app.screen is not page and app.work is None)
        await settled(pilot)
        assert "off-site" in words(pilot)
    assert [path.name for path in disk.iterdir()] == ["a.tif"]


def test_a_look_at_a_folder_stops_when_told(tmp_path: Path) -> None:
    for number in range(5):
        painted_scan(tmp_path / f"{number}" / "x.tif", number)
    assert survey_folder(tmp_path, Settings()).files == 5
    stopped = survey_folder(tmp_path, Settings(), lambda: True)
    assert (stopped.files, stopped.whole) == (1, False)


async def test_stores_show_where_they_are_and_can_be_forgotten(shop: Home) -> None:
    shutil.rmtree(shop.folder.parent / "share")
    async with running(shop, place="stores", size=(120, 30)) as pilot:
        text = words(pilot)
        for fact in ("Stores  2", "✓ online", "– offline", "main disk", "primary"):
            assert fact in text
        await pilot.press("down")
        await settled(pilot)
        assert "offline; last" in words(pilot)
        await pilot.press("f")
        await settled(pilot)
        assert pilot.app.focused.id == "no"  # type: ignore[union-attr]
        await pilot.press("y")
        await settled(pilot)
        assert "Stores  1" in words(pilot)
        assert any("share is retired" in text for text in said(pilot))
    db = open_database(shop.database)
    told = [event for event in recorded.events(db) if event.store == "share" and event.type == "metadata modification"]
    assert [event.detail for event in told if "retired" in event.detail or "forgotten" in event.detail] == [
        "copy store retired"]
    db.close()


async def test_indexing_runs_with_progress_and_tells_its_end(shop: Home) -> None:
    home = Home(shop.folder, Settings(workers=1, place_rules=FORMER_RULES))     # one path alone tells no guess enough
    painted_scan(shop.folder.parent / "main disk" / "New Hand/First Light/First Light master.tif", 9)
    async with running(home, place="stores") as pilot:
        app = app_of(pilot)
        table = pilot.app.screen.query_one(RowTable)
        table.cursor_row = [view.store.name for view in table.rows_held].index("main disk")
        await pilot.press("i")
        assert app.work is not None
        await until(pilot, lambda: app.work is None)
        await settled(pilot)
        assert any("Indexing finished. main disk:" in text for text in said(pilot))
        await pilot.press("1")
        await settled(pilot)
        assert "First Light" in words(pilot)


def test_a_budget_is_what_was_typed() -> None:
    assert budget_of("", "", "") == budget_of(" ", "", "")
    budget = budget_of("90", "1,5", "5")
    assert (budget.seconds, budget.bytes, budget.share) == (5400, 1_500_000_000, 0.05)
    for wrong in (("soon", "", ""), ("-1", "", ""), ("", "", "101"), ("nan", "", "")):
        with pytest.raises(ValueError):
            budget_of(*wrong)


async def test_an_audit_finds_and_the_next_step_restores(shop: Home) -> None:
    """From a flipped byte to the file made whole again, by keys alone."""
    bad, good = (shop.folder.parent / name / "Ada/Sound/Sound master.tif" for name in ("main disk", "share"))
    painted_scan(good, 5)
    bad.parent.mkdir(parents=True)
    shutil.copy2(good, bad)
    home = Home(shop.folder, Settings(workers=1))
    async with running(home, place="stores") as pilot:
        app = app_of(pilot)
        await pilot.press("I")
        await until(pilot, lambda: app.work is None)
        before = bad.stat()
        data = bytearray(bad.read_bytes())
        data[-7] ^= 1
        bad.write_bytes(data)
        os.utime(bad, ns=(before.st_atime_ns, before.st_mtime_ns))
        await pilot.press("4", "c")
        await settled(pilot)
        assert isinstance(app.screen, AuditDialog)
        await pilot.press("enter")
        await until(pilot, lambda: app.work is None)
        await settled(pilot)
        assert any("Audit finished" in text for text in said(pilot))
        kinds = app.screen.query_one("#kinds", RowTable)
        assert "changed" in [kind.kind for kind in kinds.rows_held]
        await pilot.press("left")
        kinds.cursor_row = [kind.kind for kind in kinds.rows_held].index("changed")
        await settled(pilot)
        await pilot.press("enter")
        table = app.screen.query_one("#findings", RowTable)
        table.cursor_row = next(n for n, row in enumerate(table.rows_held) if "Sound" in row.path)
        await settled(pilot)
        assert "from share" in words(pilot)
        await pilot.press("enter")
        await settled(pilot)
        assert isinstance(app.screen, ConfirmDialog)
        asked = " ".join(str(static.content) for static in app.screen.query(Static))
        for fact in ("from share?", "Ada/Sound/Sound master.tif", "kept under another name"):
            assert fact in asked
        assert app.focused.id == "no"  # type: ignore[union-attr]
        await pilot.press("enter")
        await settled(pilot)
        assert app.work is None
        assert bad.read_bytes() == bytes(data), "nothing is written without a yes"
        await pilot.press("enter")
        await settled(pilot)
        await pilot.press("y")
        await until(pilot, lambda: app.work is None)
        await settled(pilot)
        assert bad.read_bytes() == good.read_bytes()
        assert [path.read_bytes() for path in bad.parent.glob("*.damaged*")] == [bytes(data)]
        assert any(".damaged-" in text for text in said(pilot))
        assert "Sound master" not in "".join(row.path for row in app.screen.query_one("#findings", RowTable).rows_held
                                             if row.kind == "changed")


async def test_findings_are_told_accepted_and_opened(shop: Home) -> None:
    async with running(shop, place="audit", size=(120, 40)) as pilot:
        text = words(pilot)
        for fact in ("Findings  3", "everything", "truncated", "single copy", "All findings", "Last audits"):
            assert fact in text, fact
        table = pilot.app.screen.query_one("#findings", RowTable)
        table.cursor_row = [row.kind for row in table.rows_held].index("truncated")
        await settled(pilot)
        assert "since 11 Jan 2026" in words(pilot)
        await pilot.press("p")
        await settled(pilot)
        assert "Harbour, Low Water" in words(pilot)
        await pilot.press("escape")
        table.cursor_row = [row.kind for row in table.rows_held].index(Fault.NOT_A_PICTURE)
        await settled(pilot)
        await pilot.press("enter")
        await settled(pilot)
        assert isinstance(pilot.app.screen, MessageDialog)
        await pilot.press("escape", "e")
        await settled(pilot)
        assert isinstance(pilot.app.screen, ReasonDialog)
        await pilot.press("enter")
        assert isinstance(pilot.app.screen, ReasonDialog)  # no reason, no record
        await pilot.press(*"notes", "enter")
        await settled(pilot)
        assert "Findings  2" in words(pilot)
    db = open_database(shop.database)
    assert Fault.NOT_A_PICTURE not in findings.by_kind(db)
    assert any("accepted: notes" in event.detail for event in recorded.events(db))
    db.close()


async def test_intake_from_a_key_to_the_store(shop: Home, tmp_path: Path) -> None:
    key = tmp_path / "key"
    scan = painted_scan(key / "scan0001.tif", 21)
    before = scan.stat().st_mtime_ns
    home = Home(shop.folder, Settings(workers=1))
    async with running(home, place="intake") as pilot:
        app = app_of(pilot)
        await pilot.press("ctrl+r")
        assert any("Enter a folder" in text for text in said(pilot))
        app.screen.query_one("#intake-folder", Input).value = str(key)
        await pilot.press("enter")
        table = app.screen.query_one("#proposals", RowTable)
        await until(pilot, lambda: table.row_count == 1)
        await settled(pilot)
        assert WHICH_ARTIST in words(pilot)
        await pilot.press("g")
        assert any("Nothing is ready" in text for text in said(pilot))
        await pilot.press("enter")
        await settled(pilot)
        dialog = app.screen
        assert isinstance(dialog, AnswerDialog)
        dialog.query_one("#answer-artist", Input).value = "Nell Orrin"
        dialog.query_one("#answer-piece", Input).value = "Stair [Light]"
        await pilot.press("ctrl+s")
        await settled(pilot)
        assert "1 file ready" in words(pilot)
        await pilot.press("space")
        await settled(pilot)
        assert "0 files ready" in words(pilot)
        await pilot.press("space")
        await settled(pilot)
        await pilot.press("g")
        await settled(pilot)
        assert isinstance(app.screen, ConfirmDialog)
        await pilot.press("enter")
        await until(pilot, lambda: any("Importing finished" in text for text in said(pilot)))
        await until(pilot, lambda: app.work is None)
        await pilot.press("1")
        app.screen.query_one("#pieces", RowTable).focus()
        await settled(pilot)
        assert "Stair [Light]" in words(pilot)
    assert scan.stat().st_mtime_ns == before
    db = open_database(shop.database)
    held = scans.of_piece(db, pieces.known_piece(db, "Nell Orrin", "Stair [Light]") or 0)
    assert len(held) == 1
    assert {file.store for file in files.of_scan(db, held[0].id)} == {"main disk", "share"}
    db.close()


async def test_health_answers_and_plots(shop: Home) -> None:
    async with running(shop, place="health", size=(120, 40)) as pilot:
        text = words(pilot)
        for fact in ("Storage", "○", "Growth by year", "2024", "Masters by sound copies", "one copy",
                     "Files by last check", "within 30 days"):
            assert fact in text, fact
        table = pilot.app.screen.query_one("#criteria", RowTable)
        table.cursor_row = next(n for n, row in enumerate(table.rows_held) if row.asks == "places")
        await settled(pilot)
        await pilot.press("enter")
        await settled(pilot)
        await pilot.press(*"yes", "enter")
        await settled(pilot)
        assert next(row for row in table.rows_held if row.asks == "places").met
        assert table.highlighted.asks == "places"      # the cursor stays
        table.cursor_row = 0
        await settled(pilot)
        await pilot.press("enter")
        assert any("works this one out itself" in text for text in said(pilot))
        await pilot.press("b")
        await until(pilot, lambda: any("Backup finished" in text for text in said(pilot)))
    assert list(shop.backups.glob("*"))
    assert {path.name for path in (shop.folder / "ledger").iterdir()} == {
        "artists.csv", "buyers.csv", "pieces.csv", "editions.csv", "orders.csv"}
    assert list((shop.folder / "manifests").iterdir())


class Blocked:
    """A job that runs until it is told to stop or to fail."""

    def __init__(self) -> None:
        self.go = threading.Event()
        self.error: Exception | None = None

    def __call__(self, _: Any, report: Any, cancelled: Any) -> str:
        done = 0
        while not (self.go.is_set() or cancelled()):
            done += 1
            report(Progress("Working", done, 1000, done * 10, 10_000))
            self.go.wait(0.005)
        if self.error is not None:
            raise self.error
        return f"{min(done, 7)} files"


async def test_long_work_has_three_distinct_endings(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        job = Blocked()
        assert app.begin("Counting", job, str)
        assert not app.begin("Another", job, str)
        await until(pilot, lambda: "of 1" in str(app.screen.query_one(WorkLine).shown_text))
        assert "x to stop" in app.screen.query_one(WorkLine).shown_text
        job.go.set()
        await until(pilot, lambda: app.work is None)
        assert any(text.startswith("Counting finished.") for text in said(pilot))

        app.begin("Copying", Blocked(), str)
        await pilot.press("x")
        await until(pilot, lambda: app.work is None)
        assert any(text.startswith("Copying stopped.") for text in said(pilot))

        job = Blocked()
        job.error = CatalogueError("No room.", hint="Free some.")
        job.go.set()
        app.begin("Saving", job, str)
        await until(pilot, lambda: app.work is None)
        await settled(pilot)
        assert any(text == "Saving could not continue." for text in said(pilot))
        assert any("No room. Free some." in text for text in said(pilot))
        await pilot.press("x")
        assert any("Nothing is running" in text for text in said(pilot))


async def test_leaving_while_work_runs_asks_then_stops_it(shop: Home) -> None:
    async with running(shop) as pilot:
        app = app_of(pilot)
        app.begin("Counting", Blocked(), str)
        work = app.work
        assert work is not None
        await pilot.press("q")
        await settled(pilot)
        assert isinstance(app.screen, ConfirmDialog)
        await pilot.press("n")
        assert not work.ending
        await pilot.press("q")
        await settled(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: work.wait(0))
        await until(pilot, lambda: app._exit)


async def test_a_hanging_disk_holds_up_nothing_else(shop: Home) -> None:
    """The lane of the disks is stuck: browsing, search and leaving go on."""
    async with running(shop) as pilot:
        app = app_of(pilot)
        with held_up(app, "disks"):
            await pilot.press("c")                      # asks the disks, and waits for them alone
            await pilot.press("down")
            await pilot.pause()
            await until(pilot, lambda: "2 orders, last" in words(pilot))
            await pilot.press("slash")
            app.screen.query_one("#words", Input).value = "kites"
            await until(pilot, lambda: "found" in words(pilot))
            await pilot.press("escape", "q")
            await until(pilot, lambda: app._exit)


def test_progress_fits_any_width() -> None:
    work = Work("Audit", lambda *_: None)
    for progress in (Progress("Audit of a store with a rather long name", 12, 120_000, 10**9, 10**13, "note " * 30),
                     Progress("Looking", 5), Progress("Audit", 0, 0, 0, 0)):
        work.progress = progress
        for width in (20, 80, 200):
            assert len(progress_line(work, width)) <= max(width, 30)
    work.progress = Progress("Audit", 3, 9, 30, 90, estimate="120 MB/s, 0:00:05 left")
    assert progress_line(work, 120).count("left") == 1
    work.stop()
    assert "stopping" in progress_line(work, 80)


async def test_a_second_seat_only_looks(shop: Home) -> None:
    async with running(Home(shop.folder, Settings(read_only=True))) as pilot:
        await pilot.press("r")
        await settled(pilot)
        pilot.app.screen.query_one("#repeat-buyer", Input).value = "Dr Oakhanger"
        pilot.app.screen.query_one("#record", Button).press()
        await settled(pilot)
        assert "is read-only" in words(pilot)
        await pilot.press("escape", "6", "i")
        await settled(pilot)
        assert app_of(pilot).work is None
        assert any("is read-only" in text for text in said(pilot))
    db = open_database(shop.database)
    with transaction(db):
        assert stores.listed(db)
    assert scans.by_digest(db, sha(1)) is not None
    db.close()


async def test_the_screens_count_what_one_disk_holds_as_one_copy(shop: Home) -> None:
    """Both stores of this shop lie on one disk."""
    for one_disk in (False, True):
        home = replace(shop, settings=replace(shop.settings, copies_on_one_disk=one_disk))
        async with running(home, place="audit", size=(100, 30)) as pilot:
            text = " ".join(str(pilot.app.screen.query_one("#audits", Static).content).split())
            assert ("on one disk or server: no scan has a second copy. Next: 6, then a" in text) is not one_disk
            await pilot.press("7")
            await until(pilot, lambda: "Masters by sound copies" in words(pilot))
            two = next(line for line in words(pilot).splitlines() if "✓ two" in line)
            assert ("█" in two) is one_disk
            await pilot.press("1")
            await settled(pilot)
            assert ("in 2 stores," in words(pilot)) is one_disk
            assert ("! 2 stores on one disk or server," in words(pilot)) is not one_disk
