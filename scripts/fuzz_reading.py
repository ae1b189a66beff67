"""Mutate pictures and read them: no crash, no hang, bounded memory, and never silence about a file that gives nothing.

    python scripts/fuzz_reading.py [FOLDER] [--files 20000] [--seed 1] [--seconds 10] [--keep FOLDER]

Seeds are small pictures written here in many layouts, and every small picture under FOLDER. Reading happens in a child
process, which is started again after a crash; the mutated file that crashed it, took longer than --seconds or pushed
the child over 300 MiB is kept. Exit 1 if there was any.
"""

import argparse
import io
import multiprocessing
import random
import resource
import sys
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

from catalogue.reading.file import read_file
from catalogue.reading.kinds import looks_like_picture
from catalogue.reading.limits import Limits
from catalogue.reading.model import Fault

LARGEST_SEED = 300_000
MOST_MIB = 300
INTERESTING = (0, 1, 2, 3, 7, 8, 16, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x10000, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)


def written_seeds() -> dict[str, bytes]:
    """Small pictures in every layout this reader has a path for."""
    rng = np.random.default_rng(0)
    picture = rng.integers(0, 255, (48, 64, 3), dtype=np.uint8)
    deep = picture.astype(np.uint16) * 257
    layouts = [
        {}, {"compression": "lzw", "predictor": 2, "rowsperstrip": 7}, {"compression": "zlib", "tile": (16, 32)},
        {"compression": "packbits"}, {"planarconfig": "separate"}, {"planarconfig": "separate", "tile": (16, 16)},
        {"compression": "zstd"}, {"compression": "lzma"}, {"compression": "jpeg"}, {"compression": "jpeg2000"},
        {"compression": "webp"}, {"compression": "png"},
    ]
    seeds = {}
    for number, layout in enumerate(layouts):
        for wide in (False, True):
            if wide and layout.get("compression") in ("jpeg", "webp", "png"):
                continue
            data = deep if wide else picture
            data = np.moveaxis(data, 2, 0) if layout.get("planarconfig") == "separate" else data
            out = io.BytesIO()
            # imagecodecs of 2026 encodes no big-endian samples as JPEG 2000
            big = number % 2 and layout.get("compression") != "jpeg2000"
            with tifffile.TiffWriter(out, bigtiff=number % 3 == 1, byteorder=">" if big else "<") as tif:
                tif.write(data, photometric="rgb", metadata=None, **layout)  # type: ignore[arg-type]
            seeds[f"layout {number} {'16' if wide else '8'} bit.tif"] = out.getvalue()
    for suffix, options in {"jpg": {}, "png": {}, "webp": {}, "jp2": {}, "tif": {"compression": "group4"}}.items():
        image = Image.fromarray(picture)
        out = io.BytesIO()
        kind = {"jpg": "JPEG", "png": "PNG", "webp": "WEBP", "jp2": "JPEG2000", "tif": "TIFF"}[suffix]
        (image.convert("1") if options else image).save(out, kind, **options)  # type: ignore[arg-type]
        seeds[f"pillow.{suffix}"] = out.getvalue()
    psd = b"8BPS\0\1" + b"\0" * 6 + bytes((0, 3, 0, 0, 0, 48, 0, 0, 0, 64, 0, 8, 0, 3)) + b"\0" * 14
    seeds["raw.psd"] = psd + np.moveaxis(picture, 2, 0).tobytes()
    return seeds


