#!/usr/bin/env python3
"""Measure audits, verified copies and index runs over unchanged files, each against the bare work it cannot avoid.

    python scripts/bench_fixity.py [--megabytes 512] [--files 6] [--unchanged 100000] [--rounds 5] [--place FOLDER]

Ratios are medians over rounds in which both sides take turns, so that a busy machine slows both. "From disk" drops the
system's memory of each file first, on both sides. Prints a table; exit 1 when a target is missed.
"""

import argparse
import hashlib
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

sys.path[:0] = [str(Path(__file__).resolve().parent.parent)]

if TYPE_CHECKING:
    from catalogue.records.database import Database
    from catalogue.records.stores import Store
    from catalogue.settings import Home

TARGETS = {"audit": 0.95, "index": 2.0}


@dataclass(frozen=True)
class Row:
    """One line of the table. ``ratio`` is of speeds where more is better, of times where less is."""

    what: str
    ours: str
    bare: str
    ratio: float
    target: str
    met: bool


def timed(task: Callable[[], object]) -> float:
    begun = time.perf_counter()
    task()
    return time.perf_counter() - begun


def in_turns(ours: Callable[[], object], bare: Callable[[], object], rounds: int) -> tuple[float, float, float]:
    """Median seconds of both and median of the rounds' ratios bare / ours; who begins changes from round to round."""
    pairs = []
    for number in range(rounds):
        if number % 2:
            theirs, mine = timed(bare), timed(ours)
        else:
            mine, theirs = timed(ours), timed(bare)
        pairs.append((mine, theirs))
    return (median(m for m, _ in pairs), median(t for _, t in pairs), median(t / m for m, t in pairs))


def big_files(folder: Path, count: int, megabytes: int) -> list[Path]:
    """Files of random bytes: nothing in them can be compressed or shared by a file system."""
    block = os.urandom(1 << 20)
    made = []
    for number in range(count):
        path = folder / f"{number}.tif"
        with path.open("wb") as file:
            for part in range(megabytes):
                file.write(hashlib.sha256(f"{number} {part}".encode()).digest() + block[32:])
            file.flush()
            os.fsync(file.fileno())
        made.append(path)
    return made


def record_files(db: "Database", store: "Store", root: Path, paths: Sequence[Path]) -> None:
    """What an index run would hold of them, as far as an audit asks."""
    from catalogue.reading.model import Reading
    from catalogue.records import files
    from catalogue.records.database import transaction
    from tests.recorded import save_scan

    with transaction(db):
        for path in paths:
            stat = path.stat()
            with path.open("rb") as file:
                sha256 = hashlib.file_digest(file, "sha256").hexdigest()
            reading = Reading(str(path), stat.st_size, stat.st_mtime_ns, sha256=sha256, format="TIFF")
            scan_id = save_scan(db, reading, role="master", piece_id=None)
            files.save(db, store.id, path.relative_to(root).as_posix(), stat.st_size, stat.st_mtime_ns, scan_id,
                       verified=True)


def bare_sha256(paths: Sequence[Path], from_disk: bool) -> None:
    from catalogue.storage.medium import drop_cache

    for path in paths:
        with path.open("rb") as file:
            if from_disk:
                drop_cache(file.fileno())
            hashlib.file_digest(file, "sha256")


def audits(db: "Database", home: "Home", store: "Store", root: Path, paths: Sequence[Path], rounds: int) -> list[Row]:
    from catalogue.fixity.audit import audit
    from catalogue.fixity.checking import Expected, Result, check
    from catalogue.progress import never_cancelled
    from catalogue.records import fixity, stores
    from catalogue.records.database import transaction

    total = sum(path.stat().st_size for path in paths)
    dues = [fixity.due_file(db, int(row[0])) for row in db.execute("SELECT id FROM file ORDER BY path")]

    def checks(from_disk: bool) -> None:
        for due in dues:
            assert due is not None
            found = check(str(root / due.path), Expected(due.size, due.mtime_ns, due.sha256), on_read=lambda _: None,
                          cancelled=never_cancelled, from_disk=from_disk)
            assert found.result is Result.INTACT

    def whole() -> None:
        (done,) = audit(db, home, [store])
        assert done.intact == len(paths), done

    bare_sha256(paths, from_disk=False)  # into memory
    rows = [_speed("one check after another, from memory", total,
                   *in_turns(lambda: checks(False), lambda: bare_sha256(paths, from_disk=False), rounds)),
            _speed("one check after another, from disk", total,
                   *in_turns(lambda: checks(True), lambda: bare_sha256(paths, from_disk=True), rounds))]
    with transaction(db):
        stores.set_one_reader(db, store.id, True)
    store = stores.by_id(db, store.id)
    rows.append(_speed("`catalogue audit`, one reader (spinning disk), from disk", total,
                       *in_turns(whole, lambda: bare_sha256(paths, from_disk=True), rounds)))
    with transaction(db):
        stores.set_one_reader(db, store.id, False)
    store = stores.by_id(db, store.id)
    rows.append(_speed("`catalogue audit`, two readers, from disk", total,
                       *in_turns(whole, lambda: bare_sha256(paths, from_disk=True), rounds)))
    return rows


