"""A reading process that ends says nothing of the file it was reading, unless that file ends it again, alone."""

import errno
import os
import select
import signal
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import pytest
from test_index_run import Scan, Shop, shop  # noqa: F401 - the fixture

from catalogue.commands import main
from catalogue.errors import CatalogueError
from catalogue.fixity.advice import next_step
from catalogue.indexing import workers
from catalogue.operations import indexing  # noqa: F401 - takes the usual executor before a test puts another there
from catalogue.reading.file import read_file
from catalogue.reading.model import Fault
from catalogue.records import files, findings, scans
from tests import recorded


def _kill_over(doomed: Callable[[str], bool]) -> None:
    """Have this process killed, as the system does for want of memory, when it is to read a doomed file."""
    import catalogue.reading.file as reader

    def read(path: str) -> object:
        if doomed(path):
            os.write(2, b"double free or corruption\n\n")     # glibc's last words, for one
            os.kill(os.getpid(), signal.SIGKILL)
        return read_file(path)

    reader.read_file = read  # type: ignore[assignment]


def _deadly(path: str) -> bool:
    return "deadly" in path


def _first_time(folder: str, path: str) -> bool:
    """Whether this file was never begun before."""
    try:
        (Path(folder) / path.replace("/", "_")).touch(exist_ok=False)
    except FileExistsError:
        return False
    return True


def _end() -> None:
    os._exit(1)


def forked(begin: Callable[[], None]) -> Callable[..., Executor]:
    """Processes from a server that has loaded the reader once; the program's own load it each."""
    context = get_context("forkserver")
    context.set_forkserver_preload(["catalogue.reading.file"])
    return lambda count, errors_to="": ProcessPoolExecutor(count, mp_context=context, initializer=_begin,
                                                           initargs=(begin, errors_to))


def _begin(begin: Callable[[], None], errors_to: str) -> None:
    workers.redirect_errors(errors_to)
    begin()


def test_what_a_reading_process_writes_stays_out_of_the_terminal(tmp_path: Path) -> None:
    """A library that aborts and a traceback were written over the screens."""
    terminal, side = os.openpty()
    before = os.dup(2)
    errors = tmp_path / "errors"
    errors.touch()
    try:
        for path in ("", str(errors)):
            os.dup2(side, 2)
            workers.redirect_errors(path)
            os.write(2, b"Traceback (most recent call last):\n")
    finally:
        os.dup2(before, 2)
        os.close(before)
    assert not select.select([terminal], [], [], 0)[0]
    assert errors.read_bytes().startswith(b"Traceback")
    os.close(side)
    os.close(terminal)


def state(of: Shop) -> list[tuple[object, ...]]:
    return [tuple(row) for row in files.known(of.db, of.store.id)]


def test_a_file_that_kills_its_reader_costs_one_finding(shop: Shop, scan: Scan) -> None:  # noqa: F811
    scan("main/deadly.tif", seed=50)
    summary = shop.index(executors=forked(partial(_kill_over, _deadly)), workers=2)
    assert (summary.outcome, summary.read) == ("finished", 4)
    assert shop.kinds()["deadly.tif"] == {"reader crashed"}
    (told,) = findings.open_at(shop.db, shop.store.id, "deadly.tif")
    advised = next_step(shop.db, told, "%Y-%m-%d")
    assert "crashed on this file: double free or corruption" in told.detail
    assert "estore" not in told.hint + advised.text + advised.command and "damaged" not in told.detail + told.hint
    assert shop.file("Ben Orrery/Two Boats/master.tif").scan_id is not None
    shop.index()
    assert shop.kinds().get("deadly.tif") in (None, {"no profile"}) and shop.file("deadly.tif").scan_id is not None


def test_a_known_file_that_kills_its_reader_keeps_its_content(shop: Shop, scan: Scan) -> None:  # noqa: F811
    scan("main/deadly.tif", seed=50)
    shop.index()
    before = shop.file("deadly.tif").scan_id
    shop.index(executors=forked(partial(_kill_over, _deadly)), workers=1, again=True)
    assert "reader crashed" in shop.kinds()["deadly.tif"] and before is not None
    assert shop.file("deadly.tif").scan_id == before and scans.content_fault(shop.db, before) == ""


def test_workers_that_are_killed_once_leave_no_finding(shop: Shop, tmp_path: Path) -> None:  # noqa: F811
    (tmp_path / "begun").mkdir()
    killing = forked(partial(_kill_over, partial(_first_time, str(tmp_path / "begun"))))
    assert shop.index(executors=killing, workers=2).read == 3
    assert len(list((tmp_path / "begun").iterdir())) == 3
    assert not {"reader crashed", "damaged"} & {kind for kinds in shop.kinds().values() for kind in kinds}


def test_workers_that_serve_nothing_are_an_error_and_judge_no_file(shop: Shop, scan: Scan) -> None:  # noqa: F811
    shop.index()
    scan("main/new.tif", seed=51)
    before, told = state(shop), shop.kinds()
    for again in (False, True):
        with pytest.raises(CatalogueError, match="reading processes do not run"):
            shop.index(executors=forked(_end), workers=2, again=again)
        assert (state(shop), shop.kinds()) == (before, told)
    assert recorded.runs(shop.db, "index")[0].outcome == "failed"
    assert shop.index().read == 1


def test_a_process_that_the_system_does_not_start_is_an_error(shop: Shop) -> None:  # noqa: F811
    class Refusing(ThreadPoolExecutor):
        def submit(self, *_: object, **__: object):  # type: ignore[no-untyped-def, override]
            raise OSError(errno.EAGAIN, "Resource temporarily unavailable")

    with pytest.raises(CatalogueError, match=r"do not run.*Resource temporarily unavailable"):
        shop.index(executors=Refusing)
    assert state(shop) == []


def test_the_command_could_not_run(shop: Shop, monkeypatch: pytest.MonkeyPatch,  # noqa: F811
                                   capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(workers, "processes", forked(_end))
    monkeypatch.setattr(sys, "argv", ["catalogue", "--catalogue", str(shop.home.folder), "index", "--workers", "1"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2 and "No file was marked as faulty" in capsys.readouterr().err
    assert state(shop) == []


SCRIPT = '''
import sys
from pathlib import Path
from catalogue.indexing.service import index
from catalogue.records import stores
from catalogue.records.database import open_database
from catalogue.settings import Home

home = Home(Path(sys.argv[1]))
db = open_database(home.database)
index(db, home, stores.listed(db), workers=1)
'''


def test_a_script_without_main_guard_is_told_so(shop: Shop, tmp_path: Path) -> None:  # noqa: F811
    """Each process it spawns imports the script anew (Python's documentation of multiprocessing, "Safe importing of
    main module"), which ends it."""
    script = tmp_path / "script.py"
    script.write_text(SCRIPT)
    ran = subprocess.run([sys.executable, script, shop.home.folder], cwd=Path(__file__).parents[2], check=False,
                         capture_output=True, text=True)
    assert ran.returncode and "__name__" in ran.stderr.splitlines()[-1]
    assert state(shop) == [] and shop.kinds() == {}


@pytest.mark.parametrize("error", [MemoryError(), ImportError("no codec")])
def test_want_of_memory_or_of_a_library_is_no_damage(error: Exception, scan: Scan,
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    import catalogue.reading.file as reader

    def fail(*_: object) -> None:
        raise error

    monkeypatch.setattr(reader.Work, "_decode", fail)
    path = scan("main/a.tif", seed=1)
    assert {fault.kind for fault in read_file(str(path)).faults} - {Fault.NO_PROFILE} == {Fault.UNDECODED}
