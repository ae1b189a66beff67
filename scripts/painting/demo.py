"""The demo archive: which files there are, and what became of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from .canvas import PALETTES
from .capture import Light, expose
from .desk import Desk, scanned_at
from .manners import MANNERS
from .orders import write_editions, write_orders
from .shelf import Shelf
from .stock import BUYERS, MAKER, ORLA, SHOP, STOCK, Original
from .tiffs import Form

Say = Callable[[str], None]

_JPEG = Form("jpeg", tiled=True, quality=85)
_TILES = Form("jpeg", quality=88)

# pieces whose masters a second disk holds, most under their own names
COPIED = (
    "Harbour, Blue Hour",
    "Quay by Night",
    "Three Kites",
    "Allotment",
    "Contour Study",
    "Pollard Row",
    "Field for Listening",
    "Two Greys",
    "Tide Table 1 of 6",
    "Tide Table 2 of 6",
    "Tide Table 3 of 6",
    "Pebble",
    "Marché [épreuve]",
    "Torn Timetable",
    "Hay Meadow",
    "Rain off the Fell",
    "אור על המים",
    "Three Jugs and a Bowl",
    "Blue Jug (miniature)",
    "Red Barn Yard",
    "Terraces, Noon",
)
RENAMED = {
    "Pollard Row": "scan_0017.tif",
    "Torn Timetable": "IMG 0042 (2).tif",
    "Three Jugs and a Bowl": "jugs-final-FINAL.tif",
}
DAMAGED = {"Red Barn Yard": "changed", "Terraces, Noon": "truncated"}


def _extras(d: Desk) -> None:
    """What was made from this piece over the years."""
    f, s = d.folder, d.stem
    match d.original.title:
        case "Harbour, Low Water":
            d.supersede(f"{f}/{s} master 2019.tif", 0.72, _JPEG)
            d.tiles(2, 2, "{folder}/tiles/{stem} tile {n} of {of}.tif", _TILES)
            d.print_file(40, 38)
            d.web(f"{f}/ref/harbour low water for web.jpg")
            d.on_wall("phone/IMG_2231.jpg", (960, 720), [(0.3, 0.24), (0.72, 0.29), (0.71, 0.66), (0.29, 0.69)])
        case "Harbour, Blue Hour":
            d.rescan(f"{f}/{s} re-scan 90.tif", 90, _JPEG, 0.85)
            d.print_file(30, 48)
        case "Herring Boats at Skarnøy":
            d.tiles(2, 2, "{folder}/{stem}_t{n:02d}.tif", Form("lzw"), missing=3, exact=True)
            d.detail(f"{f}/{s} detail house.tif", 0.3, 0.35, 0.3, 0.4, 1.5)
        case "Quay by Night":
            d.rescan(f"{f}/{s} re-scan.tif", -2.3, _JPEG, 0.9, crop=0.06)
        case "Three Kites":
            d.again(f"{f}/{s} master resaved.tif", Form("deflate", tiled=True))
            d.print_file(50, 36, Form("lzw"))
        case "Ferry Stop":
            d.again(f"{f}/{s} master with keywords.tif", keywords="ferry, sea, sun")
        case "Quarter Past":
            d.rescan(f"{f}/{s} re-scan 180.tif", 180, Form("jpeg", quality=84), 0.8)
        case "Pollard Row":
            d.rescan(
                f"{f}/{s} re-scan.tif",
                1.4,
                Form("jpeg", space="grey", quality=80),
                0.9,
                light=Light(strength=0, gamma=1.1, grain=0.004),
            )
        case "Ember over Slate":
            d.rescan(f"{f}/{s} re-scan.tif", 1.1, _JPEG, light=Light(strength=0, gain=(0.97, 1, 1.04), grain=0.005))
        case "Long Yellow":
            d.print_file(40, 40, Form("lzw"))
        case "Marché [épreuve]":
            d.detail(f"{f}/{s} [detail].tif", 0.3, 0.05, 0.35, 0.42, 1.3)
            d.print_file(30, 42)
        case "Rain off the Fell":
            d.rescan(
                f"{f}/{s} re-scan warm.tif",
                2.8,
                _JPEG,
                crop=0.08,
                light=Light(strength=0.05, gain=(1.05, 1, 0.9), gamma=0.88, grain=0.006),
            )
        case "Estuary Morning":
            d.tiles(3, 2, "{folder}/captures/{stem} tile {n} of {of}.tif", _TILES, overlap=0.22, turned=5)
            d.print_file(45, 34)
        case "אור על המים":
            d.print_file(35, 46)
        case "Birches 🌿":
            d.tiles(2, 2, "inbox/scan000{n}.tif", _TILES, overlap=0.28)
        case "Copper Bottle":
            d.retouched(f"{f}/{s} master retouched.tif")
            d.rescan("inbox/Untitled-3.tif", -1.6, _JPEG, 1.1, role="unsorted", days=900)
        case "Three Jugs and a Bowl":
            d.on_wall("phone/photo of the print.jpg", (720, 960), [(0.2, 0.33), (0.83, 0.3), (0.85, 0.62), (0.19, 0.6)])
        case "Torn Timetable":
            d.on_wall("phone/IMG_2240.jpg", (960, 720), [(0.26, 0.22), (0.66, 0.17), (0.69, 0.66), (0.27, 0.61)])


def _paint(shelf: Shelf, index: int, original: Original) -> Desk:
    rng = np.random.default_rng([shelf.seed, index])
    painting = MANNERS[original.manner](
        rng, original.width, original.height, PALETTES[original.palette], original.scene
    )
    return Desk(shelf, original, painting, np.random.default_rng([shelf.seed, index, 1]))


def _copies(shelf: Shelf, desks: dict[str, str]) -> None:
    by_title = {o.title: o for o in STOCK}
    for title in COPIED:
        master = desks[title]
        name = (
            f"copy-disk/transfer/{RENAMED[title]}"
            if title in RENAMED
            else f"copy-disk/2024 backup/{by_title[title].artist}/{Path(master).name}"
        )
        shelf.copy(name, master)
        if title in DAMAGED:
            shelf.damage(master, DAMAGED[title], name)
    shelf.copy("main-disk/old desktop/scan0034.tif", desks["Tide Table 2 of 6"])
    shelf.copy("inbox/download (3).tif", desks["Allotment"])


def _strays(shelf: Shelf) -> None:
    """Files that are not pictures, as every archive has."""
    shelf.path("main-disk/2022/inv 0460 untitled.tif").write_bytes(b"")
    shelf.record("main-disk/2022/inv 0460 untitled.tif", role="unsorted", fault={"kind": "zero bytes"})
    note = "Tides at Skarnøy for the boats picture: ask before cropping the left mast.\n"
    shelf.path("main-disk/2022/scan notes.tif").write_text(note, encoding="utf-8")
    shelf.record("main-disk/2022/scan notes.tif", role="unsorted", fault={"kind": "not a picture"})


def paint_demo(root: Path, seed: int, say: Say) -> int:
    """Paint the shipped archive into `root` (empty or new); returns the number of files."""
    shelf = Shelf(root, seed)
    masters: dict[str, str] = {}
    for index, original in enumerate(STOCK):
        desk = _paint(shelf, index, original)
        desk.master()
        masters[original.title] = desk.master_name
        _extras(desk)
        say(f"{index + 1}/{len(STOCK)} {original.artist}: {original.title}")
    new = Original(ORLA, "Gorse in Wind", "wash", "hills", 2, 760, 540, 72, "jpeg", 2025, 560)
    desk = _paint(shelf, 900, new)
    colour_tags = desk.tags(title=None, artist=None, xmp=False, names_in_tiff=False)
    desk.write(
        "inbox/Untitled-1.tif",
        expose(desk.painting, replace(desk.light, grain=0.003), desk.rng),
        _JPEG,
        72,
        colour_tags,
        "master",
        held=False,
    )
    _copies(shelf, masters)
    _strays(shelf)
    printed = {o.title: Path(masters[o.title]).name for o in STOCK}
    editions = write_editions(shelf, STOCK)
    write_orders(shelf, STOCK, printed, editions)
    shelf.write_truth(
        shop=SHOP,
        maker=MAKER,
        artists=sorted({o.artist for o in STOCK}),
        pieces=[o.title for o in STOCK],
        buyers=list(BUYERS),
        stores=["main-disk", "copy-disk"],
        scanned={o.title: scanned_at(o).isoformat() for o in STOCK},
        series={"Tide Table": [o.title for o in STOCK if o.manner == "tide"]},
        sparse=[o.title for o in STOCK if o.manner in ("colour field", "minimal")],
    )
    return len(shelf.entries) + 1
