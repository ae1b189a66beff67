"""What a start loads: nothing that the first list does not need."""

import subprocess
import sys

from catalogue.settings import Home

# Pictures, masters, likeness and printed pages: none of it is needed to list pieces.
HEAVY = ("numpy", "cv2", "tifffile", "imagecodecs", "PIL", "faiss", "imagehash", "jinja2", "rapidfuzz", "xxhash",
         "textual_image", "catalogue.reading.file", "catalogue.likeness.service", "catalogue.intake.watching",
         "catalogue.indexing.guessing", "catalogue.fixity.audit", "catalogue.screens.dialogs.search",
         "catalogue.screens.pages.piece", "catalogue.screens.pages.alike", "catalogue.screens.pages.audit",
         "catalogue.screens.pages.intake", "catalogue.screens.pages.add_store", "catalogue.screens.pages.orders",
         "catalogue.screens.pages.health", "catalogue.screens.pages.stores", "catalogue.screens.background.jobs",
         "catalogue.reading.model", "catalogue.reading.digests", "catalogue.records.fixity", "catalogue.records.files",
         "catalogue.records.stores", "catalogue.records.upkeep_lists", "catalogue.indexing",
         "catalogue.operations.orders", "multiprocessing.resource_tracker", "tomllib", "shlex",
         "catalogue.screens.pictures.drawing", "catalogue.screens.pictures.blocks",
         "catalogue.screens.pictures.print_drawing", "catalogue.screens.dialogs.confirm",
         "catalogue.screens.system_viewer", "catalogue.records.glances", "catalogue.records.findings",
         "catalogue.records.current", "catalogue.records.copies", "catalogue.records.locations", "catalogue.progress",
         "catalogue.operations.file_locations", "catalogue.screens.texts.facts", "catalogue.reading.printsize",
         "catalogue.allowed_settings", "catalogue.storage")
# The moment looked at: the first rows are drawn, and what is shown of one of them is about to be read.
PROGRAM = """
import asyncio, sys
from pathlib import Path
from catalogue.commands import command
from catalogue.screens.app import CatalogueApp
from catalogue.screens.pages.browse import BrowsePage
from catalogue.settings import Home

seen = asyncio.Event()
ask = BrowsePage._ask_glance

def watched(page, row):
    if not seen.is_set():
        print("rows", page.query_one("#pieces").row_count, row.title in str(page._compositor.render_strips()))
        print([name for name in sys.argv[2:] if name in sys.modules])
        seen.set()
    ask(page, row)

BrowsePage._ask_glance = watched

async def start():
    app = CatalogueApp(Home(Path(sys.argv[1])), colours=True, ahead=True)
    async with app.run_test(size=(200, 60)):
        await seen.wait()
    app.close_threads()

asyncio.run(start())
"""


def test_the_first_list_is_there_before_anything_heavy_is_loaded(shop: Home) -> None:
    shown = subprocess.run([sys.executable, "-c", PROGRAM, str(shop.folder), *HEAVY], capture_output=True, text=True,
                           check=True)
    rows, loaded = shown.stdout.splitlines()[:2]
    assert int(rows.split()[1]) > 0 and rows.endswith("True")
    assert loaded == "[]"
