"""What it costs to compare new scans, five of every piece, in an archive of N others: processor time a scan.

    python -m scripts.bench_added PACKAGES PLACE [--pieces 10] [--scans 0 10000 20000]

The others are the first parts of the index that ``bench_photo.py`` has built in PLACE, with its features and previews
(run that first, with the same ``--pictures``). The new scans are captures as ``bench_comparison.py`` makes them, of
tuning pictures that the archive has nothing of. Counted is all that ``catalogue alike`` does for them: features, their
part of the index, search, fits. Not counted: merging large parts, 5 ms a scan, since so few scans bring that about but
once in a while. If N scans came one after another, the last of them would cost what is measured at N.
"""

import argparse
import json
import os
import shutil
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import cv2

from catalogue.likeness import feature_cache, retrieval
from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import VERSION
from catalogue.likeness.updating import update
from catalogue.operations.indexing import index_stores
from catalogue.operations.stores import add_store
from catalogue.records.database import open_database, transaction
from catalogue.settings import Home
from scripts.bench_comparison import capture, spent
from scripts.bench_photo import chosen, record
from scripts.likeness_pictures import collect


def slice_of(built: Home, home: Home, parts: int) -> None:
    """The first parts of the index in a home of their own, their scans taken as compared."""
    shutil.rmtree(home.folder, ignore_errors=True)
    own = feature_cache.index_folder(home)
    own.mkdir(parents=True)
    segments = retrieval.Index(feature_cache.index_folder(built)).segments[:parts]
    for segment in segments:
        shutil.copytree(feature_cache.index_folder(built) / segment.name, own / segment.name, copy_function=os.link)
    (own / retrieval.MANIFEST).write_text(json.dumps({"version": VERSION, "segments": [s.name for s in segments]}))
    for part, segment in enumerate(segments):
        keys = [bytes(key).hex() for key in segment.keys]
        record(home, part, keys, built, keys)
    with closing(open_database(home.database)) as db, transaction(db):
        db.execute("INSERT INTO likeness_seen SELECT id, '' FROM scan")


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("packages", type=Path)
    options.add_argument("place", type=Path)
    options.add_argument("--pieces", type=int, default=10)
    options.add_argument("--pictures", type=int, default=184, help="as given to bench_photo.py")
    options.add_argument("--scans", type=int, nargs="+", default=[0, 10_000, 20_000])
    given = options.parse_args()
    cv2.setNumThreads(1)
    bases = collect(given.packages, given.place / "bases")
    shown, others = chosen(bases, given.pictures)
    folder: Path = given.place / "added"
    for base in [b for b in bases if b.half == "tune" and b not in shown and b not in others][: given.pieces]:
        if not (folder / f"{base.name}.jpg").exists():
            capture(base, folder)
    built = Home(given.place / f"photo-home-{VERSION}-{limits.SEGMENT_MOST}")
    home = Home(given.place / "added-home")
    for count in given.scans:
        slice_of(built, home, count // limits.SEGMENT_MOST)
        db = open_database(home.database)
        add_store(db, home, "disk", folder / "scans", "primary", consent=False)
        index_stores(db, home, workers=1, executors=ThreadPoolExecutor)
        done = []
        seconds = spent(lambda db=db, done=done: done.append(update(db, home)))
        print(f"among {count} scans: {done[0].compared} compared, {done[0].pairs} pairs, "
              f"{seconds / done[0].compared:.3f} s a scan", flush=True)
        db.close()


if __name__ == "__main__":
    main()