def _speed(what: str, size: int, ours: float, bare: float, ratio: float) -> Row:
    target = TARGETS["audit"]
    return Row(what, f"{size / ours / 1e6:,.0f} MB/s", f"{size / bare / 1e6:,.0f} MB/s SHA-256 alone", ratio,
               f"≥ {target}", ratio >= target)


def copying(paths: Sequence[Path], folder: Path, rounds: int) -> Row:
    """A verified copy against what it must do at least: write, flush, and digest the source and the copy."""
    from catalogue.fixity.copying import copy_verified
    from catalogue.progress import ignore_progress, never_cancelled
    from catalogue.storage.medium import drop_cache

    source, target = paths[0], folder / "copy.tif"

    def ours() -> None:
        copy_verified(source, target, sha256=None, report=ignore_progress, cancelled=never_cancelled)
        target.unlink()

    def bare() -> None:
        shutil.copyfile(source, target)
        with target.open("rb") as file:
            os.fsync(file.fileno())
            drop_cache(file.fileno())
        bare_sha256([source, target], from_disk=False)
        target.unlink()

    mine, theirs, ratio = in_turns(ours, bare, rounds)
    size = source.stat().st_size
    return Row("verified copy", f"{size / mine / 1e6:,.0f} MB/s",
               f"{size / theirs / 1e6:,.0f} MB/s copy, flush, digest both", ratio, "", True)


def tiny_files(root: Path, count: int) -> None:
    """Files of the sizes and folders that a walk meets: 40 to a folder, two levels."""
    for number in range(count):
        folder = root / f"Artist {number // 4000:03}" / f"Piece {number // 40:05}"
        if number % 40 == 0:
            folder.mkdir(parents=True)
        (folder / f"scan {number:06}.tif").write_bytes(b"II*\0")


def bare_walk(folder: str) -> int:
    """``os.scandir`` with stat, nothing else."""
    seen = 0
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                seen += bare_walk(entry.path)
            else:
                entry.stat(follow_symlinks=False)
                seen += 1
    return seen


def nobody(_: int) -> Executor:
    raise AssertionError("a run over unchanged files opens none")


def unchanged(db: "Database", home: "Home", folder: Path, count: int, rounds: int) -> Row:
    from catalogue.indexing.crawl import crawl
    from catalogue.indexing.service import index
    from catalogue.indexing.stores import add_store
    from catalogue.records import files
    from catalogue.records.database import transaction

    tiny_files(folder, count)
    store = add_store(db, "many", folder, "primary", consent=True)
    with transaction(db):
        for path, size, mtime_ns in crawl(folder, home.settings.ignore, lambda _: None):
            files.save(db, store.id, path, size, mtime_ns, None, verified=True)

    def ours() -> None:
        (done,) = index(db, home, [store], executors=nobody)
        assert (done.seen, done.unchanged, done.read) == (count, count, 0), done

    mine, theirs, ratio = in_turns(ours, lambda: bare_walk(str(folder)), rounds)
    return Row(f"second index run, {count:,} unchanged files", f"{mine:.2f} s", f"{theirs:.2f} s scandir and stat",
               1 / ratio, f"≤ {TARGETS['index']}", 1 / ratio <= TARGETS["index"])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--megabytes", type=int, default=512)
    parser.add_argument("--files", type=int, default=6)
    parser.add_argument("--unchanged", type=int, default=100_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--place", type=Path, help="a folder on the disk to measure")
    asked = parser.parse_args()
    from catalogue.indexing.stores import add_store
    from catalogue.records.database import open_database
    from catalogue.settings import Home

    rows: list[Row] = []
    with tempfile.TemporaryDirectory(prefix="bench-fixity-", dir=asked.place) as name:
        folder = Path(name)
        home = Home(folder / "home")
        db = open_database(home.database)
        try:
            if asked.files:
                (folder / "main").mkdir()
                paths = big_files(folder / "main", asked.files, asked.megabytes)
                store = add_store(db, "main", folder / "main", "primary", consent=True)
                record_files(db, store, folder / "main", paths)
                rows += audits(db, home, store, folder / "main", paths, asked.rounds)
                rows.append(copying(paths, folder, asked.rounds))
                shutil.rmtree(folder / "main")
            if asked.unchanged:
                (folder / "many").mkdir()
                rows.append(unchanged(db, home, folder / "many", asked.unchanged, asked.rounds))
        finally:
            db.close()
    print("| what | ours | bare | ratio | target |\n|---|---:|---:|---:|---:|")
    for row in rows:
        print(f"| {row.what} | {row.ours} | {row.bare} | {row.ratio:.2f} | {row.target} |")
    return 0 if all(row.met for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
