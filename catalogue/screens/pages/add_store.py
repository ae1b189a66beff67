"""Choosing a folder of scans: what is in it, how its names would be read, and adding it as a store.

Also the first page shown if there is no catalogue yet.
"""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from threading import Event

from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Button, Input, Label, Select, Static

from catalogue.errors import CatalogueError
from catalogue.operations.place_rules import Named, adopt_names, named_by_path
from catalogue.operations.stores import StoreAdded, add_store, summarize
from catalogue.progress import data_size
from catalogue.records.database import Database
from catalogue.records.stores import KINDS
from catalogue.screens.actions.files import DISK_PATIENCE
from catalogue.screens.background.folder_survey import FolderSurvey, folders_in, mounted, survey_folder
from catalogue.screens.background.jobs import notice, start_index
from catalogue.screens.page import Page
from catalogue.screens.pages.names import NamesPage, Reading, reading_of
from catalogue.screens.texts.filed_names import filed_rows, under_names
from catalogue.screens.texts.formats import counted, line, lines, number, safe
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable
from catalogue.screens.widgets.tick import Tick
from catalogue.settings import Home


class AddStorePage(Page):
    """Folder on the left, what is in it on the right, one button."""

    KEY_CONTEXT = "adding"
    MODE = "stores"

    def __init__(self, *, first: bool = False) -> None:
        super().__init__()
        self._first = first
        self._look: FolderSurvey | None = None
        self._named = False
        self._reading = Reading()
        self._stale = Event()
        self._offered_in: Path | None = None    # the folder whose folders are listed; None: where disks appear
        self._folder = Input(placeholder="such as /Volumes/Scans", id="folder", compact=True)
        self._folders = RowTable[Path]([Column("", 0, self._entry_name)], id="folders")
        self._found = Static("", id="found", markup=False)
        self._store_name = Input(id="name", compact=True)
        self._store_kind = Select([(kind, kind) for kind in KINDS], value="primary", allow_blank=False, id="kind",
                            compact=True)
        self._consent = Tick("Write a marker to recognise the disk", value=True, id="consent", compact=True)
        self._button = Button("Add this folder and read it", id="take", compact=True, disabled=True)

    def body(self) -> Iterable[Widget]:
        hello = "Welcome. This is an empty catalogue.\nChoose the folder, disk or share that holds your scans." \
            if self._first else "Add a store: a folder, disk or share that holds scans."
        hello += " Nothing in it is changed, apart from one small marker file if you agree."
        yield Static(hello, id="adding-hello", markup=False)
        with Horizontal(id="adding"):
            yield Vertical(self._folder, self._folders, id="adding-left")
            with Vertical(id="adding-right"):
                yield VerticalScroll(self._found, can_focus=False)
                with Vertical(id="adding-form"):
                    yield Horizontal(Label("Name "), self._store_name)
                    yield Horizontal(Label("Kind "), self._store_kind)
                    yield self._consent
                    yield self._button

    def on_mount(self) -> None:
        self._reading = reading_of(self.app.home.settings.place_rules)
        self._offer(None)
        self._folder.focus()

    def _offer(self, folder: Path | None) -> None:
        """List the folders to open."""
        def listing() -> list[Path]:
            return [folder.parent, *folders_in(folder)] if folder is not None else list(mounted())

        def show(folders: list[Path]) -> None:
            self._offered_in = folder
            self._folders.set_rows(folders)

        self.ask_plain("folders", listing, show, group="folders", holds=self._folders, patience=DISK_PATIENCE)

    def _entry_name(self, entry: Path) -> object:
        if self._offered_in is None:
            return entry
        return ".." if entry == self._offered_in.parent else entry.name

    def on_input_changed(self, event: Input.Changed) -> None:
        if event.input is self._folder:
            self._look_at(event.value)
        elif event.input is self._store_name and self._store_name.has_focus:
            self._named = True

    def _look_at(self, text: str) -> None:
        folder = Path(text.strip()).expanduser() if text.strip() else None
        self._look = None
        self._button.disabled = True
        if folder is None or not folder.is_absolute():
            self._found.update("")
            self._offer(None)
            return
        settings = self.app.home.settings

        self._stale.set()
        self._stale = stale = Event()

        def job() -> FolderSurvey | None:
            return survey_folder(folder, settings, stale.is_set) if folder.is_dir() else None

        self._found.update("Looking …")
        self.ask_plain("look", job, lambda seen: self._show_look(seen, folder), group="look", holds=self._button)
        self._offer(folder)

    def _show_look(self, seen: FolderSurvey | None, folder: Path) -> None:
        if seen is None:
            self._found.update("There is no such folder.")
            return
        self._look = seen
        self._read_names(seen)
        if not self._named:
            self._store_name.value = safe(folder.name) or "scans"
        self._button.disabled = False

    def _read_names(self, seen: FolderSurvey) -> None:
        """Show how the names found would be read."""
        reading = self._reading
        rules, names = reading.rules, dict(reading.names)

        def show(named: Named) -> None:
            if self._look is seen:
                self._found.update(survey_text(seen, under_names(named, names, reading.titles)))

        self._found.update(survey_text(seen, None))
        if seen.files:
            self.ask_plain("names", lambda: named_by_path(seen.previewed, rules), show, group="named")

    def action_names(self) -> None:
        """Show how all names are read, and let that be corrected."""
        seen = self._look
        if seen is None or not seen.files:
            self.app.say("Choose a folder with pictures first.", "warning")
            return
        paths = seen.previewed
        title = f"How {counted(len(paths), 'file')} would be filed by their names alone. Nothing is changed yet."

        def use(reading: Reading) -> None:
            self._reading = reading
            self.app.pop_screen()
            self._read_names(seen)

        def source(rules: Sequence[str]) -> Callable[[object], Named]:
            return lambda _: named_by_path(paths, rules)

        self.app.push_screen(NamesPage(title, source, self.app.plain_threads["names"], self._reading, use))

    def action_enter_folder(self) -> None:
        folder = self._folders.highlighted
        if folder is not None:
            self._folder.value = str(folder)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        if event.input is self._folder:
            (self._button if self._look else self._folders).focus()
        else:
            self.action_take()

    def on_button_pressed(self, _: Button.Pressed) -> None:
        self.action_take()

    def action_take(self) -> None:
        seen = self._look
        if seen is None:
            self.app.say("Choose a folder first.", "warning")
            return
        name, kind, consent = self._store_name.value.strip(), str(self._store_kind.value), self._consent.value
        if not name:
            self.app.say("Give the store a name.", "warning")
            return

        home, reading = self.app.home, self._reading

        def job(db: Database) -> tuple[StoreAdded, Home, str]:
            done = add_store(db, home, name, seen.folder, kind, consent=consent)
            try:
                return done, adopt_names(db, home, reading.rules, dict(reading.names), reading.titles), ""
            except CatalogueError as error:     # the store was added all the same
                return done, home, f"The names are read as before: {error}"

        self.record(f"the store {safe(name)}", job, self._taken)

    def _taken(self, done: tuple[StoreAdded, Home, str]) -> None:
        app = self.app
        added, app.home, trouble = done
        app.say(notice([*summarize(added), *filter(None, [trouble])]), "warning" if trouble else "information")
        app.changes.look_at_disks()
        start_index(app, [added.store.name])
        if app.current_mode == "first":
            app.switch_mode("browse")
        else:
            app.pop_screen()
            app.changed()


