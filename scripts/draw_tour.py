"""Draw the tour of the screens as SVG pictures for the README.

    python scripts/draw_tour.py [FOLDER]      into .tour/ of the checkout, or FOLDER

The demo archive is indexed into a catalogue that is thrown away, look-alikes are compared, and each screen is drawn
once it is still.
"""

import argparse
import asyncio
import re
import shutil
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from catalogue.settings import Home

ROOT = Path(__file__).resolve().parents[1]
SIZE = (100, 30)
# name: place, keys one after the other
TOUR: dict[str, tuple[str, Sequence[str]]] = {
    "browse": ("browse", tuple(["down"] * 9)),
    "search": ("browse", ("/", *"harbor 40x28")),
    "piece": ("browse", ("/", *"low water", "enter")),
    "repeat": ("browse", ("/", *"three kites", "enter", "r")),
    "alike": ("alike", ("down", "down", "down", "down")),
    "audit": ("audit", ("right", "down")),
    "health": ("health", ()),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="?", default=ROOT / ".tour")
    parser.add_argument("--archive", type=Path, default=ROOT / "demo_archive")
    parser.add_argument("--catalogue", type=Path, help="draw this catalogue instead of the demo archive's")
    asked = parser.parse_args()
    from catalogue.settings import Home

    asked.folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place:
        home = Home(asked.catalogue) if asked.catalogue else filled(Path(place), asked.archive)
        for name, (mode, keys) in TOUR.items():
            picture = asyncio.run(drawn(home, mode, keys))
            (asked.folder / f"{name}.svg").write_text(picture, encoding="utf-8")
            print(f"{name}.svg  {len(picture) / 1000:.0f} kB")


def filled(folder: Path, archive: Path) -> "Home":
    """The demo archive in a catalogue of its own: indexed, orders in, look-alikes compared."""
    from catalogue.indexing.service import index
    from catalogue.indexing.stores import add_store
    from catalogue.ledger.importing import import_orders
    from catalogue.ledger.importing_editions import import_editions
    from catalogue.likeness.updating import update
    from catalogue.records.database import open_database
    from catalogue.settings import Home

    home = Home(folder / "home")
    shutil.copytree(archive, folder / "disks")
    db = open_database(home.database)
    stores = [add_store(db, name, folder / "disks" / place, kind, consent=True)
              for name, place, kind in (("main disk", "main-disk", "primary"), ("copy disk", "copy-disk", "copy"))]
    index(db, home, stores)
    import_editions(db, home.settings, folder / "disks" / "editions.csv")
    import_orders(db, home.settings, folder / "disks" / "orders.csv")
    update(db, home)
    db.close()
    return home


async def drawn(home: "Home", mode: str, keys: Sequence[str]) -> str:
    """One screen as SVG, after its keys."""
    from catalogue.screens.app import CatalogueApp

    app = CatalogueApp(home, colours=True)
    async with app.run_test(size=SIZE) as pilot:
        await still(pilot)
        await app.action_place(mode)
        await still(pilot)
        for key in keys:
            await pilot.press({"/": "slash", " ": "space"}.get(key, key))
        await still(pilot)
        picture = app.export_screenshot(title="catalogue")
    app.close_threads()
    return plain(picture)


async def still(pilot: "Pilot[None]", seconds: float = 60.0) -> None:
    """Wait until nobody works and nothing has changed for a moment."""
    end, quiet = time.monotonic() + seconds, 0
    while quiet < 8:
        await pilot.pause(0.05)
        quiet = quiet + 1 if all(worker.is_finished for worker in pilot.app.workers) else 0
        if time.monotonic() > end:
            raise TimeoutError("the screen does not come to rest")


def plain(picture: str) -> str:
    """Without fonts from elsewhere, and with every space kept, so that it reads the same in any viewer."""
    picture = re.sub(r"@font-face\s*\{.*?\}", "", picture, flags=re.DOTALL)
    return picture.replace("<text ", '<text xml:space="preserve" ')


if __name__ == "__main__":
    main()
