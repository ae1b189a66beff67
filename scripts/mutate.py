#!/usr/bin/env python3
"""Whether the tests bite: breaks the program in small ways, one at a time, and runs the tests that must notice.

    python scripts/mutate.py                       every break of scripts/breaks/, in the environment of the tests
    python scripts/mutate.py --topic deletion --topic paging
    python scripts/mutate.py --room records --jobs 2
    python scripts/mutate.py --survivors           those not known to be caught since the last runs
    python scripts/mutate.py --survivors --minutes 10
    python scripts/mutate.py --list

A break is a text that occurs once in a file, another in its place, what that breaks in words, its topic, and the tests
that are responsible. Each worker has a copy of the tree of its own; the checkout is never edited. Tests are run as
``pytest -x``; a run that hangs counts as caught once ``--limit`` seconds are over. What was caught is proven: the test
that noticed is run once more on the tree as it is, where it must pass. Outcomes are kept in .check/mutate.json.

Not in the tables, since two guards stand for one another there: role and piece stated twice by an intake; a piece with
an edition, pinned by a trigger and by ``stated_facts.is_referred_to``; a failing read, placed to the sector by
``_by_sectors`` and by the next read; an unreadable file, kept out of ``plan_for`` and of ``grouping.grouped``.

Exit 0 when every break was caught, 1 when one survived, 2 when the table is stale (a text does not occur exactly once,
or its tests cannot be run) or a test fails without any break.
"""

import argparse
import fcntl
import json
import os
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from hashlib import sha256
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from queue import Empty
from time import monotonic, sleep
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
TABLES = ROOT / "scripts" / "breaks"
KEPT = ROOT / ".check" / "mutate.json"
LIMIT = 1200.0
# Breaks of these must all be caught.
MUST = ("copies", "deletion", "editions", "paging", "migration", "restore", "intake")
# Imported once a worker and inherited by every run: half the time of a short test file goes into these.
HEAVY = ("numpy", "cv2", "tifffile", "PIL.Image", "imagehash", "click", "rich.console", "rich.progress",
         "hypothesis", "jinja2", "xxhash", "platformdirs", "rapidfuzz")


@dataclass(frozen=True)
class Break:
    """``file`` relative to the project; ``old`` occurs once in it; ``tests`` as words for pytest."""

    room: str
    words: str
    topic: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]

    @property
    def key(self) -> str:
        """Names the break and its tests in the kept outcomes."""
        return sha256("\0".join((self.file, self.old, self.new, *self.tests)).encode()).hexdigest()[:16]


@dataclass(frozen=True)
class Outcome:
    """``state``: caught, survived, or unusable (its tests could not be run). ``by``: the test that noticed, or why."""

    state: str
    by: str = ""
    seconds: float = 0.0


def read_breaks(folder: Path = TABLES) -> list[Break]:
    """The whole table, file by file. Raises ValueError where an entry is malformed or two have the same words."""
    breaks: list[Break] = []
    for path in sorted(folder.glob("*.toml")):
        for group in tomllib.loads(path.read_text(encoding="utf-8"))["group"]:
            for entry in group["breaks"]:
                words, old, new, *tests = entry
                if len(tests) > 1 or old == new or not old:
                    raise ValueError(f"{path.name}: {words!r} is no break")
                own = shlex.split(tests[0] if tests else group["tests"])
                breaks.append(Break(path.stem, words, group["topic"], group["file"], old, new, tuple(own)))
    twice = [words for words, count in Counter(b.words for b in breaks).items() if count > 1]
    if twice:
        raise ValueError(f"said of two breaks: {', '.join(twice)}")
    return breaks


