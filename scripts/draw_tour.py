"""Draw the tour of the screens as SVG pictures for the README.

    python scripts/draw_tour.py [FOLDER]      into .tour/ of the checkout, or FOLDER

The demo archive is painted, if it is not yet, and indexed into a catalogue that is thrown away, as ``catalogue demo``
does it. Each screen is drawn once it is still.
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
    "search": ("browse", ("/", *"harbor")),
    "piece": ("browse", ("/", *"low water", "enter")),
    "repeat": ("browse", ("/", *"three kites", "enter", "r")),
    "alike": ("alike", ("enter", "down")),
    "audit": ("audit", ("right", "down")),
    "health": ("health", ()),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, nargs="?", default=ROOT / ".tour")
    parser.add_argument("--archive", type=Path, help="another archive than the demo's")
    parser.add_argument("--catalogue", type=Path, help="draw this catalogue instead of the demo archive's")
    asked = parser.parse_args()
    from catalogue.settings import Home

    asked.folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as temporary:
        home = Home(asked.catalogue) if asked.catalogue else filled(Path(temporary), asked.archive)
        for name, (mode, keys) in TOUR.items():
            picture = asyncio.run(drawn(home, mode, keys))
            (asked.folder / f"{name}.svg").write_text(picture, encoding="utf-8")
            print(f"{name}.svg  {len(picture) / 1000:.0f} kB")


def filled(folder: Path, archive: Path | None) -> "Home":
    """The demo archive, or another, in a catalogue of its own."""
    from catalogue.commands.demo import fill_catalogue, painted_archive
    from catalogue.settings import Home, Settings

    home = Home(folder / "home", Settings(copies_on_one_disk=True))
    home.folder.mkdir()
    shutil.copytree(archive or painted_archive(), folder / "disks")
    db, _ = fill_catalogue(home, folder / "disks")
    db.close()
    return home


async def drawn(home: "Home", mode: str, keys: Sequence[str]) -> str:
    """One screen as SVG, after its keys."""
    from catalogue.screens.app import CatalogueApp

    app = CatalogueApp(home, colours=True)
    async with app.run_test(size=SIZE) as pilot:
        await still(pilot)
        await app.action_show_page(mode)
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
