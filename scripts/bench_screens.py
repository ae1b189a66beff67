"""Measure the screens on a catalogue of 100,000 scans: start to first row, every key, search as you type.

    python scripts/bench_screens.py [--scans 100000] [--keep FOLDER] [--json]

Rows are invented and written through the records room. Times are of this machine, through Textual's Pilot at 200×60. A
key's time runs from the press until every message it caused is handled and the screen is drawn. Pilot waits some
milliseconds of its own for each key, and a busy machine makes every wait longer, so beside the time by the clock stand
the processor time of the screen's thread, which is what a key costs, and both for a key that does nothing.
"""

import argparse
import asyncio
import json
import random
import statistics
import tempfile
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from catalogue.screens.app import CatalogueApp
    from catalogue.settings import Home

WORDS = [
    "Harbour", "Quay", "Terrace", "Meadow", "Fell", "Lantern", "Orchard", "Slipway", "Kiosk", "Ferry", "Thimble",
    "Walnut", "Pebble", "Heron", "Barley", "Ember", "Slate", "Willow", "Copper", "Juniper", "Cinder", "Saffron",
    "Anchor", "Gable", "Millrace", "Hollow", "Lichen", "Marram", "Otter", "Plover",
]
TIMES = [
    "Morning", "Noon", "Evening", "Winter", "Spring", "Rain", "Frost", "Study", "Sketch", "Reprise", "Low", "High",
    "Blue", "Grey", "Yellow", "Red",
]
FIRST = [
    "Ansel", "Brida", "Corin", "Dagny", "Edda", "Fenn", "Greta", "Hollis", "Idris", "Jorun", "Kester", "Linnea",
    "Magnus", "Nessa", "Odile", "Piers",
]
LAST = [
    "Quarrel", "Tarnow", "Vandrel", "Ostrel", "Brunmar", "Pennyroy", "Grauwick", "Ambrosh", "Fethgar", "Castermain",
    "Halvik", "Umberlow",
]
SCANS_A_PIECE = 4
PREVIEWS = 24          # pictures, shared out over all masters


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scans", type=int, default=100_000)
    parser.add_argument("--keep", type=Path, help="build the catalogue here, or use the one that is here")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        home = asked.keep or Path(folder)
        if not (home / "catalogue.sqlite").exists():
            build(home, asked.scans)
        figures = measure(home)
    if asked.json:
        print(json.dumps(figures, indent=1))
        return
    for name, value in figures.items():
        print(f"{name:<58} {value:8.1f} ms")


