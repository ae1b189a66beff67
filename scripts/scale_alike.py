"""Likeness against very many scans, for ``bench_scale.py``: the index built, then what one new scan costs.

Features are invented: each is put together of two features of painted pictures (of two RootSIFT vectors the root of
the mean square, which has their length), so that no two scans share one and all look like a picture's. They are brought
in as an update brings them, a batch at a time. Beyond ``built`` scans the parts of the index are copied under other
keys: searching them costs the same, and they take the room they would.
"""

import json
import os
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness import feature_cache, retrieval, shards
from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import Features, extract
from catalogue.records.database import Database, open_database, transaction
from catalogue.settings import Home

CHUNK = 100          # scans invented at once
SEARCHES = 60
NEW = 14             # new scans one after the other; small parts of the index are merged within so many
ARCHIVE = Path(__file__).resolve().parent.parent / "demo_archive"
MEMORY_SHARE = 0.35  # of the machine's; a process that holds more of its own is ended, rather than the machine


@dataclass(frozen=True, slots=True)
class Pool:
    """Features and previews of painted pictures."""

    spots: npt.NDArray[np.float32]
    sift: npt.NDArray[np.uint8]
    thumbs: npt.NDArray[np.uint8]
    previews: list[bytes]


def pool() -> Pool:
    """What the demo archive's masters give."""
    from catalogue.reading.file import read_file

    seen = [reading for path in sorted(ARCHIVE.glob("main-disk/**/*master.tif"))
            if (reading := read_file(path)).preview is not None]
    made = [extract(pixels(r.preview)) for r in seen if r.preview]
    return Pool(np.concatenate([f.spots for f in made]), np.concatenate([f.sift for f in made]),
                np.stack([f.thumb for f in made]), [r.preview for r in seen if r.preview])


def pixels(preview: bytes) -> npt.NDArray[np.uint8]:
    return np.asarray(cv2.imdecode(np.frombuffer(preview, np.uint8), cv2.IMREAD_COLOR_RGB), np.uint8)


def invented(given: Pool, first: int) -> list[Features]:
    """CHUNK scans from the one of that number; always the same ones."""
    dice = np.random.default_rng((7, first))
    shape = (CHUNK, limits.SIFT_KEPT)
    one, two = (given.sift[dice.integers(len(given.sift), size=shape)].astype(np.float32) for _ in range(2))
    sift = np.sqrt((one * one + two * two) / 2).round().astype(np.uint8)
    spots = given.spots[dice.integers(len(given.spots), size=shape)]
    spots[..., :2] = dice.uniform(0, (1023, 767), (*shape, 2))
    thumbs = given.thumbs[dice.integers(len(given.thumbs), size=CHUNK)].astype(np.int16)
    thumbs += dice.integers(-25, 26, (CHUNK, 1, 1, 3)) + dice.integers(-12, 13, thumbs.shape)
    thumbs = np.clip(thumbs, 0, 255).astype(np.uint8)
    return [Features(1024, 768, spots[n], sift[n], thumbs[n]) for n in range(CHUNK)]


def captured_anew(features: Features, dice: np.random.Generator) -> Features:
    """The same original in another light, a little turned."""
    turn, centre = np.radians(0.7), np.array([512, 384])
    spots = features.spots.copy()
    around = spots[:, :2] - centre
    spots[:, :2] = centre + around @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) * 1.02
    spots[:, 3] = (spots[:, 3] + 0.7) % 360
    sift = np.clip(features.sift + dice.normal(0, 12, features.sift.shape), 0, 255).astype(np.uint8)
    return Features(1024, 768, spots, sift, features.thumb)


