"""Print files beside libvips: the same crop, resize and conversion of the same masters, each in a process of its own.

    python -m scripts.bench_print [--sizes A2,A0] [--jobs "as it is"] [--tiled] [--rounds 2] [--folder FOLDER]

Prints seconds by the clock, processor seconds of all threads and peak memory, each the least of some rounds, and the
ratios of processor and clock time. Ours makes more than libvips does: the master's SHA-256, the new file's, its pixel
digest, and the new file read back; so the second pair of ratios is to libvips and then the two SHA-256 by hashlib,
which is what a person would have to do to be as sure but for the reading back. libvips comes with
``pip install 'pyvips[binary]'`` (group ``bench``); without it only our side is measured, and that is said. Masters are
written first, with invented pixels and an RGB profile of a wide gamut. Last, how far each side's conversion departs
from littleCMS without shortcuts.
"""

import argparse
import hashlib
import importlib.util
import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from numpy.typing import NDArray

from catalogue.print_files.conversion import converter
from catalogue.print_files.recipe import Recipe
from catalogue.print_files.render import render
from catalogue.reading.printsize import pixels_for

SIZES = {"A4": (210, 297), "A3": (297, 420), "A2": (420, 594), "A0": (841, 1189)}     # ISO 216, mm, from memory
MASTER_PPI = 600
SRGB = imagecodecs.cms_profile("srgb")
# what is made of a master of 600 ppi: ppi of the print file, and whether its colours are converted
JOBS = {"300 ppi": (300, False), "180 ppi": (180, False), "600 ppi, as it is": (600, False),
        "300 ppi, to sRGB": (300, True)}


