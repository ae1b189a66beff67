"""The command line as a person or a program uses it: store, index, findings, find, show."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from catalogue.fixity.copies import NO_OFF_SITE, SINGLE
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.operations.upkeep import count_and_back_up
from catalogue.reading.model import Fault
from catalogue.records.database import open_database, read_only_database, transaction
from catalogue.records.rows import fetch_int
from catalogue.settings import Home
from tests.waiting import HANG_SECONDS, wait_until

Scan = Callable[..., Path]


class Run:
    """Calls the program in a process of its own, as a shell would."""

    def __init__(self, home: Home) -> None:
        self.environ = os.environ | {"CATALOGUE_HOME": str(home.folder), "NO_COLOR": "1", "COLUMNS": "160"}

    def __call__(self, *words: object, code: int | None = 0) -> str:
        done = subprocess.run([sys.executable, "-m", "catalogue", *map(str, words)], env=self.environ, text=True,
                              capture_output=True, check=False, stdin=subprocess.DEVNULL)
        assert "Traceback" not in done.stderr, done.stderr
        if code is not None:
            assert done.returncode == code, done.stdout + done.stderr
        return done.stdout + done.stderr

    def prepare(self, archive: Path) -> None:
        """The store added and indexed in this process: what a test is not about needs none of its own."""
        home = Home(Path(self.environ["CATALOGUE_HOME"]))
        with closing(open_database(home.database)) as db:
            store = add_store(db, "main", archive, "primary", consent=True)
            index(db, home, [store], executors=ThreadPoolExecutor, workers=1)
            count_and_back_up(db, home)

    def json(self, *words: object, code: int | None = 0) -> Any:
        return json.loads(self(*words, "--json", code=code))

    def start(self, *words: object) -> "subprocess.Popen[str]":
        return subprocess.Popen([sys.executable, "-m", "catalogue", *map(str, words)], env=self.environ, text=True,
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True)


@pytest.fixture
def run(home: Home) -> Run:
    return Run(home)


@pytest.fixture
def archive(scan: Scan, tmp_path: Path) -> Path:
    scan("main/Ada Quill/Harbour/master.tif", seed=1, size=(1200, 1800))
    scan("main/Ada Quill/Harbour/Harbour print 30x45.tif", seed=2)
    scan("main/Ben Orrery/[Two] Boats é/master.tif", seed=3)
    return tmp_path / "main"


def test_from_store_to_show(run: Run, archive: Path) -> None:
    assert "Added the primary store" in run("store", "add", "main", archive, "--marker")
    first = run("index", "--workers", 1)
    assert "3 files seen, 3 read" in first
    assert "3 new scans not compared yet: catalogue alike" in first.splitlines()[-2:]
    again = run.json("index")
    assert (again[0]["read"], again[0]["uncompared"]) == (0, 3)
    run("alike")
    assert "not compared" not in run("index") and run.json("index")[0]["uncompared"] == 0
    assert "Ada Quill: Harbour" in run("find", "harbor")
    shown = run("show", "harbour")
    assert "1800 × 1200 px, 45.7 × 30.5 cm at 100 ppi" in shown
    assert "300 ppi  15.2 × 10.2 cm" in shown  # 1800 px / 300 ppi × 25.4 mm
    assert "[Two] Boats é" in run("show", "two boats")
    piece = run.json("show", "harbour")
    assert [s["role"] for s in piece["scans"]] == ["master", "print file"]
    assert piece["scans"][0]["files"][0]["state"] == "present"
    (listed,) = run.json("store", "list")
    assert (listed["files"], listed["online"]) == (3, True)


def test_findings_set_the_exit_code(run: Run, archive: Path) -> None:
    (archive / "empty.tif").touch()
    run("store", "add", "main", archive, "--no-marker")
    assert "1 × empty" in run("index", "--workers", 1, code=1)
    found = run.json("findings", code=1)
    assert [f["path"] for f in found if f["kind"] == "empty"] == ["empty.tif"]
    assert {f["kind"] for f in found} == {Fault.EMPTY, SINGLE, NO_OFF_SITE}
    told = run("findings", "--kind", "empty", code=1)
    assert "main:empty.tif" in told and "1 open" in told
    assert not (archive / ".scan-store.json").exists()


@pytest.mark.parametrize(("words", "told"), [
    (["index"], "No store yet"), (["store", "add", "x", "/nowhere/at/all", "--no-marker"], "no such folder"),
    (["find", "x"], "no catalogue here yet"), (["show", "x"], "no catalogue here yet"),
    (["nonsense"], "No such command"),
    (["index", "--workers", "many"], "Invalid value"),
    (["find"], "Give some words")])
def test_what_cannot_run_says_why_and_exits_2(run: Run, words: list[str], told: str) -> None:
    assert told in run(*words, code=2)


def test_an_unclear_piece_lists_the_choices(run: Run, home: Home) -> None:
    from catalogue.records import pieces

    db = open_database(home.database)
    with transaction(db):
        for artist in ("Ada Quill", "Ben Orrery"):
            pieces.piece_called(db, pieces.artist_called(db, artist).id, "Harbour")
    db.close()
    told = run("show", "harbour", code=2)
    assert "Ada Quill" in told and "Ben Orrery" in told
    assert run.json("show", "ada quill harbour")["artist"] == "Ada Quill"


def test_a_pipe_that_closes_early_is_no_error(run: Run, archive: Path) -> None:
    run.prepare(archive)
    process = run.start("show", "harbour")
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    process.wait(timeout=HANG_SECONDS)
    assert "Traceback" not in process.stderr.read()


def _files(home: Home) -> int:
    with closing(open_database(home.database)) as db:
        return fetch_int(db, "SELECT count(*) FROM file")


# The program, stopping after its first transaction of files until a signal has been sent.
MIDWAY = """
import sys, time
from pathlib import Path
from catalogue.commands import main
from catalogue.indexing import service
signalled, commit = Path(sys.argv.pop(1)), service._commit
def commit_and_wait(*words):
    commit(*words)
    while not signalled.exists():
        time.sleep(0.005)
service.COMMIT_FILES, service._commit = 8, commit_and_wait
main()
"""


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL], ids=["Ctrl-C", "kill -9"])
def test_stopped_midway_the_next_run_carries_on(run: Run, home: Home, scan: Scan, tmp_path: Path,
                                                how: signal.Signals) -> None:
    for n in range(40):
        scan(f"main/Artist {n % 7}/Piece {n}/master.tif", seed=n)
    with closing(open_database(home.database)) as db:
        add_store(db, "main", tmp_path / "main", "primary", consent=True)
    signalled = tmp_path / "signalled"
    process = subprocess.Popen([sys.executable, "-c", MIDWAY, str(signalled), "index", "--workers", "1"],
                               env=run.environ, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               start_new_session=True)
    with closing(read_only_database(home.database)) as db:  # opened once: each opening parses the whole schema
        wait_until(lambda: fetch_int(db, "SELECT count(*) FROM file") >= 1 or process.poll() is not None)
    if how is signal.SIGINT:
        process.send_signal(how)
    else:
        os.killpg(process.pid, how)
    signalled.touch()
    _, told = process.communicate(timeout=HANG_SECONDS)
    if how is signal.SIGINT:
        assert process.returncode == 2, told
        assert "run it again to continue" in told
    midway = _files(home)
    assert 1 <= midway < 40
    with closing(open_database(home.database)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    run("index", "--workers", 1)
    assert _files(home) == 40
    assert "0 read" in run("index")
