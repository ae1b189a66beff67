"""Pointing to a folder of scans: what is there, how its names would be read, and taking it as a store.

The same page is the first thing seen where there is no catalogue yet.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from threading import Event
from time import monotonic
from typing import ClassVar

from rich.text import Text
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Button, Input, Label, Select, Static

from catalogue.indexing.crawl import crawl
from catalogue.indexing.guessing import guess_paths
from catalogue.indexing.stores import read_marker
from catalogue.operations.stores import StoreAdded, add_store, summarize
from catalogue.progress import Cancelled, data_size, never
from catalogue.records.database import Database
from catalogue.records.paths import shown
from catalogue.records.stores import KINDS
from catalogue.screens.asking import ask
from catalogue.screens.facts import line, lines
from catalogue.screens.filing import DISK_PATIENCE
from catalogue.screens.jobs import notice, start_index
from catalogue.screens.keys import bindings
from catalogue.screens.page import Page
from catalogue.screens.rows import Column, RowTable
from catalogue.screens.tick import Tick
from catalogue.screens.wording import cell, counted, number, safe
from catalogue.settings import Settings

LOOK_SECONDS = 4.0   # a first look; indexing counts to the end
SAMPLES = 2000      # names that are guessed together


@dataclass(frozen=True, slots=True)
class Look:
    """What a first look at a folder found. ``whole``: it came to the end within its time."""

    folder: Path
    kinds: tuple[tuple[str, int], ...]
    files: int
    bytes: int
    whole: bool
    samples: tuple[str, ...]
    obstacles: int
    marked: bool


def folders_in(folder: Path) -> list[Path]:
    """Folders right below, by name; hidden ones left out. Empty where it cannot be read."""
    try:
        return sorted((entry for entry in folder.iterdir() if not entry.name.startswith(".") and entry.is_dir()),
                      key=lambda entry: entry.name.casefold())
    except OSError:  # no such folder, or not ours to see: there is nothing to offer
        return []


def look(folder: Path, settings: Settings, cancelled: Cancelled = never) -> Look:
    """Count pictures by suffix, for a few seconds at most, and keep some names spread over the folder."""
    kinds: Counter[str] = Counter()
    size = obstacles = 0
    samples: list[str] = []
    last = ""
    whole = True
    begun = monotonic()

    def stumble(_: object) -> None:
        nonlocal obstacles
        obstacles += 1

    for path, length, _ in crawl(folder, settings.ignore, stumble):
        kinds[Path(shown(path)).suffix.lower() or "no suffix"] += 1
        size += length
        parent = path.rpartition("/")[0]
        if parent != last and len(samples) < SAMPLES:
            samples.append(path)
            last = parent
        if cancelled() or monotonic() - begun > LOOK_SECONDS:
            whole = False
            break
    return Look(folder, tuple(kinds.most_common()), sum(kinds.values()), size, whole, tuple(samples), obstacles,
                read_marker(folder) is not None)


def mounted() -> Iterator[Path]:
    """Places where disks and shares usually appear, and the person's own folder."""
    yield Path.home()
    for top in (Path("/Volumes"), Path("/media"), Path("/run/media"), Path("/mnt")):
        for volume in folders_in(top):
            below = folders_in(volume)
            yield from below if top.name == "media" and below else [volume]