def mutated(data: bytes, rng: random.Random) -> bytes:
    """One to eight changes: bits, runs, numbers in the head, cuts, copies of a piece elsewhere."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 8)):
        if not out:
            return b""
        at = rng.randrange(len(out)) if rng.random() < 0.5 else rng.randrange(min(len(out), 512))
        choice = rng.random()
        if choice < 0.3:
            out[at] ^= 1 << rng.randrange(8)
        elif choice < 0.45:
            out[at : at + rng.randint(1, 40)] = bytes(rng.randrange(256) for _ in range(rng.randint(0, 40)))
        elif choice < 0.8:
            width, order = rng.choice((1, 2, 4, 8)), rng.choice(("little", "big"))
            value = rng.choice(INTERESTING) if rng.random() < 0.7 else rng.randrange(1 << 32)
            out[at : at + width] = (value % (1 << 8 * width)).to_bytes(width, order)  # type: ignore[arg-type]
        elif choice < 0.9:
            del out[at + rng.randrange(max(1, len(out) - at)) :]
        else:
            start = rng.randrange(len(out))
            out[at:at] = out[start : start + rng.randint(1, 200)]
    return bytes(out)


def child(pipe: Connection, seconds: float) -> None:
    """Read each path sent; answer with what came of it and the peak memory in MiB."""
    limits = Limits(seconds=seconds)
    while path := pipe.recv():
        reading = read_file(path, limits=limits)
        faults = [fault for fault in reading.faults if fault.kind is not Fault.NO_PROFILE]
        outcome = "finding" if faults else "read" if reading.preview else "SILENT"
        surprise = next((f.detail for f in reading.faults if "could not be read through" in f.detail), "")
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform == "linux" else 1 << 20)
        pipe.send((outcome, surprise, peak))


class Child:
    """The reading process, started again when it dies."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        self.start()

    def start(self) -> None:
        """A fresh process."""
        context = multiprocessing.get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=child, args=(theirs, self.seconds), daemon=True)
        self.process.start()
        theirs.close()

    def read(self, path: Path) -> tuple[str, str, float]:
        """What came of one file; "CRASH" or "HANG" for what must not be."""
        self.pipe.send(str(path))
        try:
            if self.pipe.poll(self.seconds + 20):
                answer: tuple[str, str, float] = self.pipe.recv()
                return answer
            outcome = "HANG"
        except EOFError:
            outcome = "CRASH"
        self.process.kill()
        self.process.join()
        self.start()
        return outcome, "", 0.0


def main() -> int:
    """Run the asked number of files."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--files", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()) / "fuzz-kept")
    options = parser.parse_args()
    seeds = written_seeds()
    if options.folder:
        for path in sorted(p for p in options.folder.rglob("*") if p.is_file() and looks_like_picture(p.name)):
            if path.stat().st_size <= LARGEST_SEED:
                seeds[f"{path.parent.name} {path.name}"] = path.read_bytes()
    names = sorted(seeds)
    rng = random.Random(options.seed)
    reader = Child(options.seconds)
    counts: dict[str, int] = {}
    bad, slowest, peak, surprises = 0, 0.0, 0.0, {}
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(options.files):
            name = rng.choice(names)
            path = Path(folder) / f"mutated{Path(name).suffix}"
            path.write_bytes(mutated(seeds[name], rng))
            started = time.monotonic()
            outcome, surprise, mib = reader.read(path)
            took = time.monotonic() - started
            slowest, peak = max(slowest, took), max(peak, mib)
            if surprise:
                surprises.setdefault(surprise.split(":")[-1].strip()[:90], name)
            if outcome in ("CRASH", "HANG", "SILENT") or took > options.seconds + 1 or mib > MOST_MIB:
                bad += 1
                options.keep.mkdir(parents=True, exist_ok=True)
                kept = options.keep / f"{number} {outcome} {took:.1f}s {mib:.0f}MiB {name}"
                kept.write_bytes(path.read_bytes())
                print(f"{kept.name}", flush=True)
                if mib > MOST_MIB:
                    reader.process.kill()
                    reader.start()
            counts[outcome] = counts.get(outcome, 0) + 1
            if number % 2000 == 1999:
                print(f"{number + 1:,} files, {time.monotonic() - began:.0f} s, {counts}", flush=True)
    reader.pipe.send("")
    print(f"{options.files:,} files from {len(seeds)} seeds: {counts}; slowest {slowest:.1f} s, peak {peak:.0f} MiB")
    for surprise, name in sorted(surprises.items()):
        print(f"  caught at the edge: {surprise}  ({name})")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
