"""This reader beside SHA-256 alone, tifffile and OpenCV, Pillow, and libvips: seconds, ratios, peak memory.

    python scripts/bench_reading.py [FOLDER] [--quick] [--rounds 3]

Writes its masters under FOLDER (about 7 GB; 2 GB with --quick, which leaves the A0 out) and removes them. Each reading
is a process of its own on a warm cache; each cell gives seconds, processor seconds (of all threads) and peak memory,
libraries included, the best of the rounds, after imports. Only ours gives the full Reading; the others only a
thumbnail of 1024 pixels. libvips needs pyvips. Prints a table in Markdown.
"""

import argparse
import json
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

LONG = 1024
A2, A0 = (14031, 9921), (28087, 19866)  # at 600 ppi, height and width
CASES: dict[str, tuple[tuple[int, int], type, dict[str, Any]]] = {
    "A2 8 bit, raw": (A2, np.uint8, {}),
    "A2 8 bit, LZW": (A2, np.uint8, {"compression": "lzw", "predictor": 2, "rowsperstrip": 64}),
    "A2 8 bit, Deflate tiles": (A2, np.uint8, {"compression": "zlib", "predictor": 2, "tile": (512, 512)}),
    "A2 16 bit, raw": (A2, np.uint16, {}),
    "A0 16 bit, raw": (A0, np.uint16, {}),
}


def rows(top: int, count: int, width: int, kind: type) -> np.ndarray:
    """Rows of an invented picture: slow colour and fine grain, so that it compresses as scans do (about 2:1)."""
    rng = np.random.default_rng(top)
    x, y = np.arange(width) / 900, (np.arange(count) + top)[:, None] / 700
    slow = np.stack([np.sin(x + y), np.cos(x - 2 * y), np.sin(2 * x * y / 9)], axis=-1) * 90 + 128
    fine = rng.normal(0, 3, (count, width, 1)).astype(np.float32)
    scale = 257 if kind is np.uint16 else 1
    return np.clip((slow + fine) * scale, 0, 255 * scale).astype(kind)


def write(path: Path, shape: tuple[int, int], kind: type, layout: dict[str, Any]) -> None:
    """A master of one case; raw ones in a single strip, as several programs write them."""
    import tifffile

    height, width = shape
    if layout:
        picture = np.concatenate([rows(top, min(500, height - top), width, kind) for top in range(0, height, 500)])
        tifffile.imwrite(path, picture, photometric="rgb", metadata=None, resolution=(600, 600), **layout)
        return
    target = tifffile.memmap(path, shape=(height, width, 3), dtype=kind, photometric="rgb", metadata=None,
                             resolution=(600, 600))
    for top in range(0, height, 500):
        part = rows(top, min(500, height - top), width, kind)
        target[top : top + len(part)] = part
    target.flush()


def sha_alone(path: str) -> Callable[[], object]:
    """(a) hashlib, 2 MiB at a time."""
    from catalogue.progress import ignore_progress, never_cancelled
    from catalogue.reading.digests import sha256_of

    return lambda: sha256_of(path, report=ignore_progress, cancelled=never_cancelled)


def tifffile_and_opencv(path: str) -> Callable[[], object]:
    """(b) all pixels by tifffile, reduced by OpenCV."""
    import cv2
    import tifffile

    def run() -> object:
        picture = tifffile.imread(path)
        scale = LONG / max(picture.shape[:2])
        return cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)

    return run


def pillow(path: str) -> Callable[[], object]:
    """(c) Pillow's thumbnail; it opens 16-bit colour as 8."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None

    def run() -> object:
        with Image.open(path) as image:
            image.thumbnail((LONG, LONG), Image.Resampling.BOX)
            return image.load()

    return run


def libvips(path: str) -> Callable[[], object]:
    """(d) libvips' thumbnail, streaming."""
    import pyvips

    return lambda: pyvips.Image.thumbnail(path, LONG).write_to_memory()


def ours(path: str) -> Callable[[], object]:
    """The whole Reading."""
    from catalogue.reading.file import read_file

    with tempfile.TemporaryDirectory() as folder:  # a first file pays for what libraries load when first used
        tiny = Path(folder) / "tiny.tif"
        write(tiny, (64, 64), np.uint8, {"rowsperstrip": 64})
        read_file(tiny)
    return lambda: read_file(path)


COLUMNS: dict[str, Callable[[str], Callable[[], object]]] = {
    "SHA-256 alone": sha_alone, "tifffile + OpenCV": tifffile_and_opencv, "Pillow": pillow, "libvips": libvips,
    "ours": ours,
}


def measure_one(column: str, path: str) -> None:
    """In the child: seconds, processor seconds of all its threads, and peak MiB as JSON."""
    run = COLUMNS[column](path)
    began, busy = time.perf_counter(), time.process_time()
    run()
    took, worked = time.perf_counter() - began, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024 if sys.platform == "linux" else 1 << 20)
    print(json.dumps([took, worked, peak]))


def measure(column: str, path: Path, rounds: int) -> tuple[float, float, float] | None:
    """Best seconds, best processor seconds and largest peak of several children; None where the reader cannot."""
    found = []
    for _ in range(rounds):
        done = subprocess.run([sys.executable, __file__, "--one", column, str(path)], capture_output=True, text=True,
                              check=False)
        if done.returncode:
            return None
        found.append(json.loads(done.stdout.splitlines()[-1]))
    return min(f[0] for f in found), min(f[1] for f in found), max(f[2] for f in found)


def main() -> int:
    """Write, measure, print, remove."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=Path, nargs="?", default=Path(tempfile.gettempdir()))
    parser.add_argument("--quick", action="store_true", help="without the A0")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--one", nargs=2, metavar=("COLUMN", "PATH"), help=argparse.SUPPRESS)
    parser.add_argument("--write", nargs=2, metavar=("CASE", "PATH"), help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        measure_one(*options.one)
        return 0
    if options.write:
        write(Path(options.write[1]), *CASES[options.write[0]])
        return 0
    print(f"{platform.machine()}, Python {platform.python_version()}, best of {options.rounds}\n")
    heads = ["master", "MB", *COLUMNS, "ours ÷ (SHA-256 + tifffile + OpenCV), time", "the same, processor"]
    print("| " + " | ".join(heads) + " |")
    print("|" + "---|" * len(heads))
    for case, (shape, _, _) in CASES.items():
        if options.quick and shape == A0:
            continue
        path = options.folder / "bench-master.tif"
        try:
            # in a process of its own, whose memory the readers' processes would else be charged with
            subprocess.run([sys.executable, __file__, "--write", case, str(path)], check=True)
            size = path.stat().st_size / 1e6
            measure("SHA-256 alone", path, 1)  # warms the cache
            found = {column: measure(column, path, options.rounds) for column in COLUMNS}
        finally:
            path.unlink(missing_ok=True)
        cells = [f"{r[0]:.2f} s, {r[1]:.2f} s, {r[2]:,.0f} MiB" if r else "cannot" for r in found.values()]
        sha, whole, own = found["SHA-256 alone"], found["tifffile + OpenCV"], found["ours"]
        ratios = [f"{own[i] / (sha[i] + whole[i]):.2f}" if own and sha and whole else "" for i in (0, 1)]
        print(f"| {case} | {size:,.0f} | " + " | ".join(cells + ratios) + " |", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
