"""Archives of any size: every piece its own picture in one of the manners, or tiny files for crawling only."""

from __future__ import annotations

import csv
import struct
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import tifffile

from .canvas import PALETTES, shifted
from .capture import Light, Matrix, expose, recapture, samples, shift, turn, zoom
from .flat import FLAT_LAYOUTS
from .manners import MANNERS
from .orders import COLUMNS, order_rows
from .profiles import profile
from .scenes import SCENES
from .shelf import Entry, Shelf, described, relation
from .stock import SOFTWARE, Original
from .tiffs import Form, Tags, xmp_packet

Say = Callable[[str], None]

# (manner, scenes, share): textured work leads, sparse work is the known hard case
_MIX: tuple[tuple[str, tuple[str, ...], float], ...] = (
    ("impasto", tuple(SCENES), 0.24),
    ("knife", tuple(SCENES), 0.1),
    ("flat", tuple(FLAT_LAYOUTS), 0.18),
    ("lines", ("harbour", "woods", "town", "still life", "contours", "ridges"), 0.12),
    ("colour field", ("",), 0.08),
    ("tide", ("",), 0.04),
    ("minimal", ("",), 0.04),
    ("collage", ("",), 0.1),
    ("wash", ("hills", "rain"), 0.1),
)
# fmt: off
_FIRST = (
    "Ael", "Brin", "Cass", "Dorr", "Ela", "Fenn", "Gwil", "Hest", "Ina", "Jor", "Kell", "Lum", "Mav", "Nim",
    "Oss", "Pryn", "Quill", "Rhea", "Sorr", "Tav", "Una", "Vess", "Wyn", "Yll",
)
_LAST = (
    "ambry", "barrow", "crane", "dell", "ember", "fallow", "gorse", "hollin", "isley", "jessel", "kettle",
    "lorne", "mossop", "nettle", "orrin", "pike", "quarry", "rushel", "sallow", "tarn", "ulver", "vetch",
    "withy", "yarrow",
)
_NOUN = (
    "Harbour", "Field", "Window", "Orchard", "Ferry", "Table", "Garden", "Lamp", "Shore", "Mill", "Quarry",
    "Bridge", "Kite", "Barn", "Meadow", "Stair", "Jug", "Signal", "Pear", "Tide",
)
_MOOD = (
    "Early", "Late", "Grey", "Blue", "Quiet", "Windy", "Second", "Low", "High", "Winter", "Summer", "Amber",
    "Salt", "Far", "Near", "Red", "Pale", "Slow", "Long", "Open",
)
# fmt: on


@dataclass(frozen=True)
class Order:
    """What archive is wanted."""

    pieces: int
    px: int = 256
    seed: int = 7
    copies: int = 1
    derived: float = 0.1
    orders: int = 0