def survey_text(seen: FolderSurvey, named: Named | None) -> Content:
    """What is in the folder, and how its names would be read, once that is known."""
    more = "" if seen.whole else "at least "
    if not seen.files:
        return line(f"No pictures found{'' if seen.whole else ' yet; it is a large folder'}.")
    kinds = ", ".join(f"{number(count)} {suffix}" for suffix, count in seen.kinds[:6])
    paragraphs = [line(("✓ ", "$success"), (f"{more}{counted(seen.files, 'picture')}", "bold"),
                  f", {data_size(seen.bytes)}"), line((kinds, "$quiet"))]
    if seen.obstacles:
        paragraphs.append(line(("! ", "bold $warning"),
                               f"{counted(seen.obstacles, 'folder or link', 'folders or links')} "
                          "could not be opened; indexing will list them"))
    if seen.marked:
        paragraphs.append(line(("= ", "bold"), "this disk already has a marker and will be recognised by it"))
    paragraphs += [Content(""),
                   line(("How names will be read", "bold"), (" where the files themselves say nothing", "$quiet"))]
    if named is None:
        return lines([*paragraphs, line(("Reading the names …", "$quiet"))])
    rows = filed_rows(named)
    artists, pieces = sum(not row.is_piece for row in rows), sum(row.is_piece and bool(row.title) for row in rows)
    part = "" if len(named) == seen.files else f", from {counted(len(named), 'file')}"
    paragraphs.append(line((f"{counted(artists, 'artist')}, {counted(pieces, 'piece')}", "bold"), f"{part}. ",
                      ("^n shows and corrects them.", "$quiet")))
    shown_rows = [row for row in rows if row.title][:9]
    paragraphs += [line(row.title, ("  by ", "$quiet"), (", ".join(filter(None, (row.artist, row.year))), "$primary"))
              for row in shown_rows]
    unread = sum(len(row.paths) for row in rows if row.is_piece and not row.title)
    if unread:
        paragraphs.append(line(("? ", "bold"), f"{counted(unread, 'file')} would be unsorted."))
    return lines(paragraphs)
