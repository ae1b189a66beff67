"""Let every call that writes fail, one at a time, in every command that writes; then look whether anything was lost.

    python scripts/faults.py [--only 'copy;tidy'] [--lasting] [--points 0] [--minutes 10] [--results FILE] [--table]

Each command runs on an archive of its own with the k-th of its calls (write, fsync, close, link, rename, unlink, mkdir,
a file made, emptied or given another size, below the archive) failing once with ENOSPC, EIO, ESTALE, EROFS or EFBIG, or
with the program killed before it; with ``--lasting`` also all later ones, as on a full disk (those alone that need
room) or on one that is gone. After each such run: every content that was there still is; no file stands under its final
name half written, and no store holds what it should not; catalogue, event log and ledger are sound; the command said
nothing untrue and printed no traceback; and run once more, it completes, leaves no temporary file, and the journal says
what the log says.

Every call of the program's own is struck, and of what SQLite does on its files the first and last call of each stretch
and every flush; ``--points 0`` strikes those in between too, ``--points 8`` only so many in all, spread evenly. Results
are appended to ``--results``, a line a command and fault, and what is there already is not done again: ``--minutes``
ends a piece, and the same call goes on with the next. ``--table`` prints what the results say.

The faults come from a small library (faults_preload.c) that this script builds with ``cc``; where that cannot be done
it says so and ends.
"""

import argparse
import errno
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent.parent)]

from faults_archive import NOT_THERE, Archive, States  # noqa: E402
from faults_run import CRASHED, LIBRARY, Strike, build, run, warm_up  # noqa: E402

FAULTS = {**{name: (getattr(errno, name), 0) for name in ("ENOSPC", "EIO", "ESTALE", "EROFS", "EFBIG")},
          "kill": (-1, 0)}
LASTING = {"full": (errno.ENOSPC, 1), "gone": (errno.EIO, 2)}
STRETCHES = -1
# a backup is written by SQLite too, under its temporary name
DATABASE = re.compile(r"(\.sqlite|\.recovered\.part)(-wal|-shm|-journal)?$|^write .*/backups/\.catalogue-part-")
TOLD_BY_SQLITE = ("ENOSPC", "EIO", "kill", "full", "gone")
SHARED_MEMORY = Path("/dev/shm")


@dataclass
class Tally:
    """One command under one kind of fault."""

    command: str
    fault: str
    points: int
    calls: int = 0
    faults: int = 0
    lost: int = 0
    half: int = 0
    false: int = 0
    tracebacks: int = 0
    stuck: int = 0
    seconds: float = 0
    told: list[str] = field(default_factory=list)


def points_of(calls: Sequence[str], fault: str, wanted: int) -> list[int]:
    """Calls to strike, counted from 1: every one with ``wanted`` 0, else at most so many, spread evenly.

    ``STRETCHES``: every call of the program's own; and of each stretch of calls that SQLite makes on its files by
    itself the first, the last and every flush. What the program sees of a stretch is one error, and SQLite only tells
    whether the disk was full: the other kinds of error are left to the program's own calls.
    """
    total = len(calls)
    if wanted != STRETCHES:
        if wanted <= 0 or wanted >= total:
            return list(range(1, total + 1))
        return sorted({1 + round(n * (total - 1) / max(wanted - 1, 1)) for n in range(wanted)})
    inside = [False, *(bool(DATABASE.search(call)) for call in calls), False]
    return [number for number, call in enumerate(calls, 1) if not inside[number] or (fault in TOLD_BY_SQLITE and (
        call.startswith("fsync") or not (inside[number - 1] and inside[number + 1])))]


def calls_of(work: "Work", states: States) -> tuple[tuple[str, ...], str]:  # noqa: F821
    """The calls that a run without a fault makes, and what is wrong with it."""
    archive = states.now
    states.begin(work.state)
    before = archive.before()
    whole = run(work.arguments(archive), archive.home, archive.folder)
    wrong = [*filter(None, [work.wrong(archive)]), *archive.half(),
             *archive.lost(before, same_log=not work.recovers, ended=True)]
    if whole.code not in work.codes or wrong:
        return whole.calls, f"does not run through without a fault: {whole.code} {whole.told[-600:]} {wrong}"
    return whole.calls, ""


def try_fault(work: "Work", states: States, tally: Tally, strike: Strike) -> None:  # noqa: F821
    """One call of one command struck; adds to the tally what was wrong."""
    archive = states.now
    states.begin(work.state)
    before = archive.before()
    done = run(work.arguments(archive), archive.home, archive.folder, strike)
    tally.faults += 1
    where = f"{work.name}, {tally.fault} at call {strike.point} of {tally.calls} ({done.struck or done.code})"
    crashed = ["a traceback"] if done.code == CRASHED or "Traceback" in done.told else []
    same_log = not work.recovers
    lost = [text for text in archive.lost(before, same_log=same_log) if not (work.frees and text.endswith(NOT_THERE))]
    for kind, texts in (("lost", lost), ("half", archive.half()),
                        ("false", work.untrue(archive, before, done)), ("tracebacks", crashed)):
        setattr(tally, kind, getattr(tally, kind) + bool(texts))
        tally.told += [f"{where}: {kind}: {text}" for text in texts]
        if texts:
            tally.told.append("    " + f"{done.code} {done.told.strip()[-1500:]}".replace("\n", "\n    "))
    again, codes = done, work.codes
    if not work.may_repeat or work.wrong(archive):
        again = run(work.arguments(archive), archive.home, archive.folder)
        for call in work.then if work.wrong(archive) else ():
            from faults_states import arguments

            again, codes = run(arguments(call, archive), archive.home, archive.folder), (*work.codes, 1)
    elif done.code != 0:
        return  # it was done, and said what else it could not do
    wrong = [*filter(None, [work.wrong(archive)]), *archive.half(),
             *archive.lost(before, same_log=same_log, ended=True)]
    if again.code not in codes or wrong:
        tally.stuck += 1
        tally.told += [f"{where}: the next run does not complete: {again.code} {wrong}",
                       "    " + again.told.strip()[-800:].replace("\n", "\n    "),
                       "  it had said " + f"{done.code} {done.told.strip()[-500:]}".replace("\n", "\n    ")]


