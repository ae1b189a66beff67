"""The shop of :mod:`tests.screens.shop`, built once and copied for every test."""

import gc
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from catalogue.records import stores
from catalogue.records.database import open_database, transaction
from catalogue.screens.background.garbage import configure_gc
from catalogue.screens.texts import formats
from catalogue.settings import Home
from tests.screens.shop import build, idle


@pytest.fixture(scope="session")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    build(folder)
    return folder


@pytest.fixture
def shop(template: Path, tmp_path: Path) -> Home:
    """A copy of the shop that a test may change."""
    shutil.copytree(template, tmp_path / "shop")
    home = Home(tmp_path / "shop" / "home")
    db = open_database(home.database)
    with transaction(db):
        for store in stores.listed(db):
            stores.move(db, store.id, str(tmp_path / "shop" / store.name))
    db.close()
    return home


@pytest.fixture(scope="module", autouse=True)
def garbage_once_a_module() -> Iterator[None]:
    """The program collects while no key comes, and freezes its screens; done for 300 programs that takes a fifth of
    these tests' time, so here what they left goes at the end of each module."""
    configure_gc()
    gc.unfreeze()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("catalogue.screens.app.collect_when_idle", lambda idle: None)
        patch.setattr("catalogue.screens.app.configure_gc", lambda: None)
        patch.setattr("catalogue.screens.background.screen_cache.freeze_objects", lambda: None)
        yield
    gc.collect()


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
