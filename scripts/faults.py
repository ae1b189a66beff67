"""Let every call that writes fail, one at a time, in every command that writes; then look whether anything was lost.

    python scripts/faults.py [--points 8] [--only copy,tidy]

Each command runs on an archive of its own with the k-th of its calls (write, fsync, close, link, rename, unlink, mkdir
below the archive) failing once with ENOSPC, EIO, ESTALE, EROFS or EFBIG, or with the program killed before it. After
each such run: every content that was there still is; no file stands under its final name half written; catalogue,
event log and ledger are sound; the command said nothing untrue and printed no traceback; and run once more, it
completes. ``--points`` calls are tried per command and fault, spread over all of them; 0 tries every one.

The faults come from a small library (faults_preload.c) that this script builds with ``cc``; where that cannot be done
it says so and ends.
"""

import argparse
import ctypes
import errno
import io
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

SOURCE = Path(__file__).with_name("faults_preload.c")
FAULTS = {"ENOSPC": errno.ENOSPC, "EIO": errno.EIO, "ESTALE": errno.ESTALE, "EROFS": errno.EROFS,
          "EFBIG": errno.EFBIG, "kill": -1}
READY = "CATALOGUE_FAULTS_LIBRARY"
CRASHED = 99


@dataclass(frozen=True)
class Run:
    """One run of a command: exit code (negative: killed), what it printed, calls counted, which call was struck."""

    code: int
    out: str
    err: str
    calls: int
    struck: str

    @property
    def told(self) -> str:
        return self.out + self.err


def build(folder: Path) -> Path | None:
    """The library, or None where it cannot be built."""
    compiler = shutil.which("cc")
    if compiler is None or sys.platform != "linux":
        return None
    made = folder / "faults.so"
    done = subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", str(made), str(SOURCE), "-ldl"], check=False)
    return made if done.returncode == 0 else None


def run(arguments: Sequence[str], home: Path, root: Path, point: int = 0, error: int = 0) -> Run:
    """Run one command in a child of this process, its ``point``-th call below ``root`` struck."""
    folder = Path(tempfile.mkdtemp(prefix="faults-said-"))
    pid = os.fork()
    if pid == 0:
        _child(arguments, home, root, point, error, folder)
    _, status = os.waitpid(pid, 0)
    calls, _, struck = _text(folder / "calls").partition(" ")
    told = Run(os.waitstatus_to_exitcode(status), _text(folder / "out"), _text(folder / "err"), int(calls or 0), struck)
    shutil.rmtree(folder)
    return told


def _text(path: Path) -> str:
    return path.read_text(errors="replace") if path.exists() else ""


def _child(arguments: Sequence[str], home: Path, root: Path, point: int, error: int, folder: Path) -> None:
    code = CRASHED
    library = ctypes.CDLL(os.environ[READY])
    library.faults_call.restype = ctypes.c_char_p
    try:
        for number, name in ((1, "out"), (2, "err")):
            fd = os.open(folder / name, os.O_WRONLY | os.O_CREAT)
            os.dup2(fd, number)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        sys.stdout, sys.stderr = io.TextIOWrapper(io.FileIO(1, "w"), encoding="utf-8"), io.TextIOWrapper(
            io.FileIO(2, "w"), encoding="utf-8")
        os.environ["CATALOGUE_HOME"] = str(home)
        sys.argv = ["catalogue", *arguments]
        from catalogue.commands import main

        library.faults_arm(os.fsencode(root), ctypes.c_long(point), ctypes.c_int(error))
        try:
            main()
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 0
        except BaseException:
            traceback.print_exc()
        calls = library.faults_disarm()
        (folder / "calls").write_text(f"{calls} {library.faults_call().decode()}")
        for stream in (sys.stdout, sys.stderr):
            stream.flush()
    finally:
        os._exit(code)


def points_of(total: int, wanted: int) -> list[int]:
    """Calls to strike: all, or ``wanted`` of them spread evenly, first and last among them."""
    if wanted <= 0 or wanted >= total:
        return list(range(1, total + 1))
    return sorted({1 + round(n * (total - 1) / max(wanted - 1, 1)) for n in range(wanted)})


@dataclass
class Tally:
    calls: int = 0
    faults: int = 0
    lost: int = 0
    half: int = 0
    false: int = 0
    tracebacks: int = 0
    stuck: int = 0


