"""A phone photo sought by the command line among very many scans: from start to answer, processor and wall time.

    python -m scripts.bench_photo PACKAGES PLACE [--scans 100000] [--part 10000] [--pictures 184]

PACKAGES and PLACE are those of ``bench_likeness.py``. Of every open picture four scans have true features (the whole
and three cut-outs). The first part of the index, 10,000 scans, holds these, the masters that the photos show, and scans
whose features are each put together of two true ones (``scale_alike.py``). Every further part is a copy of it without
any scan or feature a second time: bits of each descriptor are turned over, and descriptors dealt out to other scans.
The scans are in the catalogue, their features and previews beside it, those of the copies being links to true ones. A
run that is cut off carries on.

The command runs as it does when installed, from compiled modules. ``--cold`` measures it as well after the system was
asked to forget the index and the database; libraries, features and previews stay in memory.
"""

import argparse
import hashlib
import json
import os
import resource
import shutil
import subprocess
import sys
import time
from pathlib import Path
from statistics import median

import cv2
import faiss
import numpy as np
import numpy.typing as npt

from catalogue.indexing.previews import keep_preview
from catalogue.likeness import feature_cache, retrieval, shards
from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import VERSION, Features, extract, load_preview
from catalogue.reading.file import read_file
from catalogue.reading.model import Reading
from catalogue.reading.preview import encode
from catalogue.records import scans
from catalogue.records.database import open_database, transaction
from catalogue.settings import Home
from scripts import likeness_captures as captures
from scripts.bench_comparison import capture
from scripts.bench_likeness import cached
from scripts.likeness_pictures import Base, collect
from scripts.scale_alike import CHUNK, Pool, invented

PICTURES_AT_ONCE = 23
PIECES = 8


def chosen(bases: list[Base], pictures: int) -> tuple[list[Base], list[Base]]:
    """Those that the photos show, and so many others whose features go into the archive."""
    shown = sorted((b for b in bases if b.half == "tune"),
                   key=lambda b: hashlib.sha256(b.name.encode()).digest())[:PIECES]
    return shown, [b for b in bases if b not in shown][:pictures]


def cut_outs(bases: list[Base]) -> list[tuple[bytes, Features]]:
    """Previews and features of each picture and three cut-outs of it, in another light."""
    made = []
    for base in bases:
        art = base.load()
        rng = np.random.default_rng(int(hashlib.sha256(base.name.encode()).hexdigest()[:8], 16))
        height, width = art.shape[:2]
        for share in (1.0, *rng.uniform(0.4, 0.8, 3)):
            w, h = int(width * share), int(height * share)
            x, y = int(rng.integers(width - w + 1)), int(rng.integers(height - h + 1))
            small = captures.shrink(art[y : y + h, x : x + w], 1024 / max(w, h)).picture
            picture = captures.toned(small, rng) if share < 1 else small
            made.append((encode(picture), extract(picture)))
    return made


def digests(part: int, count: int) -> list[str]:
    """SHA-256 of the scans of one part."""
    return [hashlib.sha256(f"scan {part} {n}".encode()).hexdigest() for n in range(count)]


def first_part(home: Home, masters: list[Path], true: list[tuple[bytes, Features]], count: int) -> None:
    """The part of the index that is built, with what lies beside it."""
    held = []
    db = open_database(home.database)
    for path in masters:
        reading = read_file(path)
        keep_preview(home, reading)
        with transaction(db):
            scans.save_reading(db, reading)
        features = extract(load_preview(home.preview(reading.sha256)))
        held.append(shards.Entry(reading.sha256, int(reading.hashes[0].value, 16), features))
    db.close()
    keys = digests(0, count - len(masters))
    for key, (preview, own) in zip(keys, true, strict=False):
        held.append(shards.Entry(key, int(key[:16], 16), own))
        home.preview(key).parent.mkdir(parents=True, exist_ok=True)
        home.preview(key).write_bytes(preview)
    for entry in held:
        path = feature_cache.features_path(home, entry.key)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(entry.features.to_bytes())
    pool = Pool(np.concatenate([f.spots for _, f in true]), np.concatenate([f.sift for _, f in true]),
                np.stack([f.thumb for _, f in true]), [])
    parts = [shards.gather_entries(held)]
    for at in range(len(true), len(keys), CHUNK):
        entries = [shards.Entry(key, int(key[:16], 16), own)
                   for key, own in zip(keys[at:], invented(pool, at), strict=False)]
        parts.append(shards.gather_entries(entries))
    retrieval.Index(feature_cache.index_folder(home)).join(parts)


