#!/usr/bin/env python3
"""Measure an archive of very many files on two stores: crawl, search, audit planning, likeness, memory, size.

    python scripts/bench_scale.py [--files 100000] [--keep FOLDER] [--json]

The files are real and tiny; what the catalogue holds of each is what it would hold of a true master (hashes, metadata,
digests of 32 stretches), recorded through the indexing room. Every figure is measured in a process of its own, so that
its peak memory is its own. Ratios are between figures of one run on one machine, with warm caches.
"""

import argparse
import hashlib
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from statistics import quantiles
from typing import Any

sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parent.parent)]

SHARES = (("main", 0.7, "primary"), ("second", 0.3, "copy"))
STRETCHES = 32
QUERIES = 400
RECORD_BATCH = 2000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--files", type=int, default=100_000)
    parser.add_argument("--keep", type=Path, help="build the archive here, or use the one that is here")
    parser.add_argument("--only", help=f"some of: {', '.join(STAGES)}")
    parser.add_argument("--built", type=int, default=100_000,
                        help="scans with features of their own in the index of likenesses; beyond, copies of these")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--stage", help=argparse.SUPPRESS)
    parser.add_argument("--place", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.stage:
        print(json.dumps({**STAGES[asked.stage](asked.place, asked.built if asked.stage in BUILT else asked.files),
                          "peak MiB": peak_mib()}))
        return
    with tempfile.TemporaryDirectory() as name:
        folder = (asked.keep or Path(name)).absolute()
        folder.mkdir(parents=True, exist_ok=True)
        figures = measure(folder, asked.files, asked.built, asked.only.split(",") if asked.only else None)
    print(json.dumps(figures, indent=1) if asked.json else "\n".join(table(figures)))


def peak_mib() -> float:
    """The most memory this process has held. What the system counts for a process (rusage) may be that of the one it
    was started from; Linux keeps its own count beside it."""
    status = Path("/proc/self/status")
    if status.exists():
        told = next(row for row in status.read_text().splitlines() if row.startswith("VmHWM"))
        return int(told.split()[1]) / 1024
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return held / 2**20 if sys.platform == "darwin" else held / 1024


def measure(folder: Path, count: int, built: int, only: list[str] | None = None) -> dict[str, dict[str, float]]:
    """Every stage in a process of its own: ``{stage: {figure: value}}``."""
    figures: dict[str, dict[str, float]] = {}
    for stage in STAGES:
        if (only and stage not in only) or (stage in ("paint", "record") and (folder / f"{stage}.done").exists()):
            continue
        began = time.perf_counter()
        done = subprocess.run([sys.executable, __file__, "--stage", stage, "--place", folder, "--files", str(count),
                               "--built", str(built)],
                              check=False, stdout=subprocess.PIPE, text=True)
        if done.returncode:
            print(f"{stage}: ended with {done.returncode}, no figures", file=sys.stderr, flush=True)
            continue
        figures[stage] = json.loads(done.stdout.splitlines()[-1])
        print(f"{stage}: {time.perf_counter() - began:.1f} s", file=sys.stderr, flush=True)
        if stage in ("paint", "record"):
            (folder / f"{stage}.done").touch()
    return figures


def table(figures: dict[str, dict[str, float]]) -> Iterator[str]:
    """The figures as lines."""
    for stage, values in figures.items():
        for name, value in values.items():
            yield f"{stage:<10} {name:<44} {value:12,.2f}"


def paint(folder: Path, count: int) -> dict[str, float]:
    """Real tiny TIFFs, all different."""
    from painting.bulk import write_tiny

    began = time.perf_counter()
    for number, (name, share, _) in enumerate(SHARES):
        write_tiny(folder / name, round(count * share), number + 1, lambda _: None)
    return {"files": count, "seconds": time.perf_counter() - began}


def record(folder: Path, count: int) -> dict[str, float]:
    """Record every file as if read: sizes and times of the true file, content invented."""
    from catalogue.indexing.crawl import crawl
    from catalogue.indexing.recording import record as record_reading
    from catalogue.indexing.stores import add_store
    from catalogue.records import runs
    from catalogue.records.database import open_database, transaction
    from catalogue.settings import Home

    home = Home(folder / "home")
    db = open_database(home.database)
    began, done = time.perf_counter(), 0
    for name, _, kind in SHARES:
        root = folder / name / "main-disk"
        store = add_store(db, name, root, kind, consent=True)
        with transaction(db):
            run_id = runs.start(db, "index", store.id)
        for batch in batches(crawl(root, home.settings.ignore, lambda _: None), RECORD_BATCH):
            with transaction(db):
                for path, size, mtime_ns in batch:
                    record_reading(db, home, store, path, invented(path, size, mtime_ns, name))
            done += len(batch)
        with transaction(db):
            runs.end(db, run_id, "finished", {"read": done})
    db.execute("PRAGMA optimize")
    db.close()
    return {"seconds": time.perf_counter() - began, "scans": done, "microseconds a scan":
            (time.perf_counter() - began) / max(done, 1) * 1e6, "expected": count}


def batches(rows: Iterator[Any], size: int) -> Iterator[list[Any]]:
    batch: list[Any] = []
    for row in rows:
        batch.append(row)
        if len(batch) == size:
            yield batch
            batch = []
    yield batch


def invented(path: str, size: int, mtime_ns: int, store: str) -> Any:
    """A reading like that of a 400 MB master, under the file's true size and time."""
    from catalogue.reading.model import Metadata, Picture, PictureHash, Reading, SegmentDigest, Stated

    digest = hashlib.sha256(f"{store}/{path}".encode()).hexdigest()
    folded = int(digest[:16], 16)
    picture = Picture(9921, 7016, 16, "uint", 3, "RGB", "none", "strips", ppi_x=600, ppi_y=600,
                      profile_name="eciRGB v2", profile_digest=digest)
    stated = tuple(Stated(name, value, "TIFF") for name, value in (("make", "Flatbed"), ("model", "A3"),
                                                                   ("captured", "2021-04-03T11:12:13")))
    metadata = Metadata(make="Flatbed", model="A3", captured="2021-04-03T11:12:13", software="scan 3.1", stated=stated)
    hashes = tuple(PictureHash("phash", o, f"{(folded * (2 * o + 1)) % (1 << 64):016x}", "imagehash 4.3.2")
                   for o in range(1, 9))
    chance = random.Random(folded)
    segments = tuple(SegmentDigest(n * 13_000_000, 13_000_000, f"{chance.getrandbits(64):016x}", 0, n * 219, 9921, 219)
                     for n in range(STRETCHES))
    return Reading(path, size, mtime_ns, digest, digest[:32], "TIFF", picture, metadata, hashes=hashes,
                   segments=segments)


def walked(folder: Path) -> tuple[float, int]:
    """The least any crawler can do: list every folder, ask size and time of every file. Seconds and files."""
    began, count = time.perf_counter(), 0
    for name, _, _ in SHARES:
        stack = [str(folder / name / "main-disk")]
        while stack:
            with os.scandir(stack.pop()) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        stack.append(entry.path)
                    else:
                        count += bool(entry.stat(follow_symlinks=False).st_size)
    return time.perf_counter() - began, count


def again(folder: Path, _: int) -> dict[str, float]:
    """A second index run: nothing has changed, nothing may be opened; beside a bare walk, the best of three each."""
    from catalogue.indexing.service import index
    from catalogue.records import stores
    from catalogue.records.database import open_database
    from catalogue.settings import Home

    home = Home(folder / "home")
    db = open_database(home.database)
    bare, runs = [], []
    for _ in range(3):  # by turns, so that what else the machine does falls on both
        bare.append(walked(folder))
        began = time.perf_counter()
        summaries = index(db, home, stores.listed(db), workers=1)
        runs.append(time.perf_counter() - began)
        assert sum(s.read for s in summaries) == 0, summaries
    least = min(seconds for seconds, _ in bare)
    return {"files": sum(s.unchanged for s in summaries), "seconds": min(runs), "bare scandir and stat, seconds": least,
            "ratio": min(runs) / least}


def search(folder: Path, _: int) -> dict[str, float]:
    """Queries as typed: whole words, words begun, two words, slips; one vocabulary kept as a screen keeps it."""
    from catalogue.records import browsing
    from catalogue.records.database import read_only_database
    from catalogue.records.query_terms import words_of
    from catalogue.records.search import load_vocabulary
    from catalogue.records.search import search as find
    from catalogue.settings import Home

    db = read_only_database(Home(folder / "home").database)
    began = time.perf_counter()
    vocabulary = load_vocabulary(db)
    loading = time.perf_counter() - began
    words = sorted({w for row in browsing.pieces(db, None, None, 5000)
                    for w in words_of(f"{row.artist} {row.title}") if len(w) > 3})
    chance = random.Random(7)
    times: dict[str, list[float]] = {}
    for _ in range(QUERIES):
        word, other = chance.choice(words), chance.choice(words)
        at = chance.randrange(1, len(word) - 1)
        slip = word[:at] + word[at + 1] + word[at] + word[at + 2:]
        for kind, query in (("word", word), ("one letter", word[0]), ("three letters", word[:3]),
                            ("two words", f"{word} {other}"), ("a slip", slip)):
            began = time.perf_counter()
            find(db, query, 20, vocabulary)
            times.setdefault(kind, []).append((time.perf_counter() - began) * 1000)
    every = [t for kind in times.values() for t in kind]
    kinds = {f"p95 ms, {kind}": quantiles(values, n=20)[18] for kind, values in times.items()}
    return {"vocabulary ms": loading * 1000, "p95 ms": quantiles(every, n=20)[18], **kinds, "worst ms": max(every)}


def plan(folder: Path, _: int) -> dict[str, float]:
    """What an audit does before it reads its first file: which are due, oldest check first."""
    from catalogue.records import fixity, stores
    from catalogue.records.database import open_database
    from catalogue.settings import Home

    db = open_database(Home(folder / "home").database)
    began, due = time.perf_counter(), 0
    for store in stores.listed(db):
        ids, _ = fixity.due(db, store.id, 1 << 30)
        due += len(ids)
    return {"seconds": time.perf_counter() - began, "due": due}


def size(folder: Path, _: int) -> dict[str, float]:
    """The catalogue's own size, log included; previews lie beside it and are not counted."""
    from catalogue.records import pieces
    from catalogue.records.database import read_only_database
    from catalogue.settings import Home

    home = Home(folder / "home")
    scans = pieces.counts(read_only_database(home.database))["scan"]
    taken = sum(p.stat().st_size for p in home.folder.glob("catalogue.sqlite*"))
    return {"MB": taken / 1e6, "bytes a scan": taken / scans}


def sample(folder: Path, count: int) -> dict[str, float]:
    """How fast one process reads new files for the first time: a thousand of them."""
    from catalogue.indexing.crawl import crawl
    from catalogue.reading.file import read_file

    root = folder / SHARES[0][0] / "main-disk"
    every = islice(crawl(root, (), lambda _: None), 0, None, max(1, count // 1000))
    paths = [root / path for path, _, _ in islice(every, 1000)]
    read_file(paths[0])
    began = time.perf_counter()
    for path in paths:
        assert read_file(path).sha256
    return {"files a second, one process": len(paths) / (time.perf_counter() - began)}


def alike(folder: Path, built: int) -> dict[str, float]:
    """The index of likenesses built over all scans."""
    from scale_alike import build

    return build(folder, built)


def another(folder: Path, built: int) -> dict[str, float]:
    """One new scan compared with all; the last stage, for it adds scans."""
    from scale_alike import another as compared

    return compared(folder, built)


STAGES: dict[str, Callable[[Path, int], dict[str, float]]] = {
    "paint": paint, "record": record, "again": again, "search": search, "plan": plan, "size": size,
    "sample": sample, "alike": alike, "new scan": another,
}
BUILT = ("alike", "new scan")  # stages that are told --built

if __name__ == "__main__":
    main()