def read_one_here(states: States) -> None:
    """Read a master in this process, so that the workers forked from it have loaded what reading needs."""
    import faults_states

    from catalogue.reading.file import read_file

    states.begin(faults_states.bare)
    read_file(str(states.now.folder / faults_states.MASTERS / "0 master.tif"))


def results(path: Path | None) -> Iterator[Tally]:
    """What earlier runs found; of two for one command and fault the later."""
    latest: dict[tuple[str, str], Tally] = {}
    for line in path.read_text().splitlines() if path and path.exists() else ():
        one = Tally(**json.loads(line))
        latest[one.command, one.fault] = one
    yield from latest.values()


def table(found: list[Tally], works: "list[Work]") -> str:  # noqa: F821
    """The outcomes as a table, a line a command, and their sum."""
    columns = ("faults", "lost", "half", "false", "tracebacks", "stuck")
    lines = ["| command | calls | struck | faults | lost | half files | false words | tracebacks | next run stuck |",
             "|---|---:|---|---:|---:|---:|---:|---:|---:|"]
    sums, calls = dict.fromkeys(columns, 0), 0
    for work in works:
        own = [one for one in found if one.command == work.name]
        if not own:
            continue
        counts = {name: sum(getattr(one, name) for one in own) for name in columns}
        sums = {name: sums[name] + counts[name] for name in columns}
        calls += own[-1].calls
        all_own = [one.fault for one in own if one.points <= 0]
        struck = f"own: {', '.join(all_own)}" if all_own else "a sample"
        lines.append(f"| {work.name} | {own[-1].calls:,} | {struck} | "
                     + " | ".join(f"{counts[name]:,}" for name in columns) + " |")
    return "\n".join([*lines, f"| all | {calls:,} | | " + " | ".join(f"{sums[name]:,}" for name in columns) + " |"])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=STRETCHES, help="calls struck per command and fault, spread"
                        " evenly; 0: every one; else every call but those within SQLite's own stretches")
    parser.add_argument("--only", default="", help="commands, separated by semicolons")
    parser.add_argument("--faults", default="", help="kinds of faults, separated by commas")
    parser.add_argument("--stores", action="store_true", help="commands alone that touch stores or the ledger")
    parser.add_argument("--lasting", action="store_true", help="also disks that stay full, or are gone")
    parser.add_argument("--minutes", type=float, default=0, help="begin nothing new after so long")
    parser.add_argument("--results", type=Path, help="a file that results are appended to, a JSON line each")
    parser.add_argument("--table", action="store_true", help="print the table of the results and end")
    asked = parser.parse_args()
    if LIBRARY not in os.environ and not asked.table:
        folder = tempfile.mkdtemp(prefix="faults-library-")
        library = build(Path(folder))
        if library is None:
            print("Skipped: there is no C compiler (cc) to build the faulty library with, or this is not Linux.")
            return 0
        environment = os.environ | {LIBRARY: str(library), "LD_PRELOAD": str(library), "OPENBLAS_NUM_THREADS": "1",
                                    "OMP_NUM_THREADS": "1"}
        return subprocess.run([sys.executable, *sys.argv], env=environment, check=False).returncode
    from faults_works import WORKS

    if asked.table:
        print(table(list(results(asked.results)), list(WORKS)))
        return 0
    warm_up()
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    names = [name.strip() for name in asked.only.split(";") if name.strip()]
    chosen = [w for w in WORKS if (w.name in names or not names) and (w.stores or not asked.stores)]
    kinds = FAULTS | (LASTING if asked.lasting else {})
    kinds = {name: kind for name, kind in kinds.items() if not asked.faults or name in asked.faults.split(",")}
    known = {(one.command, one.fault): one.points for one in results(asked.results)}
    begun, wrong = time.monotonic(), 0
    with tempfile.TemporaryDirectory(prefix="faults-", dir=SHARED_MEMORY if SHARED_MEMORY.is_dir() else None) as folder:
        os.environ["TMPDIR"] = tempfile.tempdir = folder  # what children said goes there too
        states = States(Path(folder), Archive(Path(folder) / "now"), {})
        read_one_here(states)
        for work in chosen:
            due = {name: kind for name, kind in kinds.items() if known.get((work.name, name)) != asked.points}
            if not due:
                continue
            calls, trouble = calls_of(work, states)
            if trouble:
                print(f"{work.name} {trouble}", flush=True)
                wrong += 1
                continue
            for name, (error, lasting) in due.items():
                if asked.minutes and time.monotonic() - begun > asked.minutes * 60:
                    print("The time is up; the same call goes on from here.")
                    return 1
                started, tally = time.monotonic(), Tally(work.name, name, asked.points, len(calls))
                for point in points_of(calls, name, asked.points):
                    try_fault(work, states, tally, Strike(point, error, lasting))
                tally.seconds = round(time.monotonic() - started, 1)
                wrong += len(tally.told)
                print(f"{work.name}, {name}: {tally.faults} of {len(calls)} calls, {tally.seconds} s", flush=True)
                print("".join(f"{line}\n" for line in tally.told), end="", flush=True)
                if asked.results:
                    with asked.results.open("a") as file:
                        file.write(json.dumps(asdict(tally)) + "\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