class AddStorePage(Page):
    """Folder on the left, what is in it on the right, one button."""

    PLACE = "adding"
    MODE = "stores"
    BINDINGS: ClassVar[list[BindingType]] = bindings("adding")

    def __init__(self, *, first: bool = False) -> None:
        super().__init__()
        self._first = first
        self._look: Look | None = None
        self._named = False
        self._stale = Event()

    def body(self) -> Iterable[Widget]:
        hello = "Welcome. This is an empty catalogue.\nPoint to the folder, disk or share that holds your scans." \
            if self._first else "Add a store: a folder, disk or share that holds scans."
        hello += " Nothing in it is changed, but for one small marker file if you agree."
        yield Static(hello, id="adding-hello", markup=False)
        with Horizontal(id="adding"):
            with Vertical(id="adding-left"):
                yield Input(placeholder="Folder, such as /Volumes/Scans", id="folder", compact=True)
                yield RowTable[Path]([Column("", 0)], id="folders")
            with Vertical(id="adding-right"):
                with VerticalScroll(can_focus=False):
                    yield Static("", id="found", markup=False)
                with Vertical(id="adding-form"):
                    with Horizontal():
                        yield Label("Name ")
                        yield Input(id="name", compact=True)
                    with Horizontal():
                        yield Label("Kind ")
                        yield Select([(kind, kind) for kind in KINDS], value="primary", allow_blank=False, id="kind",
                                     compact=True)
                    yield Tick("Write the marker, to know the disk again", value=True, id="consent", compact=True)
                    yield Button("Take this folder and read it", id="take", compact=True, disabled=True)

    def on_mount(self) -> None:
        self._offer(None)
        self.query_one("#folder", Input).focus()

    def _offer(self, folder: Path | None) -> None:
        """List folders to go into."""
        def listing(_: object) -> list[Path]:
            return [folder.parent, *folders_in(folder)] if folder is not None else list(mounted())

        def show(found: list[Path]) -> None:
            def cells(entry: Path) -> list[Text]:
                return [cell(".." if folder is not None and entry == folder.parent else
                             entry.name if folder is not None else entry)]

            self.query_one("#folders", RowTable).set_rows(found, cells)

        ask(self, self.shop.plain_lanes["folders"], listing, show, group="folders",
            holds=self.query_one("#folders"), patience=DISK_PATIENCE)

    def on_input_changed(self, event: Input.Changed) -> None:
        if event.input.id == "folder":
            self._look_at(event.value)
        elif event.input.id == "name" and event.input.has_focus:
            self._named = True

    def _look_at(self, text: str) -> None:
        folder = Path(text.strip()).expanduser() if text.strip() else None
        self._look = None
        self.query_one("#take", Button).disabled = True
        found = self.query_one("#found", Static)
        if folder is None or not folder.is_absolute():
            found.update("")
            self._offer(None)
            return
        settings = self.shop.home.settings

        self._stale.set()
        self._stale = stale = Event()

        def job(_: object) -> Look | None:
            return look(folder, settings, stale.is_set) if folder.is_dir() else None

        found.update("Looking …")
        ask(self, self.shop.plain_lanes["look"], job, lambda seen: self._show_look(seen, folder), group="look",
            holds=self.query_one("#take"))
        self._offer(folder)

    def _show_look(self, seen: Look | None, folder: Path) -> None:
        if seen is None:
            self.query_one("#found", Static).update("There is no such folder.")
            return
        self._look = seen
        if not self._named:
            self.query_one("#name", Input).value = safe(folder.name) or "scans"
        self.query_one("#take", Button).disabled = False
        self.query_one("#found", Static).update(look_words(seen, self.shop.home.settings))

    def on_row_table_chosen(self, _: RowTable.Chosen) -> None:
        self.action_enter_folder()

    def action_enter_folder(self) -> None:
        """Go into the folder under the cursor."""
        folder = self.query_one("#folders", RowTable).pointed
        if folder is not None:
            self.query_one("#folder", Input).value = str(folder)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if event.input.id == "folder":
            self.query_one("#take" if self._look else "#folders").focus()
        else:
            self.action_take()

    def on_button_pressed(self, _: Button.Pressed) -> None:
        self.action_take()

    def action_take(self) -> None:
        """Add the store, then read it."""
        seen = self._look
        if seen is None:
            self.shop.say("Point to a folder first.", "warning")
            return
        name = self.query_one("#name", Input).value.strip()
        kind = str(self.query_one("#kind", Select).value)
        consent = self.query_one("#consent", Tick).value
        if not name:
            self.shop.say("Give the store a name.", "warning")
            return

        home = self.shop.home

        def job(db: Database) -> StoreAdded:
            return add_store(db, home, name, seen.folder, kind, consent=consent)

        self.shop.writes.add(f"the store {safe(name)}", job, self._taken, holds=self)

    def _taken(self, done: StoreAdded) -> None:
        self.shop.say(notice(summarize(done)))
        self.shop.changes.look_at_disks()
        start_index(self.shop, [done.store.name])
        self.shop.store_added()


def look_words(seen: Look, settings: Settings) -> Content:
    """What is in the folder, and how the first names would be read."""
    more = "" if seen.whole else "at least "
    if not seen.files:
        return line(f"No pictures found{'' if seen.whole else ' yet; it is a large folder'}.")
    kinds = ", ".join(f"{number(count)} {suffix}" for suffix, count in seen.kinds[:6])
    found = [line(("✓ ", "$success"), (f"{more}{counted(seen.files, 'picture')}", "bold"),
                  f", {data_size(seen.bytes)}"), line((kinds, "$quiet"))]
    if seen.obstacles:
        found.append(line(("! ", "bold $warning"), f"{counted(seen.obstacles, 'folder or link', 'folders or links')} "
                          "could not be entered; indexing will list them"))
    if seen.marked:
        found.append(line(("= ", "bold"), "this disk has a marker already and will be known by it"))
    found += [Content(""), line(("How names are read", "bold"), (" where the files themselves say nothing", "$quiet"))]
    named = [(path, guess) for path, guess in zip(seen.samples, guess_paths(seen.samples, settings.place_rules),
                                                  strict=True) if guess.artist or guess.title]
    for path, guess in named[:14]:
        found.append(line(shown(path).rpartition("/")[2], ("  →  ", "$quiet"),
                          (", ".join(filter(None, (guess.artist, guess.title, guess.year))), "$primary")))
    unread = len(seen.samples) - len(named)
    if unread:
        found.append(line(("? ", "bold"), f"{unread} of {len(seen.samples)} names say neither artist nor piece; they "
                          "are found as unsorted. To read them your way: place_rules in settings.toml."))
    return lines(found)