def try_work(work: "Work", wanted: int, folder: Path) -> tuple[Tally, list[str]]:  # noqa: F821
    """One command under every kind of fault."""
    from faults_works import Archive

    start, place = Archive(folder / "start"), Archive(folder / "now")
    work.prepare(start, run)
    tally, said = Tally(), list[str]()
    place.begin_from(start)
    whole = run(work.arguments(place), place.home, place.folder)
    broken = work.wrong(place)
    if whole.code not in work.codes or broken:
        return tally, [f"{work.name} does not run through without a fault: {whole.code} {whole.told[-600:]} {broken}"]
    tally.calls = whole.calls
    for name, error in FAULTS.items():
        for point in points_of(whole.calls, wanted):
            place.begin_from(start)
            before = place.contents()
            done = run(work.arguments(place), place.home, place.folder, point, error)
            tally.faults += 1
            where = f"{work.name}, {name} at call {point} of {whole.calls} ({done.struck or 'killed'})"
            crashed = ["a traceback"] if done.code == CRASHED or "Traceback" in done.told else []
            for kind, texts in (("lost", place.lost(before)), ("half", place.half()),
                                ("false", work.untrue(place, done)), ("tracebacks", crashed)):
                setattr(tally, kind, getattr(tally, kind) + bool(texts))
                said += [f"{where}: {kind}: {text}" for text in texts]
                if texts:
                    said.append("    " + done.told.strip()[-1500:].replace("\n", "\n    "))
            if not work.may_repeat or work.wrong(place):
                again = run(work.arguments(place), place.home, place.folder)
                wrong = work.wrong(place)
                if wrong and work.then:
                    again = run(work.then, place.home, place.folder)
                    if work.name.startswith("intake clearing"):
                        again = run(work.arguments(place), place.home, place.folder)
                    wrong = work.wrong(place)
                codes = (*work.codes, 1) if work.then else work.codes  # what is advised may end with other findings
                if again.code not in codes or wrong or place.lost(before) or place.half():
                    tally.stuck += 1
                    said.append(f"{where}: the next run does not complete: {again.code} {again.told.strip()[-800:]}"
                                f" {wrong} {place.lost(before)} {place.half()}; it had said {done.code}"
                                f" {done.told.strip()[-500:]}")
    return tally, said


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=8, help="calls struck per command and fault; 0: every one")
    parser.add_argument("--only", default="", help="commands, separated by commas")
    asked = parser.parse_args()
    if READY not in os.environ:
        folder = tempfile.mkdtemp(prefix="faults-library-")
        library = build(Path(folder))
        if library is None:
            print("Skipped: there is no C compiler (cc) to build the faulty library with, or this is not Linux.")
            return 0
        environment = os.environ | {READY: str(library), "LD_PRELOAD": str(library)}
        return subprocess.run([sys.executable, *sys.argv], env=environment, check=False).returncode
    sys.path.insert(0, str(SOURCE.parent.parent))
    from faults_works import WORKS

    signal.signal(signal.SIGINT, signal.SIG_DFL)
    chosen = [w for w in WORKS if not asked.only or w.name in asked.only.split(",")]
    print("| command | calls | faults | lost | half files | false words | tracebacks | stuck | s |")
    print("|---|---:|---:|---:|---:|---:|---:|---:|---:|")
    total, said = Tally(), list[str]()
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        for work in chosen:
            begun = time.monotonic()
            tally, told = try_work(work, asked.points, Path(folder) / work.name.replace(" ", "-"))
            said += told
            print("\n".join(told), file=sys.stderr, flush=True)
            for name in vars(total):
                setattr(total, name, getattr(total, name) + getattr(tally, name))
            print(f"| {work.name} | {tally.calls:,} | {tally.faults} | {tally.lost} | {tally.half} | {tally.false} |"
                  f" {tally.tracebacks} | {tally.stuck} | {time.monotonic() - begun:.0f} |", flush=True)
    print(f"| all | {total.calls:,} | {total.faults:,} | {total.lost} | {total.half} | {total.false} |"
          f" {total.tracebacks} | {total.stuck} | |")
    return 1 if said else 0


if __name__ == "__main__":
    sys.exit(main())
