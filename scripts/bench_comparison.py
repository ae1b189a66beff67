"""What a first comparison costs: an archive with five scans of every piece among N others, in processor time.

    python -m scripts.bench_comparison PACKAGES PLACE [--pieces 24] [--scans 500 5000 20000] [--photos 8]

PACKAGES and PLACE are those of ``bench_likeness.py``, whose tuning pictures are captured here as TIFF files of about
two megapixels: a master, a scan made anew, two tiles captured 1.7 times as finely, a detail. They are indexed, compared
with each other and with so many others that the archive has the number of scans asked for, and the pieces sought by
phone photos. The others have invented features (``scale_alike.py``) and the captures' previews mirrored, in other
colours, so that they are fitted and aligned as an archive's own are where they come up.
"""

import argparse
import hashlib
import shutil
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile

from catalogue.likeness import feature_cache, retrieval, shards
from catalogue.likeness.features import extract, load_preview
from catalogue.likeness.finding import find_picture
from catalogue.likeness.updating import Updated, update
from catalogue.operations.indexing import index_stores
from catalogue.operations.stores import add_store
from catalogue.reading.file import read_file
from catalogue.reading.model import Reading
from catalogue.records import likenesses, scans
from catalogue.records.database import Database, open_database, transaction
from catalogue.settings import Home
from scripts import likeness_captures as captures
from scripts.likeness_pictures import Base, collect
from scripts.scale_alike import CHUNK, Pool, invented

SIDE = 1600
BATCH = 2000  # others added at once
FINER = 1.7  # tiles against their master


def capture(base: Base, folder: Path) -> None:
    """The five scans of one piece, and a phone photo beside them that no store holds."""
    rng = np.random.default_rng(int(hashlib.sha256(base.name.encode()).hexdigest()[:8], 16))
    art = base.load()
    art = captures.shrink(art, SIDE / max(art.shape[:2])).picture
    seed, fine = int(rng.integers(1 << 30)), captures.shrink(art, FINER).picture
    master = captures.scan(art, seed, rng, turn=rng.normal(0, 0.3), strength=0.5)
    x, y = rng.uniform(0, 0.3, 2)
    made = {"master": master, "again": captures.rescan(art, seed, rng),
            "tile 1": captures.tile(fine, seed, rng, (x, y, 0.55, 0.55)),
            "tile 2": captures.tile(fine, seed, rng, (min(0.45, x + 0.35), y, 0.55, 0.55)),
            "detail": captures.detail(master.picture, rng)}
    for kind, one in made.items():
        (folder / "scans" / base.name).mkdir(parents=True, exist_ok=True)
        tifffile.imwrite(folder / "scans" / base.name / f"{kind}.tif", one.picture, photometric="rgb",
                         resolution=(300, 300), resolutionunit=2)
    photo = captures.phone_photo(art, rng).picture
    cv2.imwrite(str(folder / f"{base.name}.jpg"), photo[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 85])


def add_others(db: Database, home: Home, index: retrieval.Index, previews: list[Path], pool: Pool, first: int,
               most: int) -> int:
    """The next invented scans, indexed and taken as compared, up to the number ``most``; how many there are then."""
    entries = []
    with transaction(db):
        wanted = min(BATCH, most - first)
        features = [f for at in range(first, first + wanted, CHUNK) for f in invented(pool, at)][:wanted]
        for n, own in enumerate(features, first):
            sha = hashlib.sha256(f"other {n}".encode()).hexdigest()
            entries.append(shards.Entry(sha, int(sha[:16], 16), own))
            number = scans.save_reading(db, Reading(f"{n}.tif", 1, 1, sha, sha[:32], "TIFF"))
            db.execute("UPDATE scan SET has_preview = 1 WHERE id = ?", [number])
            db.execute("INSERT INTO likeness_seen VALUES (?, '')", [number])
            for path in (feature_cache.features_path(home, sha), home.preview(sha)):
                path.parent.mkdir(parents=True, exist_ok=True)
            feature_cache.features_path(home, sha).write_bytes(own.to_bytes())
            home.preview(sha).hardlink_to(previews[n % len(previews)])
    index.join([shards.gather_entries(entries)])
    return first + len(entries)