def stale(breaks: Sequence[Break], root: Path = ROOT) -> list[str]:
    """What of the table no longer fits the tree, in words."""
    texts: dict[str, str] = {}
    found = []
    for one in breaks:
        path = root / one.file
        if one.file not in texts:
            texts[one.file] = path.read_text(encoding="utf-8") if path.is_file() else ""
        count = texts[one.file].count(one.old)
        if count != 1:
            found.append(f"{one.room}.toml: {one.words}: its text occurs {count} times in {one.file}")
        found += [f"{one.room}.toml: {one.words}: there is no {test}" for test in one.tests
                  if test.startswith("tests/") and not (root / test.partition("::")[0]).exists()]
    return found


def copy_tree(target: Path) -> None:
    """The files that git knows or would add, with their times."""
    listed = subprocess.run(["git", "ls-files", "-coz", "--exclude-standard"], cwd=ROOT, check=True,
                            capture_output=True).stdout
    for name in filter(None, os.fsdecode(listed).split("\0")):
        source = ROOT / name
        if source.is_file():
            temporary = target / name
            temporary.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(source, temporary)


@contextmanager
def broken(tree: Path, one: Break) -> Iterator[None]:
    """The break applied to a copy of the tree, and taken back."""
    path = tree / one.file
    whole, stat = path.read_bytes(), path.stat()
    path.write_bytes(whole.decode("utf-8").replace(one.old, one.new).encode())
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns + 10**10))  # so that no compiled file passes for it
    try:
        yield
    finally:
        path.write_bytes(whole)
        os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))


class Noticed:
    """A plugin that writes down the first test that failed."""

    def __init__(self, temporary: Path) -> None:
        self.temporary = temporary

    def pytest_runtest_logreport(self, report: Any) -> None:
        self._note(report)

    def pytest_collectreport(self, report: Any) -> None:
        self._note(report)

    def _note(self, report: Any) -> None:
        if report.failed and not self.temporary.exists():
            self.temporary.write_text(report.nodeid, encoding="utf-8")


def run_tests(tree: Path, tests: Sequence[str], limit: float) -> tuple[int | None, str, str]:
    """``(exit code, first failed test, what was printed)``; None where the time was over, negative for a signal."""
    with tempfile.TemporaryDirectory(prefix="mutate-run-") as temporary:
        noticed, log = Path(temporary) / "noticed", Path(temporary) / "log"
        child = os.fork()
        if not child:
            code = 70
            try:
                os.setsid()
                signal.signal(signal.SIGTERM, signal.SIG_DFL)
                signal.signal(signal.SIGINT, signal.default_int_handler)
                os.chdir(tree)
                with log.open("wb") as out:
                    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
                    os.dup2(out.fileno(), 1)
                    os.dup2(out.fileno(), 2)
                import pytest

                os.environ["TMPDIR"] = tempfile.tempdir = temporary
                code = int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "--color=no", *tests],
                                       plugins=[Noticed(noticed)]))
            finally:
                sys.stdout.flush()
                os._exit(code)
        status, until = None, monotonic() + limit
        try:
            while status is None and monotonic() < until:
                done, found = os.waitpid(child, os.WNOHANG)
                status = found if done else None
                sleep(0.02)
        finally:
            with suppress(ProcessLookupError):
                os.killpg(child, signal.SIGKILL)  # what it started, too
            if status is None:
                os.waitpid(child, 0)
        said = log.read_text(encoding="utf-8", errors="replace") if log.exists() else ""
        first = noticed.read_text(encoding="utf-8") if noticed.exists() else ""
        return None if status is None else os.waitstatus_to_exitcode(status), first, said


def judged(code: int | None, first: str, said: str) -> tuple[str, str]:
    """State and reason of one run. pytest: 0 all passed, 1 tests failed, 2 interrupted (as by a failing import)."""
    if code == 0:
        return "survived", ""
    if code is None:
        return "caught", "it hung"
    if code < 0:
        return "caught", f"signal {-code}"
    if code == 1 or (code == 2 and first):
        return "caught", first
    return "unusable", " ".join(said.split())[-300:]


