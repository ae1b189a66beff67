"""Reading many files with several processes, so that one that kills its reader costs one finding."""

import multiprocessing
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

from catalogue.indexing.worker_lifetime import end_with_parent
from catalogue.progress import Cancelled
from catalogue.reading.model import Fault, FaultFound, Reading

Executors = Callable[[int], Executor]
Job = tuple[str, str]  # path as kept, real path


def processes(workers: int) -> Executor:
    """The usual executor: fresh processes, so that no open catalogue is inherited."""
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """Ctrl-C is the parent's to handle: a worker finishes its file. It does not outlive its parent."""
    end_with_parent()
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def worker_count(asked: int) -> int:
    return asked if asked > 0 else max(1, os.cpu_count() or 1)


def read_one(path: str) -> Reading:
    """What a worker runs. Imported late, so that the parent stays light."""
    from catalogue.reading.file import read_file

    return read_file(path)


def read_all(jobs: Iterable[Job], workers: int, cancelled: Cancelled, *,
             executors: Executors = processes) -> Iterator[tuple[str, Reading]]:
    """Readings as they finish, ``(kept path, reading)``; at most twice as many files under way as workers.

    A file under way when a worker dies is read again alone; one that kills its worker again gives a Reading that
    says so. After ``cancelled`` the files under way are finished and no new one is begun.
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
                        under_way[executor.submit(read_one, job[1])] = job
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


def _read_alone(job: Job, executors: Executors) -> tuple[str, Reading]:
    path, real = job
    with executors(1) as executor:
        try:
            return path, executor.submit(read_one, real).result()
        except BrokenProcessPool:
            return path, fatal(real)


def fatal(real: str) -> Reading:
    """What is said of a file that killed its reader."""
    try:
        stat = Path(real).stat()
        size, mtime = stat.st_size, stat.st_mtime_ns
    except OSError:
        size = mtime = 0
    return Reading(real, size, mtime, faults=(FaultFound(
        Fault.DAMAGED, "the reading process crashed on this file",
        "Check the file in another program, and restore it from a copy if it is damaged."),))
