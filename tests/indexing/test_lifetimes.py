"""Workers do not outlive the program that began them; what cannot be written is a message."""

import fcntl
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from test_index_run import Shop, shop  # noqa: F401 - the fixture

from catalogue.errors import Busy, CatalogueError
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.likeness.updating import update
from catalogue.settings import Home
from tests import recorded
from tests.files import part_path

DEADLINE = 120.0  # seconds: only ends a hang
PROGRAM = '''
import fcntl, os, sys, time
from pathlib import Path
from catalogue.indexing.workers import processes

def hold(path):
    """Hold a lock as long as this worker lives."""
    file = open(path, "w")
    fcntl.flock(file, fcntl.LOCK_EX)
    Path(path + ".held").touch()
    while True:
        time.sleep(1)

if __name__ == "__main__":
    pool = processes(2)
    for path in sys.argv[1:]:
        pool.submit(hold, path)
    time.sleep(3600)
'''


def until(true: Callable[[], bool], what: str) -> None:
    begun = time.monotonic()
    while not true():
        assert time.monotonic() - begun < DEADLINE, f"{what} did not come"
        time.sleep(0.02)


def free(path: Path) -> bool:
    with path.open() as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


def test_workers_end_with_a_program_that_is_killed(tmp_path: Path) -> None:
    """They were still there a minute after a kill: idle, for each holds both ends of the queue it waits on."""
    program = tmp_path / "program.py"
    program.write_text(PROGRAM)
    locks = [tmp_path / "one", tmp_path / "two"]
    with subprocess.Popen([sys.executable, program, *locks], cwd=Path(__file__).parents[2]) as parent:
        try:
            until(lambda: all(Path(f"{lock}.held").exists() for lock in locks), "work")
        finally:
            parent.send_signal(signal.SIGKILL)
    until(lambda: all(map(free, locks)), "the workers' end")


def test_an_index_run_leaves_the_preview_that_an_intake_is_writing(shop: Shop) -> None:  # noqa: F811
    """The run swept what it took for left by a killed one, and the intake ended in a traceback."""
    part = part_path(shop.home.preview("ab" * 32))
    part.parent.mkdir(parents=True)
    with part.open("w") as intake:
        fcntl.flock(intake, fcntl.LOCK_EX)
        shop.index()
        assert part.exists()


def refused(folder: Path) -> None:
    """A file where a folder should be: nobody, not even a superuser, can write below it."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    folder.write_text("")


def test_a_preview_that_cannot_be_written_is_told_and_the_run_is_no_success(shop: Shop) -> None:  # noqa: F811
    refused(shop.home.previews)
    with pytest.raises(CatalogueError) as told:
        shop.index()
    assert str(shop.home.previews) in str(told.value.path)
    assert recorded.runs(shop.db, "index")[0].outcome == "failed"
    shop.home.previews.unlink()
    assert shop.index().read == 3


def test_features_that_cannot_be_written_are_told(shop: Shop) -> None:  # noqa: F811
    shop.index()
    refused(shop.home.features)
    with pytest.raises(CatalogueError):
        update(shop.db, shop.home)
    shop.home.features.unlink()
    assert update(shop.db, shop.home).compared


def test_a_lock_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    refused(tmp_path / "home")
    with pytest.raises(CatalogueError), exclusive_lock(Home(tmp_path / "home"), "index"):
        raise AssertionError("there is no lock")


def test_one_likeness_update_at_a_time(shop: Shop) -> None:  # noqa: F811
    """Two at once built the same parts of the index into each other."""
    shop.index()

    def another(_: object) -> None:
        with pytest.raises(Busy):
            update(shop.db, shop.home)

    assert update(shop.db, shop.home, report=another).compared