def write_master(path: Path, width: int, height: int, tiled: bool) -> None:
    """A 16-bit RGB master at 600 ppi, a band at a time."""
    base = np.random.default_rng(3).integers(0, 65536, (512, width, 3), dtype=np.uint16)
    side = 256

    def strips() -> Iterator[NDArray[np.uint16]]:
        for top in range(0, height, 64):
            yield base[top // 7 % 400 :][: min(64, height - top)]

    def tiles() -> Iterator[NDArray[np.uint16]]:
        for top in range(0, height, side):
            for left in range(0, width, side):
                tile = np.zeros((side, side, 3), np.uint16)
                part = base[top // 7 % 200 :][:side, left : left + side]
                tile[: part.shape[0], : part.shape[1]] = part
                yield tile

    layout: dict[str, Any] = {"tile": (side, side)} if tiled else {"rowsperstrip": 64}
    with tifffile.TiffWriter(path, bigtiff=True) as file:
        file.write(tiles() if tiled else strips(), shape=(height, width, 3), dtype=np.uint16, photometric="rgb",
                   resolution=(MASTER_PPI, MASTER_PPI), resolutionunit=2, metadata=None,
                   iccprofile=imagecodecs.cms_profile("adobergb"), **layout)


def measured(work: Callable[[], object]) -> dict[str, float]:
    """Clock and processor seconds of a call, and the peak memory of this process in MiB."""
    before, began = resource.getrusage(resource.RUSAGE_SELF), time.perf_counter()
    work()
    after = resource.getrusage(resource.RUSAGE_SELF)
    return {"clock": time.perf_counter() - began, "peak": after.ru_maxrss / 1024,
            "processor": after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime}


def ours(master: Path, target: Path, job: str, size: str, sha256: str) -> dict[str, float]:
    ppi, converted = JOBS[job]
    recipe = Recipe(sha256, *map(float, SIZES[size]), ppi,
                    profile_sha256=hashlib.sha256(SRGB).hexdigest() if converted else "")
    return measured(lambda: render(master, recipe, target, profile=SRGB if converted else b""))


def libvips(master: Path, target: Path, job: str, profile: Path) -> dict[str, float]:
    import pyvips  # type: ignore[import-not-found]

    ppi, converted = JOBS[job]

    def work() -> None:
        picture = pyvips.Image.new_from_file(str(master), access="sequential")
        if ppi != MASTER_PPI:
            picture = picture.resize(ppi / MASTER_PPI, kernel="lanczos3")
        if converted:
            picture = picture.icc_transform(str(profile), embedded=True, intent="relative",
                                            black_point_compensation=True, depth=16)
        picture.tiffsave(str(target))

    return measured(work)


def digests(master: Path, target: Path) -> dict[str, float]:
    def work() -> None:
        for path in (master, target):
            with path.open("rb") as file:
                hashlib.file_digest(file, "sha256")

    return measured(work)


def child(*words: str) -> dict[str, float]:
    done = subprocess.run([sys.executable, "-m", "scripts.bench_print", "--one", *words], check=True,
                          capture_output=True, text=True)
    return {name: float(value) for name, value in json.loads(done.stdout).items()}


def one(words: list[str]) -> None:
    """In a process of its own: what ``words`` name, printed as JSON."""
    who, master, target, job, size, more = words
    if who == "ours":
        used = ours(Path(master), Path(target), job, size, more)
    else:
        used = digests(Path(master), Path(target)) if who == "digests" else libvips(
            Path(master), Path(target), job, Path(more))
    print(json.dumps(used))


def shown(used: dict[str, float] | None) -> str:
    return "not measured" if used is None else (f"{used['clock']:.1f} s, {used['processor']:.1f} s,"
                                                f" {used['peak']:.0f} MiB")


def ratios(mine: dict[str, float], *theirs: dict[str, float]) -> str:
    """Ours to the sum of the others: processor and clock."""
    return ", ".join(f"{mine[kind] / sum(part[kind] for part in theirs):.2f}" for kind in ("processor", "clock"))


def bench(sizes: list[str], jobs: str, tiled: bool, rounds: int, folder: Path) -> None:
    with_vips = importlib.util.find_spec("pyvips") is not None
    if not with_vips:
        print("libvips is not measured: pip install 'pyvips[binary]'", file=sys.stderr)
    profile = folder / "srgb.icc"
    profile.write_bytes(SRGB)
    print("| master | print file | ours | libvips | SHA-256 of both | ours ÷ libvips | ours ÷ (libvips + SHA-256) |\n"
          "|---|---|---|---|---|---|---|")
    for size in sizes:
        width, height = (pixels_for(side, MASTER_PPI) for side in SIZES[size])
        master, target = folder / "master.tif", folder / "print.tif"
        write_master(master, width, height, tiled)
        with master.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        for job in (name for name in JOBS if jobs in name):
            best: dict[str, dict[str, float]] = {}
            for _ in range(rounds):
                for who in ("ours", "digests", *(["libvips"] if with_vips else [])):
                    if who != "digests":
                        target.unlink(missing_ok=True)
                    used = child(who, str(master), str(target), job, size, sha256 if who == "ours" else str(profile))
                    best[who] = {name: min(value, best.get(who, used)[name]) for name, value in used.items()}
            mine, theirs, sha = (best.get(who) for who in ("ours", "libvips", "digests"))
            both = (ratios(mine, theirs), ratios(mine, theirs, sha)) if mine and theirs and sha else ("", "")
            kind = "tiles" if tiled else "strips"
            print(f"| {size}, 16 bit, {MASTER_PPI} ppi, {kind} | {job} | {shown(mine)} | {shown(theirs)} | {shown(sha)}"
                  f" | {' | '.join(both)} |", flush=True)
    if with_vips:
        conversion_errors(folder)


def conversion_errors(folder: Path) -> None:
    """Of arbitrary RGB colours of a wide gamut to sRGB, in levels of 65535: largest and mean."""
    import pyvips

    wide = imagecodecs.cms_profile("adobergb")
    (folder / "wide.icc").write_bytes(wide)
    picture = np.random.default_rng(1).integers(0, 65536, (512, 2048, 3)).astype(np.uint16)
    flags = imagecodecs.CMS.FLAGS.NOOPTIMIZE | imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION
    exact = imagecodecs.cms_transform(picture, wide, SRGB, colorspace="rgb", outcolorspace="rgb", intent=1,
                                      flags=int(flags)).astype(int)
    theirs = pyvips.Image.new_from_array(picture, interpretation="rgb16").icc_transform(
        str(folder / "srgb.icc"), input_profile=str(folder / "wide.icc"), embedded=False, intent="relative",
        black_point_compensation=True, depth=16).numpy()
    for who, converted in (("ours", converter("RGB", 16, wide, SRGB, "relative", True)(picture)), ("libvips", theirs)):
        apart = np.abs(converted.astype(int) - exact)
        print(f"conversion, {who}: at most {apart.max():,} of 65,535 from littleCMS without shortcuts,"
              f" mean {apart.mean():.1f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--sizes", default="A2,A0")
    parser.add_argument("--jobs", default="", help="only jobs whose names contain this")
    parser.add_argument("--tiled", action="store_true")
    parser.add_argument("--rounds", type=int, default=2)
    parser.add_argument("--folder", type=Path, help="where masters are written; else a temporary folder")
    parser.add_argument("--one", nargs=6, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.one:
        one(given.one)
        return
    with tempfile.TemporaryDirectory(dir=given.folder) as folder:
        bench(given.sizes.split(","), given.jobs, given.tiled, given.rounds, Path(folder))


if __name__ == "__main__":
    main()
