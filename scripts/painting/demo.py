"""The demo archive: which files there are, and what became of them.

A sound archive of a small shop, with exactly one of each thing to act on: a master damaged silently, one cut short, one
gone, a re-scan turned on the bed, a series of near-twins, a byte double, a master without a profile (which is also the
one not copied yet), an edition nearly out; and a few orders that their masters serve badly.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from .canvas import PALETTES
from .capture import expose
from .desk import Desk
from .manners import MANNERS
from .orders import write_editions, write_orders
from .shelf import Entry, Shelf
from .stock import BUYERS, MAKER, ORLA, SHOP, Original, original, scanned_at, stock
from .tiffs import Form

Report = Callable[[int, int, str], None]  # pieces done, of how many, and what was painted

TEST_SCALE = 0.25  # of the resolution of what ships for the tests

_JPEG = Form("jpeg", tiled=True, quality=85)
_TILES = Form("jpeg", quality=88)

# masters of this year lie on the main disk alone
NOT_COPIED_YET = 2025
# copies under names that say nothing
RENAMED = {
    "Pollard Row": "scan_0017.tif",
    "Torn Timetable": "IMG 0042 (2).tif",
    "Three Jugs and a Bowl": "jugs-final-FINAL.tif",
}
SINCE = {"Red Barn Yard": "changed", "Terraces, Noon": "truncated", "Hay Meadow": "missing"}


def _extras(d: Desk) -> None:
    """What was made from this piece over the years."""
    f, s = d.folder, d.stem
    match d.original.title:
        case "Harbour, Low Water":  # wider than the bed, so captured in tiles and stitched
            d.supersede(f"{f}/{s} master 2019.tif", 0.6, _JPEG)
            d.tiles(2, 2, "{folder}/tiles/{stem} tile {n} of {of}.tif", _TILES)
            d.print_file(50, 200)
            d.web(f"{f}/ref/harbour low water for web.jpg")
            d.on_wall("phone/IMG_2231.jpg", (960, 720), [(0.3, 0.24), (0.72, 0.29), (0.71, 0.66), (0.29, 0.69)])
        case "Harbour, Blue Hour":
            d.rescan(f"{f}/{s} re-scan 90.tif", 90, _JPEG, 0.7)
        case "Three Kites":
            d.print_file(50, 200, Form("lzw"))
        case "Ferry Stop":
            d.again(f"{f}/{s} master with keywords.tif", keywords="ferry, sea, sun")
        case "Marché [épreuve]":
            d.detail(f"{f}/{s} [detail].tif", 0.3, 0.05, 0.35, 0.42, 1.3)
            d.print_file(30, 200)
        case "Birches 🌿":
            d.tiles(2, 2, "inbox/scan000{n}.tif", _TILES, overlap=0.28)
        case "Copper Bottle":
            d.rescan("inbox/Untitled-3.tif", -1.6, _JPEG, 1.1, role="unsorted", days=900)
        case "Three Jugs and a Bowl":
            d.on_wall("phone/photo of the print.jpg", (720, 960), [(0.2, 0.33), (0.83, 0.3), (0.85, 0.62), (0.19, 0.6)])
        case "Torn Timetable":
            d.on_wall("phone/IMG_2240.jpg", (960, 720), [(0.26, 0.22), (0.66, 0.17), (0.69, 0.66), (0.27, 0.61)])


def _desk(shelf: Shelf, index: int, work: Original) -> Desk:
    rng = np.random.default_rng([shelf.seed, index])
    painting = MANNERS[work.manner](rng, work.width, work.height, PALETTES[work.palette], work.scene)
    return Desk(shelf, work, painting, np.random.default_rng([shelf.seed, index, 1]))


def paint_piece(root: Path, seed: int, index: int, scale: float) -> dict[str, Entry]:
    """Paint one piece with all that was made from it; returns its entries of truth."""
    cv2.setNumThreads(1)
    shelf = Shelf(root, seed)
    desk = _desk(shelf, index, stock(scale)[index])
    desk.master()
    _extras(desk)
    return shelf.entries


def _paint_inbox(shelf: Shelf, scale: float) -> None:
    """A new original, scanned and not yet named."""
    work = original(ORLA, "Gorse in Wind", "wash", "hills", 2, (14.8, 10.5), 300, "jpeg", 2025, 560, scale)
    desk = _desk(shelf, 900, work)
    colour_tags = desk.tags(title=None, artist=None, xmp=False, names_in_tiff=False)
    colour = expose(desk.painting, replace(desk.light, grain=0.003), desk.rng)
    desk.write("inbox/Untitled-1.tif", colour, _JPEG, work.ppi, colour_tags, "master", held=False)


def _copy_masters(shelf: Shelf, works: tuple[Original, ...], masters: dict[str, str]) -> None:
    """Every master on the second disk too, but those of this year; one more double lies on an old desktop."""
    this_year = {work.title for work in works if work.year >= NOT_COPIED_YET}
    for name, entry in sorted(shelf.entries.items()):
        title = str(entry["piece"])
        if not name.startswith("main-disk/") or entry["role"] != "master" or title in this_year:
            continue
        copy = f"copy-disk/2024 backup/{entry['artist']}/{Path(name).name}"
        if title in RENAMED and name == masters[title]:
            copy = f"copy-disk/transfer/{RENAMED[title]}"
        shelf.copy(copy, name)
    shelf.copy("main-disk/old desktop/scan0034.tif", masters["Tide Table 2 of 6"])
    shelf.copy("inbox/download (3).tif", masters["Allotment"])
    for title, kind in SINCE.items():
        shelf.happens_since(masters[title], kind)


def paint_demo(root: Path, seed: int, report: Report, scale: float = 1.0, workers: int = 0) -> int:
    """Paint the shop's archive into `root` (empty or new), a piece a process; returns the number of files.

    `scale` is the share of the pixels a side, and of the ppi; `workers` 0 takes every core.
    """
    shelf = Shelf(root, seed)
    works = stock(scale)
    large_first = sorted(range(len(works)), key=lambda index: -works[index].width * works[index].height)
    with ProcessPoolExecutor(workers or os.cpu_count()) as pool:
        jobs = {pool.submit(paint_piece, root, seed, index, scale): works[index] for index in large_first}
        for done, job in enumerate(as_completed(jobs), 1):
            shelf.entries |= job.result()
            report(done, len(works), f"{jobs[job].artist}: {jobs[job].title}")
    masters = {str(e["piece"]): name for name, e in shelf.entries.items() if e["current_master"]}
    _paint_inbox(shelf, scale)
    _copy_masters(shelf, works, masters)
    printed = {title: Path(name).name for title, name in masters.items()}
    editions = write_editions(shelf, works)
    write_orders(shelf, works, printed, editions)
    shelf.write_truth(
        scale=scale,
        shop=SHOP,
        maker=MAKER,
        artists=sorted({o.artist for o in works}),
        pieces=[o.title for o in works],
        buyers=list(BUYERS),
        stores=["main-disk", "copy-disk"],
        scanned={o.title: scanned_at(o).isoformat() for o in works},
        series={"Tide Table": [o.title for o in works if o.manner == "tide"]},
        sparse=[o.title for o in works if o.manner in ("colour field", "minimal")],
    )
    return len(shelf.entries) + 1