def strange_preview(path: Path, into: Path) -> Path:
    """The preview as that of another picture: mirrored, its channels exchanged."""
    cv2.imwrite(str(into), np.ascontiguousarray(load_preview(path)[:, ::-1, [1, 2, 0]]), [cv2.IMWRITE_WEBP_QUALITY, 88])
    return into


def spent(work: Callable[[], Any]) -> float:
    """Processor time of the work, seconds, all threads."""
    began = time.process_time()
    work()
    return time.process_time() - began


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("packages", type=Path)
    options.add_argument("place", type=Path)
    options.add_argument("--pieces", type=int, default=24)
    options.add_argument("--scans", type=int, nargs="+", default=[500, 5000, 20_000])
    options.add_argument("--photos", type=int, default=8)
    given = options.parse_args()
    cv2.setNumThreads(1)
    folder = given.place / "five"
    bases = [b for b in collect(given.packages, given.place / "bases") if b.half == "tune"]
    chosen = sorted(bases, key=lambda b: hashlib.sha256(b.name.encode()).digest())[:given.pieces]
    for base in chosen:
        if not (folder / f"{base.name}.jpg").exists():
            capture(base, folder)
    home = Home(folder / "home")
    shutil.rmtree(folder / "home", ignore_errors=True)
    measure(home, folder, sorted(given.scans), [folder / f"{b.name}.jpg" for b in chosen[:given.photos]])


def measure(home: Home, folder: Path, counts: list[int], photos: list[Path]) -> None:
    """All figures, one line each."""
    db = open_database(home.database)
    add_store(db, home, "disk", folder / "scans", "primary", consent=False)
    files = sorted((folder / "scans").glob("*/*.tif"))
    bare = spent(lambda: [(hashlib.sha256(p.read_bytes()).digest(), tifffile.imread(p)) for p in files])
    read = spent(lambda: [read_file(p) for p in files])
    whole = spent(lambda: index_stores(db, home, workers=1, executors=ThreadPoolExecutor))
    print(f"index: {whole / len(files):.3f} s a scan, of which reading {read / len(files):.3f} s; SHA-256 and decoding "
          f"alone {bare / len(files):.3f} s", flush=True)
    previews = sorted(home.previews.rglob("*.webp"))
    made = [extract(load_preview(path)) for path in previews]
    pool = Pool(np.concatenate([f.spots for f in made]), np.concatenate([f.sift for f in made]),
                np.stack([f.thumb for f in made]), [])
    strange = [strange_preview(path, folder / "home" / f"strange-{n}.webp") for n, path in enumerate(previews)]
    others = 0
    for count in counts:
        index = retrieval.Index(feature_cache.index_folder(home))
        while others < count - len(files):
            others = add_others(db, home, index, strange, pool, others, count - len(files))
        began = time.process_time()
        done = compare_again(db, home)
        seconds = time.process_time() - began
        photo_seconds = [spent(lambda path=path: find_picture(db, home, path)) for path in photos]
        size = [p.stat().st_size for p in home.features.rglob("*") if p.is_file()]
        print(f"{count} scans: {done.compared} compared, {done.pairs} pairs, {seconds / done.compared:.3f} s a scan; a "
              f"phone photo {np.median(photo_seconds):.2f} s, slowest {max(photo_seconds):.2f} s; features and index "
              f"{sum(size) / count / 1000:.1f} kB a scan", flush=True)


def compare_again(db: Database, home: Home) -> Updated:
    """A first comparison of the captures: their features and all that was found go, the others stay."""
    with transaction(db):
        own = [(number, str(sha)) for number, sha in db.execute("SELECT id, sha256 FROM scan WHERE width > 1")]
        likenesses.forget_compared(db)
        db.execute("INSERT INTO likeness_seen SELECT id, '' FROM scan WHERE width IS NULL")
    for _, sha in own:
        feature_cache.features_path(home, sha).unlink(missing_ok=True)
    return update(db, home)


if __name__ == "__main__":
    main()
