"""Reading many files with several processes, so that one that kills its reader costs one finding.

A process that ended says nothing of the file it was reading: the system kills processes when memory runs out, and
people do too. Only a file that ends two fresh processes, alone in each, while an empty job is served, is said to crash
its reader. What a process writes to its standard error, such as a library's last words or a traceback, stays out of the
terminal, where the screens are; of one that reads alone it goes into the finding.
"""

import multiprocessing
import os
import signal
import sys
import tempfile
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from multiprocessing import connection
from pathlib import Path
from threading import Thread
from typing import TypeVar

from catalogue.errors import CatalogueError, one_line
from catalogue.progress import Cancelled
from catalogue.reading.model import Fault, FaultFound, Reading

Executors = Callable[..., Executor]     # executor of a number of processes, with a file for their standard error
Job = tuple[str, str]  # path in stored form, real path
T = TypeVar("T")
PR_SET_PDEATHSIG = 1  # linux/prctl.h
LONGEST_WORDS = 200   # characters of what a process wrote that a finding quotes


def processes(workers: int, errors_to: str = "") -> Executor:
    """The usual executor: fresh processes, so that no open catalogue is inherited."""
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=begin,
                               initargs=(errors_to,))


def begin(errors_to: str = "") -> None:
    """Leave Ctrl-C to the parent: a worker finishes its file. It does not outlive its parent."""
    redirect_errors(errors_to)
    end_with_parent()
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def redirect_errors(path: str) -> None:
    """Send everything this process writes to standard error to the file at ``path``; without one, discard it if it
    would go to a terminal."""
    if not path and os.isatty(2):
        path = os.devnull
    if path:
        out = os.open(path, os.O_WRONLY | os.O_APPEND)
        os.dup2(out, 2)
        os.close(out)


def end_with_parent() -> None:
    """Call first in a worker process: it ends at once when its parent is gone, even if killed.

    Linux is asked to kill it, also in the middle of a codec. A thread that waits on the parent's sentinel works
    everywhere, and covers a parent that ended before the system was asked.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    if sys.platform == "linux":
        import ctypes

        with suppress(OSError, AttributeError):  # a C library without it: the thread below remains
            ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    Thread(target=_end_after, args=(parent.sentinel,), name="parent watch", daemon=True).start()


def _end_after(sentinel: int) -> None:
    connection.wait([sentinel])
    os._exit(1)


def worker_count(asked: int) -> int:
    return asked if asked > 0 else max(1, os.cpu_count() or 1)


def read_one(path: str) -> Reading:
    """What a worker runs. Imported late, so that the parent stays light."""
    from catalogue.reading.file import read_file

    return read_file(path)


def load_reader() -> None:
    """A job without a file: loads everything a reading process needs."""
    import catalogue.reading.file  # noqa: F401 - loaded, not used


def read_all(jobs: Iterable[Job], workers: int, cancelled: Cancelled, *,
             executors: Executors = processes) -> Iterator[tuple[str, Reading]]:
    """Readings as they finish, ``(kept path, reading)``; at most twice as many files under way as workers.

    A file under way when a worker dies is read again alone; one that kills two more workers gives a Reading that
    says so. After ``cancelled`` the files under way are finished and no new one is begun.

    Raises CatalogueError when the workers cannot be started, or end without having been given a file.
    """
    queue = iter(jobs)
    suspects: deque[Job] = deque()
    exhausted = False
    while not exhausted or suspects:
        while suspects and not cancelled():
            yield _read_alone(suspects.popleft(), executors)
        if exhausted or cancelled():
            return
        with executors(workers) as executor:
            under_way: dict[Future[Reading], Job] = {}
            while True:
                while not exhausted and not cancelled() and not suspects and len(under_way) < workers * 2:
                    job = next(queue, None)
                    if job is None:
                        exhausted = True
                        break
                    try:
                        under_way[_submit(executor, read_one, job[1])] = job
                    except BrokenProcessPool:
                        suspects.append(job)
                if not under_way:
                    break
                finished, _ = wait(under_way, return_when=FIRST_COMPLETED, timeout=0.5)
                for future in [each for each in under_way if each in finished]:  # in the order given out
                    job = under_way.pop(future)
                    try:
                        yield job[0], future.result()
                    except BrokenProcessPool:
                        suspects.append(job)


def _submit(executor: Executor, function: Callable[..., T], *args: str) -> Future[T]:
    """As ``Executor.submit``; a process that the system does not start is an error, and no broken pool."""
    try:
        return executor.submit(function, *args)
    except OSError as error:
        raise not_served(one_line(error)) from error


def _read_alone(job: Job, executors: Executors) -> tuple[str, Reading]:
    path, real = job

    def serve() -> None:
        with executors(1) as executor:
            _submit(executor, load_reader).result()

    with tempfile.NamedTemporaryFile() as errors:
        for _ in range(2):  # it may only have waited its turn when the pool broke
            with suppress(BrokenProcessPool), executors(1, errors.name) as executor:
                return path, _submit(executor, read_one, real).result()
        return path, crashed(real, serve, BrokenProcessPool, errors.read())


def crashed(real: str, serve: Callable[[], object], ended: type[Exception], errors: bytes = b"") -> Reading:
    """What is said of a file that ended its reader twice, alone. ``serve`` does an empty job in a fresh process;
    ``errors`` is what the readers wrote to standard error.

    Raises CatalogueError if the empty job ends with ``ended`` too: then it is not the file.
    """
    try:
        serve()
    except ended as error:
        raise not_served() from error
    try:
        stat = Path(real).stat()
        size, mtime = stat.st_size, stat.st_mtime_ns
    except OSError:
        size = mtime = 0
    lines = errors.decode("utf-8", "replace").split("\n")
    last = next((line.strip() for line in reversed(lines) if line.strip()), "")[:LONGEST_WORDS]
    return Reading(real, size, mtime, faults=(FaultFound(
        Fault.CRASHED, "the reader crashed on this file" + (f": {last}" if last else ""),
        "Index again when more memory is free, and open the file in another program to see whether it is sound."),))


def not_served(reason: str = "they end before they have read anything") -> CatalogueError:
    """The error if no file can be read, which says nothing about the files."""
    return CatalogueError(f"The reading processes do not run: {reason}.",
                          hint="No file was marked as faulty. Free memory, or use fewer workers, then run this again;"
                               " a script that calls this needs `if __name__ == \"__main__\":` around its work.")