def artist_name(n: int) -> str:
    """The n-th invented artist; no two alike."""
    a, b = n % len(_FIRST), n // len(_FIRST)
    first, middle = _FIRST[a] + _LAST[(b + a) % len(_LAST)], _LAST[b % len(_LAST)].title()
    last = _LAST[(a * 5 + b // len(_LAST)) % len(_LAST)]
    return f"{first} {middle}{last}" + (f" {b}" if b >= len(_LAST) ** 2 else "")


def piece_name(n: int) -> str:
    """The n-th title; a number follows once the words repeat."""
    mood, noun = _MOOD[n % len(_MOOD)], _NOUN[n // len(_MOOD) % len(_NOUN)]
    round_ = n // (len(_MOOD) * len(_NOUN))
    return f"{mood} {noun}" + (f" no. {round_ + 1}" if round_ else "")


def _original(order: Order, index: int) -> tuple[Original, np.random.Generator]:
    rng = np.random.default_rng([order.seed, index])
    shares = np.array([share for _, _, share in _MIX])
    manner, scenes, _ = _MIX[int(rng.choice(len(_MIX), p=shares / shares.sum()))]
    ratio = float(rng.uniform(0.62, 1.0))
    w, h = (order.px, round(order.px * ratio)) if rng.random() < 0.7 else (round(order.px * ratio), order.px)
    ppi = max(20, round(order.px / 16))
    form = ("lzw", "deflate", "none", "none")[index % 4]
    return Original(
        artist_name(index // 12),
        piece_name(index),
        manner,
        scenes[int(rng.integers(len(scenes)))],
        int(rng.integers(len(PALETTES))),
        w,
        h,
        ppi,
        form,
        2015 + index % 10,
        index,
        index % 5 == 4,
    ), rng


def _folder(o: Original) -> str:
    return f"{o.year}/inv {o.inventory:06d} {o.artist} - {o.title}" if o.by_year else f"{o.artist}/{o.title}/{o.title}"


def _put(shelf: Shelf, name: str, pixels: np.ndarray, o: Original, role: str, related: Entry | None) -> None:
    form = Form(o.form if role == "master" and related is None else "lzw")
    packet = xmp_packet(Tags(o.title, o.artist, software=SOFTWARE)) if o.inventory % 3 and related is None else None
    extra = [(700, 1, len(packet), packet, True)] if packet else []
    how = (
        {}
        if form.compression == "none"
        else {"compression": {"deflate": "adobe_deflate"}.get(form.compression, form.compression), "predictor": True}
    )
    tifffile.imwrite(
        shelf.path(name),
        pixels,
        photometric="rgb",
        resolution=(o.ppi, o.ppi),
        resolutionunit="INCH",
        software=SOFTWARE,
        iccprofile=profile("sRGB"),
        metadata=None,
        extratags=extra,
        rowsperstrip=64,
        **how,
    )
    shelf.record(
        name,
        role=role,
        artist=o.artist,
        piece=o.title,
        when=datetime(o.year, 6, 1),
        related=related,
        manner=o.manner,
        current=role == "master" and related is None,
        **described(pixels, form, o.ppi),
    )


def paint_piece(root: Path, order: Order, index: int) -> dict[str, Entry]:
    """Paint and store one piece with its copies and derived scans; returns its entries of truth."""
    cv2.setNumThreads(1)
    shelf = Shelf(root, order.seed)
    o, rng = _original(order, index)
    painting = MANNERS[o.manner](rng, o.width, o.height, shifted(PALETTES[o.palette], rng), o.scene)
    light = Light(strength=0.08)
    master = f"main-disk/{_folder(o)} master.tif"
    _put(shelf, master, samples(expose(painting, light, rng), "sRGB", 8), o, "master", None)
    for copy in range(1, order.copies):
        shelf.copy(f"{'copy-disk' if copy == 1 else 'off-site'}/{_folder(o)} master.tif", master)
    if rng.random() < order.derived:
        w, h = painting.size
        degrees = float(rng.choice([0, 90, 180, 270]) + rng.uniform(-3, 3))
        size = (h, w) if round(degrees / 90) % 2 else (w, h)
        again = replace(
            light, gain=tuple(1 + rng.normal(0, 0.04, 3)), gamma=float(rng.uniform(0.88, 1.12)), grain=0.006
        )
        jobs: list[tuple[str, str, str, Matrix, tuple[int, int], dict[str, object]]] = [
            ("re-scan", "re-scan", "master", turn(degrees, (w, h), size), size, {})
        ]
        x, y = round(rng.uniform(0, 0.4) * w), round(rng.uniform(0, 0.4) * h)
        tile = (round(0.57 * w), round(0.57 * h))
        jobs.append(("tile 1 of 4", "tile of", "tile", shift(x, y), tile, {"x": x, "y": y, "w": tile[0], "h": tile[1]}))
        x, y, s = round(rng.uniform(0, 0.5) * w), round(rng.uniform(0, 0.5) * h), float(rng.uniform(1.2, 1.8))
        part = (round(0.45 * w), round(0.45 * h))
        jobs.append(
            (
                "detail",
                "detail of",
                "reference",
                zoom(s) @ shift(x, y),
                (round(part[0] * s), round(part[1] * s)),
                {"x": x, "y": y, "w": part[0], "h": part[1]},
            )
        )
        for word, kind, role, m, frame, facts in jobs:
            _put(
                shelf,
                f"main-disk/{_folder(o)} {word}.tif",
                samples(recapture(painting, m, frame, again, rng), "sRGB", 8),
                o,
                role,
                relation(kind, master, m, **facts),
            )
    return shelf.entries


def _batch(job: tuple[Path, Order, range]) -> dict[str, Entry]:
    root, order, indexes = job
    made: dict[str, Entry] = {}
    for index in indexes:
        made |= paint_piece(root, order, index)
    return made


def paint_many(root: Path, order: Order, workers: int, say: Say) -> int:
    """Paint `order.pieces` pieces into `root`, with truth.json and, if asked, orders.csv; returns how many files."""
    shelf = Shelf(root, order.seed)
    jobs = [(root, order, range(a, min(a + 50, order.pieces))) for a in range(0, order.pieces, 50)]
    started = time.perf_counter()

    def gather(results: Iterator[dict[str, Entry]]) -> None:
        for done, entries in enumerate(results, 1):
            shelf.entries.update(entries)
            pieces = min(done * 50, order.pieces)
            rate = pieces / (time.perf_counter() - started)
            say(f"{pieces}/{order.pieces} pieces, {rate:.0f} a second, {(order.pieces - pieces) / rate:.0f} s left")

    if workers > 1:
        with ProcessPoolExecutor(workers) as pool:
            gather(pool.map(_batch, jobs))
    else:
        gather(map(_batch, jobs))
    if order.orders:
        stock = [_original(order, i)[0] for i in range(min(order.pieces, 5000))]
        printed = {o.title: Path(f"{_folder(o)} master.tif").name for o in stock}
        with shelf.path("orders.csv").open("w", newline="", encoding="utf-8") as f:
            out = csv.DictWriter(f, COLUMNS, lineterminator="\n")
            out.writeheader()
            out.writerows(order_rows(stock, printed, {}, order.seed, order.orders))
        shelf.record("orders.csv", role="list")
    shelf.write_truth(pieces_asked=order.pieces, px=order.px)
    return len(shelf.entries) + 1


_ROLES = (
    "master",
    "tile 1 of 4",
    "tile 2 of 4",
    "print 50x70",
    "re-scan",
    "ref",
    "[proof] master",
    "_t03",
    "détail",
    "master (2)",
)


def _tiny(n: int) -> bytes:
    """A valid 8×8 grey TIFF, 202 bytes, whose pixels no other `n` below 2**32 has."""
    entries = (
        (256, 3, 1, 8),
        (257, 3, 1, 8),
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 1, 138),
        (277, 3, 1, 1),
        (278, 3, 1, 8),
        (279, 4, 1, 64),
        (296, 3, 1, 1),
    )
    ifd = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *e) for e in entries) + bytes(4)
    return b"II*\0" + struct.pack("<I", 8) + ifd + bytes(138 - 8 - len(ifd)) + struct.pack("<I", n) * 16


def write_tiny(root: Path, count: int, seed: int, say: Say) -> int:
    """`count` tiny TIFFs in artist and piece folders, five to a piece, for benchmarks of crawling; digests differ."""
    rng = np.random.default_rng(seed)
    salt = int(rng.integers(1 << 32))
    folder = ""
    for n in range(count):
        piece, slot = divmod(n, 5)
        if slot == 0:
            folder = f"{root}/main-disk/{artist_name(piece // 25)}/{piece_name(piece)}"
            Path(folder).mkdir(parents=True, exist_ok=True)
        with open(f"{folder}/{piece_name(piece)} {_ROLES[(piece + slot) % 10]}.tif", "wb", buffering=0) as f:  # noqa: PTH123 - a million times
            f.write(_tiny((n + salt) % (1 << 32)))
        if n % 20_000 == 0:
            say(f"{n}/{count} files")
    return count