def build(folder: Path, count: int) -> None:
    """A catalogue of invented rows with a few painted previews."""
    from catalogue.reading.model import Picture, Reading
    from catalogue.records import files, orders, pieces, scans, stores
    from catalogue.records.database import open_database, transaction

    chance = random.Random(7)
    db = open_database(folder / "catalogue.sqlite")
    pictures = [painted(chance) for _ in range(PREVIEWS)]
    picture = Picture(9000, 12000, 16, "uint", 3, "RGB", "none", "strips", ppi_x=600.0, ppi_y=600.0)
    begun = time.perf_counter()
    with transaction(db):
        homes = [stores.add(db, name, f"/stores/{name}", kind, name).id
                 for name, kind in (("main disk", "primary"), ("share", "copy"))]
        artists = [pieces.artist_called(db, f"{chance.choice(FIRST)} {chance.choice(LAST)} {number}")
                   for number in range(max(1, count // 100))]
        piece_id, artist, title = 0, artists[0], ""
        for number in range(count):
            if number % SCANS_A_PIECE == 0:
                artist = chance.choice(artists)
                title = f"{chance.choice(WORDS)} {chance.choice(TIMES)} {number // SCANS_A_PIECE}"
                piece_id = pieces.piece_called(db, artist.id, title, str(chance.randint(1990, 2025)))
            role = ("master", "tile", "tile", "print file")[number % SCANS_A_PIECE]
            sha256 = f"{number:064x}"
            path = f"{artist.name}/{title}/{title} {role} {number % SCANS_A_PIECE}.tif"
            preview = pictures[number % PREVIEWS] if role == "master" and number < 4000 else None
            if preview is not None:
                place = folder / "previews" / sha256[:2] / f"{sha256}.webp"
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(preview)
            scan_id = scans.save(db, Reading(path, 600_000_000, number, sha256, format="TIFF", picture=picture,
                                             preview=preview), role=role, piece_id=piece_id)
            for store_id in homes[:1 + (role == "master")]:
                files.save(db, store_id, path, 600_000_000, number, scan_id, verified=True)
            if role == "master":
                pieces.set_current(db, piece_id, scan_id, "proposed")
                placed = f"{chance.randint(2015, 2025)}-{chance.randint(1, 12):02d}-15"
                order = orders.save(db, f"B{number:06d}", placed,
                                    buyer=f"{chance.choice(FIRST)} {chance.choice(LAST)}", status="printed")
                orders.add_line(db, order, orders.NewLine(piece_id, 500, 700, chance.randint(1, 10), "cotton rag",
                                                          scan_sha256=sha256))
    db.execute("ANALYZE")
    db.close()
    print(f"built {count:,} scans in {time.perf_counter() - begun:.0f} s")


def painted(chance: random.Random) -> bytes:
    """A preview of the usual size: soft fields with grain, as WebP."""
    import io

    from PIL import Image, ImageFilter

    small = Image.new("RGB", (12, 16))
    small.putdata([tuple(chance.randint(40, 230) for _ in range(3)) for _ in range(12 * 16)])
    large = small.resize((768, 1024), Image.Resampling.BICUBIC)
    grain = Image.effect_noise((768, 1024), 40).convert("RGB").filter(ImageFilter.GaussianBlur(1))
    out = io.BytesIO()
    Image.blend(large, grain, 0.15).save(out, "WEBP", quality=85)
    return out.getvalue()


def measure(folder: Path) -> dict[str, float]:
    """Milliseconds by name."""
    begun = time.perf_counter()
    from catalogue.screens.app import CatalogueApp, calm_memory
    from catalogue.settings import Home

    calm_memory()
    imports = time.perf_counter() - begun
    figures = {"imports": imports * 1000}
    starts = [asyncio.run(first_row(Home(folder))) for _ in range(5)]
    figures["start to first row, median of 5"] = statistics.median(starts)
    figures |= asyncio.run(keys(CatalogueApp(Home(folder), colours=True)))
    return figures


async def until(pilot: "Pilot[None]", met: Callable[[], bool], seconds: float = 20.0) -> None:
    """Wait for a condition."""
    end = time.perf_counter() + seconds
    while not met():
        if time.perf_counter() > end:
            raise TimeoutError("the screen did not come to what was waited for")
        await asyncio.sleep(0.001)
    await pilot.pause()


async def first_row(home: "Home") -> float:
    """From starting the app to the first piece listed."""
    from catalogue.screens.app import CatalogueApp
    from catalogue.screens.table import PagedTable

    begun = time.perf_counter()
    app = CatalogueApp(home, colours=True)
    async with app.run_test(size=(200, 60)):
        while not (found := app.screen.query("#pieces")) or not found.first(PagedTable).row_count:
            await asyncio.sleep(0.001)
        spent = time.perf_counter() - begun
    app.close_lanes()
    return spent * 1000


async def keys(app: "CatalogueApp") -> dict[str, float]:
    """95th percentiles over many presses."""
    figures: dict[str, float] = {}

    async def pressed(name: str, presses: list[str]) -> None:
        clock, busy = [], []
        for key in presses:
            begun, spent = time.perf_counter(), time.thread_time()
            await pilot.press(key)
            clock.append((time.perf_counter() - begun) * 1000)
            busy.append((time.thread_time() - spent) * 1000)
        figures[f"{name}: clock, p95"] = statistics.quantiles(clock, n=20)[-1]
        figures[f"{name}: processor, median"] = statistics.median(busy)
        figures[f"{name}: processor, p95"] = statistics.quantiles(busy, n=20)[-1]

    async def timed(name: str, start: Callable[[], Awaitable[Any]], met: Callable[[], bool]) -> None:
        begun = time.perf_counter()
        await start()
        await until(pilot, met)
        figures[name] = (time.perf_counter() - begun) * 1000

    async with app.run_test(size=(200, 60)) as pilot:
        pieces = app.screen.query_one("#pieces")
        await until(pilot, lambda: bool(pieces.row_count))
        await pressed("idle key", ["f9"] * 40)
        await pressed("down through pieces, pages loading", ["down"] * 400)
        await pressed("up through pieces", ["up"] * 200)
        await pressed("page down", ["pagedown"] * 40)
        await timed("end of 25,000 pieces", lambda: pilot.press("end"), lambda: pieces.ends and not pieces.begins)
        await pressed("up from the end", ["up"] * 200)
        await pressed("artists, pieces reloading", ["left", *["down"] * 80])
        await pressed("open a piece and back", ["right", *["enter", "escape"] * 30])
        await pressed("orders and back", ["2", "1"] * 30)
        await pressed("down through orders", ["2", *["down"] * 150])
        await pressed("search, each letter", ["slash", *"harbour evening 12", *["backspace"] * 18, *"quarrel 50x70"])
    app.close_lanes()
    figures |= search_times(app)
    return figures


def search_times(app: "CatalogueApp") -> dict[str, float]:
    """The search itself, without the screen."""
    from catalogue.records.database import open_database
    from catalogue.records.search import load_vocabulary, search

    db = open_database(app.home.database)
    vocabulary = load_vocabulary(db)
    times = []
    for words in ("harbour evening", "quarrel", "50x70", "slipway frost 12", "tarnow", "meadow rain"):
        for length in range(1, len(words) + 1):
            begun = time.perf_counter()
            search(db, words[:length], 12, vocabulary)
            times.append((time.perf_counter() - begun) * 1000)
    db.close()
    return {"search alone, median": statistics.median(times),
            "search alone, p95": statistics.quantiles(times, n=20)[-1]}


if __name__ == "__main__":
    main()