def build(place: Path, built: int) -> dict[str, float]:
    """The index over every scan of the catalogue."""
    home = Home(place / "home")
    db = open_database(home.database)
    shas = [str(row[0]) for row in db.execute("SELECT sha256 FROM scan ORDER BY id")]
    if len(shas) > built and len(shas) % built:
        raise SystemExit(f"{len(shas)} scans are no multiple of the {built} to be built.")
    folder = feature_cache.index_folder(home)
    shutil.rmtree(folder, ignore_errors=True)
    given = pool()
    with transaction(db):  # as if all had been compared
        db.execute("UPDATE scan SET has_preview = 1")
        db.execute("INSERT OR REPLACE INTO likeness_seen SELECT id, '' FROM scan")
    own, whole = shas[:built], time.perf_counter()
    forget_peak()
    spent = 0.0
    parts: list[shards.ShardData] = []
    for start in range(0, len(own), limits.BATCH):
        entries = list(_entries(given, own, start))
        began = time.perf_counter()
        parts.append(shards.gather_entries(entries))
        if start + limits.BATCH >= len(own) or sum(len(p.keys) for p in parts) + limits.BATCH > limits.SEGMENT_MOST:
            retrieval.Index(folder).join(parts)
            parts = []
        spent += time.perf_counter() - began
    models = retrieval.Index(folder).segments
    for start in range(built, len(shas), built):
        _copied(folder, models, own, shas[start:start + built])
    taken = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())
    kept = len(invented(given, 0)[0].to_bytes())
    return {"scans": len(shas), "parts": len(retrieval.Index(folder).segments), "built, scans": len(own),
            "ms a scan, features at hand": spent / len(own) * 1000, "all of the stage, seconds": time.perf_counter() -
            whole, "index, bytes a scan": taken / len(shas), "features beside it, bytes a scan": kept}


def _entries(given: Pool, shas: list[str], start: int) -> Iterator[shards.Entry]:
    for first in range(start, min(len(shas), start + limits.BATCH), CHUNK):
        for sha, features in zip(shas[first:first + CHUNK], invented(given, first), strict=False):
            yield shards.Entry(sha, int(sha[:16], 16), features)


def _copied(folder: Path, models: list[shards.Shard], own: list[str], shas: list[str]) -> None:
    """The parts again, under the keys of other scans."""
    manifest = folder / retrieval.MANIFEST
    told = json.loads(manifest.read_text(encoding="utf-8"))
    others = dict(zip(own, shas, strict=True))
    made = []
    for number, segment in enumerate(models):
        keys = [others[key.hex()] for key in segment.keys.tolist()]
        name = f"segment-copy-{shas[0][:16]}-{number}"
        shutil.copytree(folder / segment.name, folder / name)
        np.save(folder / name / "keys.npy", np.array([bytes.fromhex(key) for key in keys], "V32"))
        made.append(name)
    told["segments"] += made
    manifest.write_text(json.dumps(told), encoding="utf-8")


