"""Small real archives to try things on, in surroundings of their own: no test sees whose machine it runs on."""

import gc
import hashlib
import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from itertools import count
from pathlib import Path

import pytest
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings

from catalogue.likeness import features
from catalogue.records import database
from catalogue.records.connection import Connection
from catalogue.records.database import Database, open_database
from catalogue.settings import Home
from tests.files import write_scan

# The same examples every time: what the suite says follows from the tree alone. `--hypothesis-profile search` draws
# new ones.
hypothesis_settings.register_profile("suite", deadline=None, max_examples=60, derandomize=True, database=None,
                                     suppress_health_check=[HealthCheck.too_slow])
hypothesis_settings.register_profile("search", deadline=None, max_examples=500, print_blob=True,
                                     suppress_health_check=[HealthCheck.too_slow])
hypothesis_settings.load_profile("suite")


# Variables that the program or a library heeds. A test of one of them sets it itself.
HEEDED = {"COLUMNS", "LINES", "TERM", "COLORTERM", "NO_COLOR", "FORCE_COLOR", "CLICOLOR", "CLICOLOR_FORCE",
          "TERM_PROGRAM", "TMUX", "STY", "ESCDELAY", "SSH_CONNECTION", "SSH_TTY", "EDITOR", "VISUAL", "PAGER",
          "BROWSER", "DISPLAY", "WAYLAND_DISPLAY", "SOURCE_DATE_EPOCH"}
KEPT = {"TEXTUAL_SNAPSHOT_TEMPDIR"}  # the snapshot plugin's own, by which its workers find its folder
HEEDED_BEGINNINGS = ("CATALOGUE_", "_CATALOGUE", "COMP_", "TEXTUAL", "XDG_", "DASK_", "KITTY_", "TTY_", "OPENCV_",
                     "OMP_")


def pytest_configure(config: pytest.Config) -> None:
    """Away with what the person's shell says, and an empty home: for this process and all it starts, workers too."""
    for name in [name for name in os.environ if name not in KEPT and (
            name in HEEDED or name.startswith(HEEDED_BEGINNINGS))]:
        del os.environ[name]
    home = tempfile.TemporaryDirectory(prefix="home-", ignore_cleanup_errors=True)
    config.add_cleanup(home.cleanup)
    os.environ["HOME"] = home.name
    # threads that spin while they wait take a core from the test of another worker
    os.environ |= {"OMP_WAIT_POLICY": "passive", "OPENBLAS_NUM_THREADS": "1"}


# Modules with one test that takes long: begun first, lest one worker ends with it while the other has nothing to do.
LONG = ("tests/screens/test_bursts.py", "tests/fixity/test_torture.py", "tests/indexing/test_demo_archive.py",
        "tests/model/test_model.py")


@pytest.hookimpl(tryfirst=True)     # before they are put in random order
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: not item.nodeid.startswith(LONG))


def pytest_collection_finish() -> None:
    """The garbage collector need not look again and again through what was collected and imported."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def no_waiting_for_the_disk() -> Iterator[None]:
    """Nothing is flushed to the medium: that it withstands a power cut no test here can tell, and a kill needs none.

    Child processes flush as ever.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda descriptor: None)
        patch.setattr(database, "SYNCHRONOUS", "OFF")
        yield


@pytest.fixture(scope="session", autouse=True)
def new_catalogues_are_copies(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A new catalogue begins as a copy of one that the migrations made: to run them for each took a sixth of the time.

    Older catalogues and those that a child process makes are migrated as ever.
    """
    migrated = tmp_path_factory.mktemp("migrated") / "catalogue.sqlite"
    open_database(migrated).close()
    connect = database._connected

    def copy_and_connect(path: Path) -> Connection:
        if str(path) == ":memory:":
            connection = connect(path)
            with closing(sqlite3.connect(migrated)) as made:
                made.backup(connection)
            return connection
        if not os.path.lexists(path):
            with suppress(OSError):     # no place to write, or another was first: for the program to find out
                part = Path(tempfile.mkdtemp(dir=migrated.parent)) / "copy"
                shutil.copyfile(migrated, part)
                os.link(part, path)
                part.unlink()
        return connect(path)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(database, "_connected", copy_and_connect)
        yield


@pytest.fixture(scope="session", autouse=True)
def features_sought_once() -> Iterator[None]:
    """Local features of the same picture are taken from the last time: nearly half of the pictures whose features the
    tests ask for come again, and each takes 0.1 s. Child processes seek them as ever."""
    seek = features.sift_features
    sought: dict[tuple[bytes, tuple[int, ...], int], tuple[features.Floats, features.Bytes]] = {}

    def seek_once(grey: features.Bytes, spots: int) -> tuple[features.Floats, features.Bytes]:
        picture = hashlib.sha256(grey.tobytes()).digest(), grey.shape, spots
        if picture not in sought:
            sought[picture] = seek(grey, spots)
        places, codes = sought[picture]
        return places.copy(), codes.copy()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(features, "sift_features", seek_once)
        yield


_folders = count()


@pytest.fixture
def tmp_path(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Path:
    """An empty folder for the test alone, named after it. As pytest's own, which looks through all that were made
    before for the next free number: 2 ms for each of 2,000."""
    folder = tmp_path_factory.getbasetemp() / f"{re.sub(r'[^a-zA-Z0-9]', '_', request.node.name)[:30]}-{next(_folders)}"
    folder.mkdir(0o700)
    return folder


@pytest.fixture
def read_in_threads(monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests of what follows an index run: its processes, which take a second to start, are other tests' to show."""
    monkeypatch.setattr("catalogue.indexing.workers.ProcessPoolExecutor",
                        lambda workers, **_: ThreadPoolExecutor(workers))


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path / "catalogue home")


@pytest.fixture
def db(home: Home) -> Iterator[Database]:
    database = open_database(home.database)
    yield database
    database.close()


Scan = Callable[..., Path]


@pytest.fixture
def scan(tmp_path: Path) -> Scan:
    """Writes a small TIFF below ``tmp_path``: ``scan("main/Ada/Harbour/master.tif", seed=3)``."""
    return lambda place, **options: write_scan(tmp_path / place, **options)
