"""The shop of :mod:`tests.screens.shop`, built once and copied for every test."""

import gc
from collections import defaultdict
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from textual.cache import LRUCache

from catalogue.screens.texts import formats
from catalogue.screens.textual_internals import CachedStylesheet
from catalogue.settings import Home, Settings
from tests.copies import copy_shop
from tests.screens.shop import build, handled, idle


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    build(folder)
    return folder


@pytest.fixture
def shop(template: Path, tmp_path: Path) -> Home:
    one_disk = Settings(copies_on_one_disk=True)  # the folders of a test stand for disks
    return copy_shop(template, tmp_path / "shop", Home(tmp_path / "shop" / "home", one_disk))


@pytest.fixture(scope="module", autouse=True)
def garbage_once_a_module() -> Iterator[None]:
    """The program collects while no key comes, and freezes its screens; done for 300 programs that takes a fifth of
    these tests' time, so here what they left goes at the end of each module."""
    gc.set_threshold(200_000, 20, 100)  # as the command line does
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("catalogue.screens.app.collect_when_idle", lambda idle: None)
        patch.setattr("catalogue.screens.background.screen_cache.freeze_objects", lambda: None)
        yield
    gc.collect()
    gc.freeze()     # Textual's caches outlast the apps, and need not be looked through after every module


@pytest.fixture(scope="session", autouse=True)
def style_sheets_parsed_once() -> Iterator[None]:
    """What one app has parsed the next one takes, if it has the same variables: 0.04 s for each of 300."""
    parsed: defaultdict[tuple[tuple[str, str], ...], LRUCache[Any, Any]] = defaultdict(lambda: LRUCache(1024))
    begin, change = CachedStylesheet.__init__, CachedStylesheet.set_variables

    def share(sheet: CachedStylesheet) -> None:
        sheet._parse_cache = parsed[tuple(sorted(sheet._variables.items()))]

    def begin_shared(sheet: CachedStylesheet, *, variables: dict[str, str] | None = None) -> None:
        begin(sheet, variables=variables)
        share(sheet)

    def change_shared(sheet: CachedStylesheet, variables: dict[str, str]) -> None:
        sheet._parse_cache = LRUCache(1)    # Textual empties it
        change(sheet, variables)
        share(sheet)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(CachedStylesheet, "__init__", begin_shared)
        patch.setattr(CachedStylesheet, "set_variables", change_shared)
        yield


@pytest.fixture(autouse=True)
def still_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """"Ago" counts from one moment, and nothing is animated."""
    monkeypatch.setattr(formats, "present", lambda: datetime(2026, 2, 1, 12, tzinfo=UTC))
    monkeypatch.setenv("TEXTUAL_ANIMATIONS", "none")


@pytest.fixture(autouse=True)
def no_clock_tells_of_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    """What others write, and stores that come and go, are looked at where a test says so, not every few seconds: how
    much a test does within that time is up to the machine."""
    for name in ("WRITTEN_SECONDS", "DISK_SECONDS"):
        monkeypatch.setattr(f"catalogue.screens.background.changes.{name}", 1e6)


@pytest.fixture(autouse=True)
def wait_on_conditions(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pilot waits for what a key causes, and no longer."""
    for module in ("app", "pilot"):
        monkeypatch.setattr(f"textual.{module}.wait_for_idle", idle)
    monkeypatch.setattr("textual.pilot.Pilot._wait_for_screen", lambda pilot, *_: handled(pilot.app))