def work(tree: Path, jobs: Any, results: Any, limit: float) -> None:
    """A worker: breaks from one queue, outcomes into the other, in a tree of its own."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))   # by way of ``finally``: the run under way goes along
    signal.signal(signal.SIGINT, signal.SIG_IGN)            # Ctrl-C is for the program that started the workers
    tree.mkdir()
    copy_tree(tree)
    for name in [n for n in os.environ if n.startswith(("PYTEST_", "CATALOGUE_"))]:
        del os.environ[name]
    # for this process and all that the tests start
    os.environ |= {"PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1", "OMP_NUM_THREADS": "1",
                   "OPENBLAS_NUM_THREADS": "1"}
    subprocess.run([sys.executable, "-m", "compileall", "-q", "-j", "1", str(tree / "catalogue")], check=True,
                   env={k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"})
    where = subprocess.run([sys.executable, "-c", "import catalogue; print(catalogue.__file__)"], check=True, cwd=tree,
                           capture_output=True, text=True).stdout.strip()
    if Path(where) != tree / "catalogue" / "__init__.py":
        raise SystemExit(f"the copy is not what would be tested, but {where}")
    sys.path.insert(0, str(tree))
    sys.dont_write_bytecode = True
    for name in HEAVY:
        __import__(name)
    while (job := jobs.get()) is not None:
        begun = monotonic()
        if isinstance(job, Break):
            with broken(tree, job):
                state, by = judged(*run_tests(tree, job.tests, limit))
            results.put((job, Outcome(state, by, monotonic() - begun)))
        else:
            code, first, said = run_tests(tree, job, limit)
            results.put((job, (code, first, said[-2000:])))


@contextmanager
def workers(count: int, limit: float) -> Iterator[tuple[Any, Any]]:
    """Queues of jobs and results, served by ``count`` processes."""
    context = get_context("spawn")
    jobs, results = context.Queue(), context.Queue()
    with tempfile.TemporaryDirectory(prefix="mutate-") as temporary:
        processes = [context.Process(target=work, args=(Path(temporary) / f"tree-{n}", jobs, results, limit))
                     for n in range(count)]
        for process in processes:
            process.start()
        try:
            yield jobs, _Alive(results, processes)
        finally:
            for _ in processes:
                jobs.put(None)
            for process in processes:
                process.join(5)
                process.terminate()
                process.join()


class _Alive:
    """Results, as long as there is a worker to give them."""

    def __init__(self, results: Any, processes: Sequence[Any]) -> None:
        self._results, self._processes = results, processes

    def get(self) -> Any:
        while True:
            try:
                return self._results.get(timeout=1)
            except Empty:
                if any(process.exitcode for process in self._processes):
                    raise SystemExit("A worker ended early; see above.") from None


def unproven(jobs: Any, results: Any, outcomes: dict[Break, Outcome]) -> list[str]:
    """Tests that noticed a break but fail on the tree as it is, too."""
    noticing = sorted({o.by for o in outcomes.values() if o.state == "caught" and "::" in o.by})
    failed: list[str] = []
    waiting = 0
    for start in range(0, len(noticing), 40):
        jobs.put(tuple(noticing[start : start + 40]))
        waiting += 1
    while waiting:
        tests, (code, first, said) = results.get()
        waiting -= 1
        if code == 0:
            continue
        failed.append(f"{first or tests[0]} fails without any break: {' '.join(said.split())[-400:]}")
    return failed


def remembered() -> dict[str, dict[str, Any]]:
    """Outcomes of earlier runs by the break's key."""
    try:
        found = json.loads(KEPT.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def remember(one: Break, outcome: Outcome) -> None:
    """Keep an outcome for ``--survivors``; several of these programs may run at once."""
    KEPT.parent.mkdir(exist_ok=True)
    with KEPT.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        kept = remembered() | {one.key: {"words": one.words, "state": outcome.state, "by": outcome.by}}
        KEPT.write_text(json.dumps(kept, indent=1, sort_keys=True), encoding="utf-8")


def table(states: dict[Break, str]) -> str:
    """Caught and survived, by topic; breaks that no run has tried yet are counted apart."""
    topics = sorted({one.topic for one in states})
    lines = [f"{'topic':14} {'breaks':>6} {'tried':>6} {'caught':>6} {'survived':>8}"]
    for topic in (*topics, "all"):
        own = [state for one, state in states.items() if topic in (one.topic, "all")]
        tried, caught = len(own) - own.count("not run"), own.count("caught")
        lines.append(f"{topic:14} {len(own):6} {tried:6} {caught:6} {tried - caught:8}")
    return "\n".join(lines)


def chosen(breaks: Sequence[Break], arguments: argparse.Namespace) -> list[Break]:
    known = remembered()
    return [one for one in breaks
            if (not arguments.topic or one.topic in arguments.topic)
            and (not arguments.room or one.room in arguments.room)
            and (not arguments.words or any(w.casefold() in one.words.casefold() for w in arguments.words))
            and (not arguments.survivors or known.get(one.key, {}).get("state") != "caught")]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("words", nargs="*", help="only breaks whose words contain one of these")
    parser.add_argument("--topic", action="append")
    parser.add_argument("--room", action="append")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--limit", type=float, default=LIMIT, help="seconds after which a run has hung")
    parser.add_argument("--minutes", type=float, help="begin no further break after that time; --survivors goes on")
    parser.add_argument("--survivors", action="store_true", help="only what earlier runs did not catch")
    parser.add_argument("--list", action="store_true", help="print the breaks, run nothing")
    parser.add_argument("--table", action="store_true", help="print the outcomes of earlier runs, run nothing")
    arguments = parser.parse_args()
    try:
        every = read_breaks()
    except (ValueError, KeyError, TypeError) as error:
        print(f"The table cannot be read: {error}")
        return 2
    if arguments.table:
        known = remembered()
        print(table({one: known.get(one.key, {}).get("state", "not run") for one in every}))
        return 0
    breaks = chosen(every, arguments)
    if arguments.list:
        print(*(f"{one.topic:12} {one.file}: {one.words}" for one in breaks), sep="\n")
        return 0
    if old := stale(breaks):
        print(*old, sep="\n")
        return 2
    outcomes: dict[Break, Outcome] = {}
    if not breaks:
        print("No break is left to try.")
        return 0
    count = max(1, min(arguments.jobs, len(breaks)))
    until = monotonic() + arguments.minutes * 60 if arguments.minutes else float("inf")
    with workers(count, arguments.limit) as (jobs, results):
        waiting = iter(breaks)
        under_way = 0
        for one in islice(waiting, count):
            jobs.put(one)
            under_way += 1
        while under_way:
            one, outcome = results.get()
            under_way -= 1
            if monotonic() < until and (following := next(waiting, None)):
                jobs.put(following)
                under_way += 1
            outcomes[one] = outcome
            remember(one, outcome)
            print(f"{outcome.state:8} {outcome.seconds:4.0f} s  {one.topic}: {one.words}"
                  + (f"\n         {outcome.by}" if outcome.state == "unusable" else ""), flush=True)
        failed = unproven(jobs, results, outcomes)
    print()
    print(table({one: outcomes[one].state if one in outcomes else "not run" for one in breaks}))
    survivors = [one for one, outcome in outcomes.items() if outcome.state == "survived"]
    for one in survivors:
        print(f"\nSURVIVED {one.topic}{' (must be caught)' if one.topic in MUST else ''}: {one.words}\n  {one.file}:"
              f" {one.old!r} → {one.new!r}\n  {' '.join(one.tests)}")
    print(*failed, sep="\n")
    if failed or any(outcome.state == "unusable" for outcome in outcomes.values()):
        return 2
    return 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main())
