#!/usr/bin/env python3
"""Measure the screens on a catalogue of 100,000 scans: start to first row, every key, search as you type.

    python scripts/bench_screens.py [--scans 100000] [--keep FOLDER] [--json]

Rows are invented and written through the records room (screens_rows.py). Prints Markdown tables of milliseconds:

1. What a person waits: the program runs in a pseudo-terminal of 200×60 and of 80×24 and gets keys as a terminal sends
   them; a terminal model says when the screen first looked different and when it last did (screens_keys.py).
   "longest turn" is the longest time in which the program's event loop could not have taken the next key.
2. The start, as ratios of processor time (screens_start.py): the screens to the first row beside an empty Textual app,
   and commands that read beside `--help`.
3. What keys send to the terminal, in bytes (screens_bytes.py).
4. Keys through Textual's Pilot at 200×60: the time by the clock until every message a key caused is handled, which
   holds Pilot's own wait, and the processor time of the screen's thread; both for a key that does nothing, too.

Processor time of the program in the terminal is known on Linux only.
"""

import argparse
import asyncio
import gc
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parent.parent)]

from screens_bytes import sent_bytes  # noqa: E402
from screens_bytes import table as bytes_table  # noqa: E402
from screens_keys import Sitting, p95, table  # noqa: E402
from screens_rows import build  # noqa: E402
from screens_start import Start, starts  # noqa: E402
from screens_start import table as start_table  # noqa: E402

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from catalogue.screens.app import CatalogueApp
    from catalogue.settings import Home

FIRST_ROW = "Anchor"    # the first title of the invented catalogue begins so
SIZES = ((200, 60), (80, 24))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scans", type=int, default=100_000)
    parser.add_argument("--keep", type=Path, help="build the catalogue here, or use the one that is here")
    parser.add_argument("--only", choices=("terminal", "pilot", "start", "bytes"), help="one of the measures")
    parser.add_argument("--brief", action="store_true", help="a fifth of the keys, for a quick look")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        home = asked.keep or Path(folder)
        if not (home / "catalogue.sqlite").exists():
            home.mkdir(parents=True, exist_ok=True)
            build(home, asked.scans)
        wanted = {asked.only} if asked.only else {"terminal", "pilot", "start", "bytes"}
        started: list[Start] = starts(home, FIRST_ROW) if "start" in wanted else []
        sent = sent_bytes(home) if "bytes" in wanted else {}
        sittings = [Sitting(home, *size, brief=asked.brief) for size in SIZES] if "terminal" in wanted else []
        single, through_pilot = measured(home) if "pilot" in wanted else ({}, {})
    if asked.json:
        print(json.dumps({"start": [asdict(start) for start in started], "bytes": sent,
                          "terminal": [sitting.figures() for sitting in sittings], "single": single,
                          "pilot": through_pilot}, indent=1))
        return
    if started:
        print("\n".join([*start_table(started), ""]))
    if sent:
        print("\n".join([*bytes_table(sent), ""]))
    if sittings:
        print("\n".join([*table(sittings), ""]))
    if single:
        print("| | ms |\n|---|---|")
        print("\n".join(f"| {name} | {value:.1f} |" for name, value in single.items()))
        print("\n| through Pilot, 200×60 | processor, median | processor, p95 | clock, p95 |\n|---|---|---|---|")
        print("\n".join(f"| {name} | {' | '.join(f'{value:.0f}' for value in values)} |"
                        for name, values in through_pilot.items()))


def measured(folder: Path) -> tuple[dict[str, float], dict[str, tuple[float, float, float]]]:
    """Milliseconds by name: single figures, and keys through Pilot."""
    begun = time.perf_counter()
    from catalogue.screens.app import CatalogueApp
    from catalogue.settings import Home

    gc.set_threshold(200_000, 20, 100)  # as the command line does
    gc.freeze()
    single = {"imports": (time.perf_counter() - begun) * 1000}
    starts = [asyncio.run(first_row(Home(folder))) for _ in range(5)]
    single["start to first row after imports, median of 5"] = statistics.median(starts)
    single |= search_times(Home(folder))
    return single, asyncio.run(keys(CatalogueApp(Home(folder), colours=True)))


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
    from catalogue.screens.widgets.paged_table import PagedTable

    begun = time.perf_counter()
    app = CatalogueApp(home, colours=True)
    async with app.run_test(size=(200, 60)):
        while not (found := app.screen.query("#pieces")) or not found.first(PagedTable).row_count:
            await asyncio.sleep(0.001)
        spent = time.perf_counter() - begun
    app.close_threads()
    return spent * 1000


async def keys(app: "CatalogueApp") -> dict[str, tuple[float, float, float]]:
    """Processor time, median and p95, and time by the clock, p95."""
    from catalogue.screens.widgets.paged_table import PagedTable

    figures: dict[str, tuple[float, float, float]] = {}

    async def pressed(name: str, presses: list[str]) -> None:
        clock, busy = [], []
        for key in presses:
            begun, spent = time.perf_counter(), time.thread_time()
            await pilot.press(key)
            clock.append((time.perf_counter() - begun) * 1000)
            busy.append((time.thread_time() - spent) * 1000)
        figures[name] = statistics.median(busy), p95(busy), p95(clock)

    async with app.run_test(size=(200, 60)) as pilot:
        pieces = app.screen.query_one("#pieces", PagedTable)
        await until(pilot, lambda: bool(pieces.row_count))
        await pressed("a key that does nothing", ["f9"] * 40)
        await pressed("down through pieces", ["down"] * 200)
        await pressed("up through pieces", ["up"] * 100)
        await pressed("page down, pages loading", ["pagedown"] * 40)
        await pressed("artist after artist, pieces reloading", ["left", *["down"] * 80])
        await pressed("open a piece and back", ["right", *["enter", "escape"] * 30])
        await pressed("to the orders and back", ["2", "1"] * 30)
        await pressed("down through orders", ["2", *["down"] * 100])
        await pressed("search, each letter", ["slash", *"harbour evening 12", *["backspace"] * 18, *"quarrel 50x70"])
    app.close_threads()
    return figures


def search_times(home: "Home") -> dict[str, float]:
    """The search itself, without the screen."""
    from catalogue.records.database import open_database
    from catalogue.records.search import load_vocabulary, search

    db = open_database(home.database)
    vocabulary = load_vocabulary(db)
    times = []
    for words in ("harbour evening", "quarrel", "50x70", "slipway frost 12", "tarnow", "meadow rain"):
        for length in range(1, len(words) + 1):
            begun = time.perf_counter()
            search(db, words[:length], 12, vocabulary)
            times.append((time.perf_counter() - begun) * 1000)
    db.close()
    return {"search alone, median": statistics.median(times), "search alone, p95": p95(times)}


if __name__ == "__main__":
    main()
