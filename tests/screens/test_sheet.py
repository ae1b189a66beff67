"""A page and what one key does with it: opened, printed, saved, its path; with programs of the test's own on PATH."""

import os
import sys
from pathlib import Path
from shlex import quote

import pytest
from textual.widgets import Static

from catalogue.records import orders
from catalogue.records.database import open_database
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs import sheet as sheet_module
from catalogue.screens.dialogs.sheet import Sheet, SheetPanel, job_sheet_panel
from catalogue.settings import Home
from catalogue.sheets import pdf
from tests.screens.shop import held_up, known_as_held, running, said, settled, until, words


def command(folder: Path, name: str, body: str) -> None:
    """A program of that name, in the place of all others."""
    folder.mkdir(exist_ok=True)
    path = folder / name
    code = path.with_suffix(".py")
    code.write_text(f"import sys, pathlib\nhere = pathlib.Path(__file__).parent\n{body}")
    # no path to an interpreter in the first line: it may hold spaces
    path.write_text(f"#!/bin/sh\nexec {quote(sys.executable)} {quote(str(code))} \"$@\"\n")
    path.chmod(0o755)


@pytest.fixture
def programs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The only folder of programs: empty."""
    folder = tmp_path / "programs"
    folder.mkdir()
    monkeypatch.setenv("PATH", str(folder))
    return folder


def told(app: CatalogueApp) -> str:
    return str(app.screen.query_one("#sheet-said", Static).content)


async def opened(pilot: object, home: Home) -> CatalogueApp:
    app = pilot.app  # type: ignore[attr-defined]
    assert isinstance(app, CatalogueApp)
    db = open_database(home.database)
    line = orders.lines_of_piece(db, 3)[0]
    db.close()
    app.push_screen(job_sheet_panel(home, line.id, "A-103"))
    await settled(pilot)  # type: ignore[arg-type]
    assert "A-103" in words(pilot)  # type: ignore[arg-type]
    return app


def page_of(app: CatalogueApp) -> Path:
    return Path(str(app.screen.query_one("#sheet-path", Static).content).replace("\n", ""))


async def test_it_is_printed_as_pdf_by_lp(shop: Home, programs: Path) -> None:
    pytest.importorskip("weasyprint")
    command(programs, "lp", "(here / 'got').write_text('\\n'.join(sys.argv[1:]))\n"
                            "print('request id is office-12 (1 file(s))')")
    async with running(shop) as pilot:
        app = await opened(pilot, shop)
        await pilot.press("p")
        await settled(pilot)
        assert "request id is office-12 (1 file(s))" in told(app)
    option, title, file = (programs / "got").read_text().splitlines()
    assert (option, title.startswith("A-103")) == ("-t", True)
    assert Path(file).read_bytes().startswith(b"%PDF-")     # ISO 32000: how a PDF begins


async def test_without_the_library_it_is_printed_as_text_and_no_pdf_is_saved(
        shop: Home, programs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    assert not pdf.pdf_available()
    command(programs, "lp", "(here / 'got').write_text(sys.argv[-1])")
    async with running(shop) as pilot:
        app = await opened(pilot, shop)
        await pilot.press("p")
        await settled(pilot)
        assert "as text" in told(app) and "[pdf]" in told(app)
        await pilot.press("s")
        await settled(pilot)
        assert told(app).startswith("PDF needs") and "[pdf]" in told(app)
    assert Path((programs / "got").read_text()).suffix == ".txt"


async def test_it_is_said_where_there_is_no_printer(shop: Home, programs: Path) -> None:
    async with running(shop) as pilot:
        app = await opened(pilot, shop)
        await pilot.press("p")
        await settled(pilot)
        assert "lp command" in told(app)
        command(programs, "lp", "print('lp: Error - no default destination available.', file=sys.stderr); sys.exit(1)")
        await pilot.press("p")
        await settled(pilot)
        assert "lp: Error - no default destination available." in told(app)


async def test_a_slow_printer_holds_up_nothing(shop: Home, programs: Path) -> None:
    go = programs / "go"
    os.mkfifo(go)
    command(programs, "lp", "open(here / 'go').read()\nprint('request id is office-1')")
    async with running(shop) as pilot:
        app = await opened(pilot, shop)
        with known_as_held(app.plain_threads["printer"]):
            await pilot.press("p")
            assert told(app) == "Sending it to the printer …"
            await pilot.press("escape", "2")
            assert app.current_mode == "orders"
        with go.open("w"):
            pass
        await until(pilot, lambda: any("office-1" in text for text in said(pilot)))


async def test_the_page_is_opened_in_the_systems_viewer(shop: Home, monkeypatch: pytest.MonkeyPatch,
                                                         programs: Path) -> None:
    async with running(shop) as pilot:
        app = await opened(pilot, shop)
        await pilot.press("o")
        assert "xdg-open" in told(app) and "browser" in told(app)
        started: list[list[str]] = []
        monkeypatch.setattr(sheet_module, "start_program", lambda given, _: started.append(given))
        await pilot.press("o")
        assert started[0][-1] == str(page_of(app)) and page_of(app).read_text().startswith("<!doctype html>")
        assert told(app) == f"Started {started[0][0]}."
    assert not list(programs.iterdir())


async def test_a_pdf_is_saved_beside_the_page(shop: Home) -> None:
    pytest.importorskip("weasyprint")
    async with running(shop) as pilot:
        app = await opened(pilot, shop)
        await pilot.press("s")
        await settled(pilot)
        saved = page_of(app).with_suffix(".pdf")
        assert told(app).endswith(f": {saved}")
        assert saved.read_bytes().startswith(b"%PDF-")


async def test_the_path_is_offered_to_the_clipboard(shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    async with running(shop) as pilot:
        app = await opened(pilot, shop)
        offered: list[str] = []
        monkeypatch.setattr(app, "copy_to_clipboard", offered.append)
        await pilot.press("c")
        assert offered == [str(page_of(app))]
        assert "clipboard" in told(app)


async def test_keys_wait_for_the_page_and_escape_does_not_wait_for_a_dead_disk(
        shop: Home, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheet_module, "DISK_PATIENCE", 0.2)
    async with running(shop) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        with held_up(app, "disks"):
            app.push_screen(SheetPanel("Sheet", lambda _: Sheet(Path("sheet.html"), "what it says")))
            await until(pilot, lambda: isinstance(app.screen, SheetPanel))
            await pilot.press("o")
            await until(pilot, lambda: "not been written yet" in told(app))
            await pilot.press("escape")
            assert not isinstance(app.screen, SheetPanel)


async def test_a_sheet_that_cannot_be_written_says_so(shop: Home) -> None:
    async with running(shop) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        app.push_screen(job_sheet_panel(shop, 999, "gone"))
        await settled(pilot)
        assert "The sheet was not written." in words(pilot)
        assert any("line number 999" in text for text in said(pilot))