def another(place: Path, built: int) -> dict[str, float]:
    """One new scan: the search alone, and all of an update as ``catalogue alike`` and the intake make it."""
    from bench_scale import peak_mib

    home = Home(place / "home")
    db = open_database(home.database)
    folder, given = feature_cache.index_folder(home), pool()
    dice = np.random.default_rng(11)
    chosen = [int(n) for n in dice.integers(min(len(retrieval.Index(folder)), built), size=SEARCHES)]
    asked = [captured_anew(invented(given, n // CHUNK * CHUNK)[n % CHUNK], dice) for n in chosen]
    forget_peak()
    began = time.perf_counter()
    index = retrieval.Index(folder)
    opening = time.perf_counter() - began
    times, spent, answers, own = [], [], [], 0.0
    for features in asked:
        hashes = [int(h) for h in dice.integers(1 << 62, size=8)]
        began, worked = time.perf_counter(), time.process_time()
        answers.append({c.key for c in index.candidates(features, hashes, limits.CANDIDATES)})
        times.append(time.perf_counter() - began)
        spent.append(time.process_time() - worked)
        own = max(own, anonymous_mib())
    scans, held = len(index), peak_mib()
    found = sum(bool(keys & _twins(db, n + 1, scans, built)) for n, keys in zip(chosen, answers, strict=True))
    del index
    forget_peak()
    photos = _photos(db, home, given)
    updates, most = _updates(db, home, given)
    return {"scans": scans, "opening ms": opening * 1000, "search ms, median": median(times) * 1000,
            "search ms, p95": quantiles(times, n=20)[18] * 1000, "search, processor ms, median": median(spent) * 1000,
            "true one found": found / SEARCHES, "search, peak MiB, mapped files too": held,
            "search, MiB of its own": own, "photo s, median": median(photos), "photo s, slowest": max(photos),
            "update s, median": median(updates), "update s, slowest": max(updates), "updates": len(updates),
            "update, MiB of its own, most": most}


def _twins(db: Database, first: int, scans: int, built: int) -> set[str]:
    """The scan of that id, and those whose parts of the index are copies of its."""
    return {str(row[0]) for number in range(first, scans + 1, built)
            for row in db.execute("SELECT sha256 FROM scan WHERE id = ?", [number])}


def forget_peak() -> None:
    """Count the peak of memory anew, where the system can."""
    switch = Path("/proc/self/clear_refs")
    if switch.exists():
        switch.write_text("5")


def anonymous_mib() -> float:
    """Memory of the process now, without what is mapped from files; 0 where the system does not tell."""
    status = Path("/proc/self/status")
    rows = status.read_text().splitlines() if status.exists() else []
    return sum(int(row.split()[1]) for row in rows if row.startswith("RssAnon")) / 1024


@contextmanager
def held_memory() -> Iterator[list[float]]:
    """The most MiB of its own that the process held meanwhile, looked at every few milliseconds, in a list of one."""
    most, over = [anonymous_mib()], threading.Event()
    ceiling = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") * MEMORY_SHARE / 2**20

    def look() -> None:
        while not over.wait(0.005):
            most[0] = max(most[0], anonymous_mib())
            if most[0] > ceiling:
                print(f"ended: {most[0]:,.0f} MiB of memory of its own", file=sys.stderr)
                os._exit(3)

    looking = threading.Thread(target=look, daemon=True)
    looking.start()
    yield most
    over.set()
    looking.join()


def _updates(db: Database, home: Home, given: Pool) -> tuple[list[float], float]:
    """Seconds of updates with one new scan each, and the memory of their own in MiB; those a scan is compared with
    have their features and previews."""
    from catalogue.likeness.updating import update

    spent, held = [], 0.0
    others = invented(given, 0)
    for number in range(NEW):
        preview = given.previews[number % len(given.previews)]
        _new_scan(db, home, preview, number)
        seen = extract(pixels(preview))
        for n, near in enumerate(retrieval.Index(feature_cache.index_folder(home)).candidates(seen, [0],
                                                                                              limits.CANDIDATES)):
            _put(feature_cache.features_path(home, near.key), others[n].to_bytes())
            _put(home.preview(near.key), given.previews[n % len(given.previews)])
        with held_memory() as most:
            began = time.perf_counter()
            done = update(db, home)
            spent.append(time.perf_counter() - began)
        assert done.compared >= 1, done
        held = max(held, most[0])
    return spent, held


def _photos(db: Database, home: Home, given: Pool) -> list[float]:
    """Seconds to find the piece in a phone photo, the reading of the file included; the first candidate is made to be
    the one it shows."""
    from likeness_captures import phone_photo

    from catalogue.likeness.finding import find_picture

    spent, others = [], invented(given, 0)
    with TemporaryDirectory() as folder:
        for number in range(NEW):
            preview = given.previews[number % len(given.previews)]
            made = phone_photo(pixels(preview), np.random.default_rng(number))
            path = Path(folder) / f"{number}.jpg"
            cv2.imwrite(str(path), made.picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
            seen = extract(made.picture, limits.SIFT_PHOTO)
            index = retrieval.Index(feature_cache.index_folder(home))
            for n, near in enumerate(index.candidates(seen, [0], limits.CANDIDATES)):
                features = others[n] if n else extract(pixels(preview))
                _put(feature_cache.features_path(home, near.key), features.to_bytes())
                _put(home.preview(near.key), preview)
            began = time.perf_counter()
            find_picture(db, home, path)
            spent.append(time.perf_counter() - began)
    return spent


def _new_scan(db: Database, home: Home, preview: bytes, number: int) -> None:
    from hashlib import sha256

    from catalogue.indexing.previews import keep_preview
    from catalogue.indexing.recording import record
    from catalogue.reading.model import Reading
    from catalogue.reading.preview import hashes
    from catalogue.records import stores

    digest = sha256(f"new scan {number} {time.time()}".encode()).hexdigest()
    reading: Any = Reading(f"new/{digest}.tif", 1, 1, digest, digest[:32], "TIFF", preview=preview,
                           hashes=hashes(pixels(preview)))
    keep_preview(home, reading)
    with transaction(db):
        record(db, home, stores.listed(db)[0], reading.path, reading)


def _put(path: Path, data: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
