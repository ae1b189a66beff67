#!/usr/bin/env python3
"""Kill -9 at many points of everything that writes, then look: nothing lost, no half file, the next run completes.

    python scripts/torture.py [--points 90] [--only index,copy] [--seed 1]

Each kind of work is done once whole to count its calls into C (system calls, SQLite, file work) in every thread;
then again and again from the same start, killed just before one of those calls, spread over the whole run, or every
second time at a moment of its running time, which may lie within a call. After each kill the catalogue and the stores
are examined, the work is done again, and its result examined. Prints a table; exit 1 when anything was found. Needs a
system that forks.
"""

import argparse
import os
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parent.parent)]

if TYPE_CHECKING:
    from torture_works import Work


def in_child(task: Callable[[], None]) -> int:
    """Run a task in a fork; its exit code, or minus the signal that ended it."""
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            task()
            code = 0
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    status = os.waitpid(pid, 0)[1]
    return os.waitstatus_to_exitcode(status)


def killed_after(task: Callable[[], None], seconds: float) -> int:
    """Run a task in a fork and kill it after so long; as :func:`in_child`."""
    pid = os.fork()
    if pid == 0:
        signal.setitimer(signal.ITIMER_REAL, seconds)   # SIGALRM ends a process that does not handle it, at once
        try:
            task()
        finally:
            os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def counted(task: Callable[[], None], count_file: Path) -> None:
    """Do the task, and write down how many calls into C it made."""
    calls = [0]

    def hook(_: object, event: str, __: object) -> None:
        if event == "c_call":
            calls[0] += 1

    threading.setprofile(hook)
    sys.setprofile(hook)
    task()
    sys.setprofile(None)
    count_file.write_text(str(calls[0]))


def killed_at(task: Callable[[], None], call: int) -> None:
    """Do the task, and die just before the given call."""
    left = [call]

    def hook(_: object, event: str, __: object) -> None:
        if event == "c_call":
            left[0] -= 1
            if left[0] <= 0:
                os.kill(os.getpid(), signal.SIGKILL)

    threading.setprofile(hook)
    sys.setprofile(hook)
    task()


def replicate(start: Path, folder: Path) -> None:
    """Copy an archive, its pictures as the very same files: others in their places would count as no copies until they
    are read."""
    def one(source: str, target: str) -> None:
        (os.link if source.endswith(".tif") else shutil.copy2)(source, target)

    shutil.copytree(start, folder, copy_function=one)


def fresh(start: Path, folder: Path) -> None:
    """The archive as it was set up; at the same place, for the catalogue knows where its stores are."""
    shutil.rmtree(folder, ignore_errors=True)
    replicate(start, folder)


def torture(work: "Work", points: int, seed: int, folder: Path) -> tuple[int, int, list[str]]:
    """Kill one kind of work at many points; gives calls in a whole run, kills, and what was found wrong."""
    from torture_works import Archive, always, tidy

    archive, start, count_file = Archive(folder / "archive"), folder / "start", folder / "count"
    shutil.rmtree(archive.folder, ignore_errors=True)
    shutil.rmtree(start, ignore_errors=True)
    archive.folder.mkdir(parents=True)
    if in_child(lambda: work.prepare(archive)):
        return 0, 0, ["it could not be set up"]
    replicate(archive.folder, start)
    if in_child(lambda: counted(lambda: work.do(archive), count_file)):
        return 0, 0, ["it does not run through"]
    times = []
    for _ in range(3 if points > 9 else 1):
        fresh(start, archive.folder)
        begun = time.monotonic()
        in_child(lambda: work.do(archive))
        times.append(time.monotonic() - begun)
    lasted = min(times)  # the quickest, or many a kill would come when all is done
    total, kills, found = int(count_file.read_text()), 0, []
    chance = random.Random(seed)
    for point in range(points):
        share = (point + chance.random()) / points
        fresh(start, archive.folder)
        if point % 2:
            when = f"after {share * lasted:.4f} s of {lasted:.2f}"
            code = killed_after(lambda: work.do(archive), max(share * lasted, 1e-4))
        else:
            call = max(1, int(total * share))
            when = f"call {call} of {total}"
            code = in_child(lambda call=call: killed_at(lambda: work.do(archive), call))  # type: ignore[misc]
        kills += code in (-signal.SIGKILL, -signal.SIGALRM)
        faults = [f"after the kill: {fault}" for check in (always, work.after_kill) for fault in check(archive)]
        if in_child(lambda: work.do(archive)):
            faults.append("the next run fails")
        faults += [f"after the next run: {fault}" for check in (always, tidy, work.when_done)
                   for fault in check(archive)]
        found += [f"{work.name}, {when}: {fault}" for fault in faults]
    return total, kills, found


def load_libraries() -> None:
    """What works load when they first need it: else each fork would, and many a kill come meanwhile."""
    for name in ("imagehash", "scipy.fftpack", "xxhash", "rapidfuzz.distance.OSA", "unittest.mock"):
        import_module(name)


def main() -> int:
    from torture_works import WORKS

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=90, help="kills for each kind of work")
    parser.add_argument("--only", default=",".join(work.name for work in WORKS))
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chosen = [work for work in WORKS if work.name in asked.only.split(",")]
    print("| work | calls | killed | found | seconds |")
    print("|---|---:|---:|---:|---:|")
    kills, found = 0, list[str]()
    load_libraries()
    with tempfile.TemporaryDirectory(prefix="torture-") as folder:
        for work in chosen:
            begun = time.monotonic()
            calls, killed, faults = torture(work, asked.points, asked.seed, Path(folder) / work.name)
            kills += killed
            found += faults
            spent = time.monotonic() - begun
            print(f"| {work.name} | {calls:,} | {killed} | {len(faults)} | {spent:.0f} |", flush=True)
    for fault in found[:50]:
        print(fault)
    print(f"{kills} kills, {len(found)} faults")
    return 1 if found or not kills else 0


if __name__ == "__main__":
    sys.exit(main())