def perturbed(folder: Path, model: shards.Shard, part: int) -> None:
    """The part of the index again, as other scans with other features."""
    rng = np.random.default_rng((11, part))
    name = f"segment-perturbed-{part}"
    shutil.rmtree(folder / name, ignore_errors=True)
    shutil.copytree(folder / model.name, folder / name)
    np.save(folder / name / "keys.npy", np.array([bytes.fromhex(key) for key in digests(part, len(model.keys))], "V32"))
    np.save(folder / name / "phashes.npy", rng.permutation(model.phashes) ^ np.uint64(rng.integers(1 << 62)))
    thumbs = np.clip(model.thumbs + rng.integers(-15, 16, model.thumbs.shape), 0, 255)
    np.save(folder / name / "thumbs.npy", thumbs.astype(np.uint8))
    rows = rng.permutation(int(model.starts[-1]))
    lists = faiss.read_index_binary(str(folder / model.name / "lists.faiss"))
    for number in range(lists.nlist):
        if size := lists.invlists.list_size(number):
            codes = faiss.rev_swig_ptr(lists.invlists.get_codes(number), size * 32)
            noise = rng.integers(0, 256, (4, len(codes)), np.uint8)
            codes ^= noise[0] & noise[1] & noise[2] & noise[3]  # every sixteenth bit
            ids = faiss.rev_swig_ptr(lists.invlists.get_ids(number), size)
            ids[:] = rows[ids]
    faiss.write_index_binary(lists, str(folder / name / "lists.faiss"))
    manifest = folder / retrieval.MANIFEST
    told = json.loads(manifest.read_text(encoding="utf-8"))
    told["segments"].append(name)
    manifest.write_text(json.dumps(told), encoding="utf-8")


def record(home: Home, part: int, keys: list[str], built: Home, true: list[str]) -> None:
    """The scans of one part in the catalogue; what lies beside it are links to what ``true`` ones have in ``built``,
    in turn."""
    db = open_database(home.database)
    with transaction(db):
        for n, key in enumerate(keys):
            scans.save_reading(db, Reading(f"{part}/{n}.tif", 1, 1, key, key[:32], "TIFF", preview=b" "))
    db.close()
    for n, key in enumerate(keys):
        like = true[n % len(true)]
        for path, model in ((feature_cache.features_path(home, key), feature_cache.features_path(built, like)),
                            (home.preview(key), built.preview(like))):
            if not path.exists():
                path.parent.mkdir(parents=True, exist_ok=True)
                path.hardlink_to(model)


def command_cost(home: Home, photo: Path) -> tuple[float, float, str]:
    """Processor time and wall time of the command, seconds, and its answer."""
    compiled = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    compiled["PYTHONPYCACHEPREFIX"] = str(home.folder / "compiled")
    before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "catalogue", "--catalogue", str(home.folder), "find", "--json",
                           "--picture", str(photo)], check=False, capture_output=True, text=True, env=compiled)
    wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode > 1:
        raise SystemExit(done.stderr)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return spent, wall, done.stdout


def forget(home: Home) -> None:
    """Have the system drop the index and the database from memory, as after its start."""
    for path in [home.database, *feature_cache.index_folder(home).rglob("*")]:
        if path.is_file():
            with path.open("rb") as file:
                os.fsync(file.fileno())
                os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def main() -> None:
    """Build what is missing, measure and print."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("packages", type=Path)
    options.add_argument("place", type=Path)
    options.add_argument("--scans", type=int, default=100_000)
    options.add_argument("--part", type=int, default=limits.SEGMENT_MOST, help="scans in a part of the index")
    options.add_argument("--pictures", type=int, default=184)
    options.add_argument("--cold", action="store_true", help="also with the index not in memory")
    given = options.parse_args()
    cv2.setNumThreads(1)
    folder: Path = given.place / "five"
    bases = collect(given.packages, given.place / "bases")
    shown, others = chosen(bases, given.pictures)
    for base in shown:
        if not (folder / f"{base.name}.jpg").exists():
            capture(base, folder)
    true = [one for at in range(0, len(others), PICTURES_AT_ONCE) for one in cached(
        given.place, f"cut-outs-{VERSION}-{at}", lambda at=at: cut_outs(others[at : at + PICTURES_AT_ONCE]))]
    home = Home(given.place / f"photo-home-{VERSION}-{given.part}")
    index = feature_cache.index_folder(home)
    masters = [folder / "scans" / b.name / "master.tif" for b in shown]
    if not len(retrieval.Index(index)):
        first_part(home, masters, true, given.part)
    for part in range(given.scans // given.part):
        mark = home.folder / f"part-{part}.done"
        if mark.exists():
            continue
        if part:
            perturbed(index, retrieval.Index(index).segments[0], part)
        keys = digests(part, given.part - (0 if part else len(masters)))
        record(home, part, keys, home, digests(0, given.part)[: len(true)])
        mark.touch()
        print(f"part {part}: {time.process_time():.0f} s of processor time so far", flush=True)
    print(f"{len(retrieval.Index(index))} scans, {len(true)} of them with true features of their own, "
          f"{os.cpu_count()} processors")
    costs = [command_cost(home, folder / f"{b.name}.jpg") for b in shown for _ in range(2)]
    digest_of = [hashlib.sha256(path.read_bytes()).hexdigest() for path in masters]
    first = [(json.loads(answer) or [{}])[0].get("sha256") for _, _, answer in costs[1::2]]
    spent: npt.NDArray[np.float64] = np.array([cost[:2] for cost in costs[1::2]])
    right = sum(answer == digest for answer, digest in zip(first, digest_of, strict=True))
    print(f"right piece first {right} of {len(shown)}; from start to answer: "
          f"processor time {median(spent[:, 0]):.2f} s, most {spent[:, 0].max():.2f} s; "
          f"by the clock {median(spent[:, 1]):.2f} s, most {spent[:, 1].max():.2f} s")
    if given.cold:
        clock = []
        for base in shown:
            forget(home)
            clock.append(command_cost(home, folder / f"{base.name}.jpg")[1])
        print(f"index and database not in memory: by the clock {median(clock):.2f} s, most {max(clock):.2f} s")


if __name__ == "__main__":
    main()
