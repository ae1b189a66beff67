#!/usr/bin/env python3
"""Run the suite again and again under different circumstances, and print a table of the runs.

    python3 scripts/soak.py                         eight whole runs
    python3 scripts/soak.py --runs 2-4              some of them; one after another, if need be, on different days
    python3 scripts/soak.py --table                 only print what the runs so far have given
    python3 scripts/soak.py --rooms records,ledger  only these folders of tests
    python3 scripts/soak.py --search                new Hypothesis examples, and many

The runs differ in order of tests, number of workers, how tests are dealt to them, what else the processor does, time
zone, language, user, folder and Python: every 3.11 or newer that is found, by name in PATH or from pyenv, takes its
turn. Run as root, most runs are made by the user nobody, on a copy of the tree (and of a Python that only root can
reach). Languages the system has not are compiled by localedef for these runs; where that cannot be, LANG is set all
the same.

Everything lies in --place (default: catalogue-soak in the folder for temporary files); environments are kept there
for the next time, what each run printed, and its row of the table, until that run is made again. Needs Linux or
macOS. Exit 0 when no test failed.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import cycle
from pathlib import Path

from environment import ROOT, Failed, environ, install, speak_anywhere

ODD_FOLDER = "scans & öl [1]"
NOBODY = 65534
COLUMNS = ("run", "Python", "workers", "order, seed", "cores", "TZ", "LANG", "user", "folder", "passed", "failed",
           "skipped", "s")
LANGUAGES = ("C", "de_DE.UTF-8", "tr_TR.UTF-8")


@dataclass(frozen=True, slots=True)
class Run:
    """The circumstances of one run. ``whole``: tests of all modules mixed, each dealt to whichever worker is free."""

    workers: int
    whole: bool
    burning: bool
    zone: str
    language: str
    root: bool
    folder: str
    seed: int
    python: Path = Path(sys.executable)


# Every value of each column stands beside several of every other.
RUNS = (
    Run(1, False, False, "Pacific/Kiritimati", "C", False, ODD_FOLDER, 101),
    Run(2, True, True, "America/St_Johns", "de_DE.UTF-8", False, "plain", 202),
    Run(4, False, False, "Pacific/Kiritimati", "tr_TR.UTF-8", True, ODD_FOLDER, 303),
    Run(1, True, True, "UTC", "tr_TR.UTF-8", False, "plain", 404),
    Run(2, False, True, "Pacific/Kiritimati", "de_DE.UTF-8", False, ODD_FOLDER, 505),
    Run(4, True, False, "America/St_Johns", "C", False, ODD_FOLDER, 606),
    Run(2, False, False, "America/St_Johns", "tr_TR.UTF-8", True, "plain", 707),
    Run(4, False, True, "UTC", "C", False, ODD_FOLDER, 808),
)


def pythons() -> list[Path]:
    """One Python of each minor version from 3.11 on; this one first."""
    named = [Path(sys.executable), *(Path(found) for n in range(11, 30) if (found := shutil.which(f"python3.{n}")))]
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    found: dict[str, Path] = {}
    for path in [*named, *sorted(pyenv.glob("3.*/bin/python3"))]:
        done = subprocess.run([path, "-c", "import sys; print('%d.%d' % sys.version_info[:2])"], check=False,
                              capture_output=True, text=True)
        version = done.stdout.strip()
        if done.returncode == 0 and tuple(map(int, version.split("."))) >= (3, 11):
            found.setdefault(version, path)
    return list(found.values())


def version_of(python: Path) -> str:
    return subprocess.run([python, "-c", "import platform; print(platform.python_version())"], check=True,
                          capture_output=True, text=True).stdout.strip()


def reachable(python: Path, folder: Path) -> Path:
    """That Python, or a copy of it in ``place`` if the user nobody cannot run it."""
    if os.geteuid() != 0 or nobody_can_run(python):
        return python
    prefix, name = subprocess.run([python, "-c", "import sys; print(sys.base_prefix); "
                                   "print('python%d.%d' % sys.version_info[:2])"],
                                  check=True, capture_output=True, text=True).stdout.splitlines()
    copy = folder / "pythons" / version_of(python)
    if not (copy / "bin" / name).exists():
        shutil.copytree(prefix, copy, symlinks=True, ignore=shutil.ignore_patterns("__pycache__", "site-packages"),
                        dirs_exist_ok=True)
    return copy / "bin" / name


def nobody_can_run(python: Path) -> bool:
    try:
        done = subprocess.run([python, "-c", ""], user=NOBODY, group=NOBODY, check=False, cwd="/", capture_output=True)
    except PermissionError:
        return False
    return done.returncode == 0


def copied_tree(target: Path) -> None:
    """The files of this checkout that git would keep, committed or not."""
    shutil.rmtree(target, ignore_errors=True)
    listed = subprocess.run(["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"], cwd=ROOT,
                            check=True, capture_output=True).stdout
    for name in filter(None, map(os.fsdecode, listed.split(b"\0"))):
        if (ROOT / name).exists():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, target / name)


def compiled_locales(folder: Path) -> dict[str, str]:
    """``LOCPATH`` for the languages the system has not, if localedef can compile them."""
    folder = folder / "locales"
    folder.mkdir(exist_ok=True)
    for language in LANGUAGES[1:]:
        name, _, charset = language.partition(".")
        if shutil.which("localedef") and not (folder / language).exists():
            subprocess.run(["localedef", "-i", name, "-f", charset, folder / language], check=False,
                           capture_output=True)
    return {"LOCPATH": str(folder)} if any(folder.iterdir()) else {}


@contextmanager
def burning(cores: int) -> Iterator[None]:
    """That many processes that compute without end meanwhile."""
    busy = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(cores)]
    try:
        yield
    finally:
        for process in busy:
            process.kill()
            process.wait()


def run_suite(number: int, run: Run, folder: Path, rooms: list[str], search: bool) -> tuple[str, bool]:
    """One run; gives its row of the table and whether every test passed."""
    programs = install(folder / f"python-{version_of(run.python)}", dev=True, compiled=True,
                       python=str(run.python))
    run_folder = folder / "runs" / str(number)
    shutil.rmtree(run_folder, ignore_errors=True)
    tree, temporary = run_folder / run.folder, run_folder / "temporary"
    temporary.mkdir(parents=True)
    copied_tree(tree)
    subprocess.run([programs / "python", "-m", "pip", "install", "--quiet", "--disable-pip-version-check", "--no-deps",
                    "--no-build-isolation", "--editable", "."], cwd=tree, check=True, capture_output=True)
    as_nobody = os.geteuid() == 0 and not run.root
    if as_nobody:
        subprocess.run(["chown", "-R", f"{NOBODY}:{NOBODY}", run_folder], check=True)
    locales = compiled_locales(folder)
    variables = {name: value for name, value in environ(programs).items()
                 if not name.startswith(("LC_", "LANG")) and name not in ("USER", "LOGNAME", "HOME")}
    variables |= {"TZ": run.zone, "LANG": run.language, "TMPDIR": str(temporary),
                  "HOME": str(temporary), "PYTHONHASHSEED": str(run.seed)} | locales
    words = [programs / "python", "-m", "pytest", "-q", "-rfE", "-p", "no:cacheprovider", "--color", "no",
             "-n", str(run.workers), "--dist", "load" if run.whole else "loadfile", "--random-order-seed",
             str(run.seed), "--random-order-bucket", "global" if run.whole else "module", *rooms]
    if run.python.is_relative_to(folder):   # the library is looked for where the Python was copied from
        variables["LD_LIBRARY_PATH"] = str(run.python.parent.parent / "lib")
    if search:
        words += ["--hypothesis-profile", "search"]
    log = folder / f"run-{number}.txt"
    (folder / f"row-{number}.txt").unlink(missing_ok=True)
    begun = time.monotonic()
    with log.open("wb") as out, burning((os.cpu_count() or 1) if run.burning else 0):
        identity = {"user": NOBODY, "group": NOBODY, "extra_groups": []} if as_nobody else {}
        done = subprocess.run(words, cwd=tree, env=variables, check=False, stdin=subprocess.DEVNULL, stdout=out,
                              stderr=subprocess.STDOUT, **identity)  # type: ignore[call-overload]
    seconds = time.monotonic() - begun
    said = log.read_text(encoding="utf-8", errors="replace")
    counts = {what: int(count) for count, what in re.findall(r"(\d+) (passed|failed|error|skipped)", said[-300:])}
    language = run.language if run.language == "C" or (folder / "locales" / run.language).exists() \
        else f"{run.language} (not to be had)"
    user = "nobody" if as_nobody else "root" if os.geteuid() == 0 else "this one"
    shutil.rmtree(temporary, ignore_errors=True)
    cells = (number, version_of(run.python), run.workers, f"{'all mixed' if run.whole else 'by module'}, {run.seed}",
             "burning" if run.burning else "as they were", run.zone, language, user, f"`{run.folder}`",
             counts.get("passed", 0), counts.get("failed", 0) + counts.get("error", 0), counts.get("skipped", 0),
             f"{seconds:.0f}")
    if done.returncode:
        print(*re.findall(r"^(?:FAILED|ERROR) .*$", said, re.M), f"exit {done.returncode}, see {log}", sep="\n")
    row = f"| {' | '.join(map(str, cells))} |"
    if not rooms:
        (folder / f"row-{number}.txt").write_text(row, encoding="utf-8")
    return row, done.returncode == 0


def table(rows: list[str]) -> str:
    """Rows of runs as a table in Markdown."""
    return "\n".join([f"| {' | '.join(COLUMNS)} |", f"|{'---|' * len(COLUMNS)}", *rows])


def chosen(text: str) -> list[int]:
    """"2-4,7" as numbers."""
    return [n for part in text.split(",") for first, _, last in [part.partition("-")]
            for n in range(int(first), int(last or first) + 1)]


def main() -> int:
    speak_anywhere()
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=chosen, default=list(range(1, len(RUNS) + 1)), help="some of the runs: 1-3,8")
    parser.add_argument("--rooms", default="", help="some folders of tests, else all")
    parser.add_argument("--pythons", default="", help="some versions, such as 3.12,3.13; else every one there is")
    parser.add_argument("--place", type=Path, default=Path(tempfile.gettempdir()) / "catalogue-soak")
    parser.add_argument("--table", action="store_true", help="only print the rows of the whole runs so far")
    parser.add_argument("--search", action="store_true", help="new Hypothesis examples, and many")
    asked = parser.parse_args()
    rooms = [f"tests/{room}" for room in asked.rooms.split(",") if room]
    os.umask(0o022)  # what is installed here must be read by another user
    folder = asked.place.absolute()
    folder.mkdir(parents=True, exist_ok=True)
    if asked.table:
        print(table([path.read_text(encoding="utf-8") for path in sorted(folder.glob("row-*.txt"))]))
        return 0
    wanted = tuple(asked.pythons.split(",")) if asked.pythons else ("",)
    usable = [reachable(python, folder) for python in pythons() if version_of(python).startswith(wanted)]
    if not usable:
        parser.error("no such Python here")
    turns = [replace(run, python=python) for run, python in zip(RUNS, cycle(usable), strict=False)]
    rows, sound = [], True
    for number in asked.runs:
        try:
            row, passed = run_suite(number, turns[number - 1], folder, rooms, asked.search)
        except Failed as failure:
            print(failure, file=sys.stderr)
            return 2
        print(row, flush=True)
        rows.append(row)
        sound = sound and passed
    print("", table(rows), "", "No test failed." if sound else "Tests failed.", sep="\n")
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
