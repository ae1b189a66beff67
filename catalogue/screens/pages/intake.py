"""Intake: new scans from a USB stick or folder, proposed, answered, then copied, verified and recorded."""

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from rich.text import Text
from textual import events
from textual.binding import BindingType
from textual.containers import Container, Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Button, Input, Select, Static

from catalogue.intake.proposals import Kind, Plan, Proposal, apart_from_stores, with_answers
from catalogue.intake.removing import places_wanted
from catalogue.progress import data_size
from catalogue.reading.model import Reading
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.records.paths import display_path, escape_path
from catalogue.records.stores import Store
from catalogue.screens.background.folder_watch import FolderNews, FolderWatch, FolderWatchEnded
from catalogue.screens.background.jobs import after_taking_in, panel_text, start_proposing, start_taking_in
from catalogue.screens.dialogs.capture_plan import CapturePlanDialog
from catalogue.screens.dialogs.confirm import ConfirmDialog, MessageDialog
from catalogue.screens.dialogs.proposal_answers import AnswerDialog, Answers
from catalogue.screens.keys import bindings
from catalogue.screens.page import Page
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.formats import cell, counted, safe
from catalogue.screens.texts.intake import BEFORE, WATCHING, proposal_words, watched_words
from catalogue.screens.widgets.row_table import Column, RowTable
from catalogue.screens.widgets.tick import Tick
from catalogue.screens.widgets.watched_table import WatchedScan, WatchedTable

if TYPE_CHECKING:
    from catalogue.intake.mosaic import TileMap
    from catalogue.operations.intake import ImportedScans

MAP_ROWS = 16


def identity(proposal: Proposal) -> object:
    """What an original is known by, whatever is answered about it: its files."""
    return tuple(item.arrival.path for item in proposal.items)


class IntakePage(Page):
    """Folder and store on top, one row an original (or, under watch, one row a scan), details and picture below."""

    PLACE = "intake"
    MODE = "intake"
    BINDINGS: ClassVar[list[BindingType]] = bindings("intake")

    def __init__(self) -> None:
        super().__init__()
        self._plan: Plan | None = None
        self._stores: list[Store] = []
        self._watcher: FolderWatch | None = None
        self._watched: FolderWatch | None = None    # whose plan waits for the end of other long work
        self._to_tell = ""  # what became of the last intake, while another page is shown

    def body(self) -> Iterable[Widget]:
        with Horizontal(id="intake-top"):
            yield Input(placeholder="Folder of new scans: a USB stick, card or download folder", id="intake-folder",
                        compact=True)
            yield Select[str]([], prompt="into store", id="intake-store", compact=True)
        with Horizontal(id="intake-choices"):
            yield Button("Watch the folder", id="intake-watch", compact=True)
            yield Tick("copies to", value=True, id="intake-also", compact=True)
            yield Tick("remove from the folder afterwards", id="intake-remove", compact=True)
        yield Container(
            WatchedTable(id="watched"),
            RowTable[Proposal]([Column("", 1), Column("What", 24, least=60), Column("Artist", 0), Column("Piece", 0),
                             Column("Files", 5, right=True), Column("Size", 9, least=70, right=True)], id="proposals"),
            Horizontal(VerticalScroll(Static("", id="proposal-words", markup=False), id="proposal-scroll"),
                       Picture(id="proposal-picture"), id="proposal"),
            id="intake")

    def on_mount(self) -> None:
        self.query_one("#proposals", RowTable).set_title("New scans")
        self.query_one("#watched").display = False
        self._say(Content(BEFORE))
        self.catalogue_changed()
        self.query_one("#intake-folder", Input).focus()

    def on_unmount(self) -> None:
        if self._watcher is not None:
            self._watcher.leave()

    def on_screen_resume(self, _: events.ScreenResume) -> None:
        self._tell()

    def _tell(self) -> None:
        if self._to_tell:
            self.app.push_screen(MessageDialog("Imported", self._to_tell))
            self._to_tell = ""

    def on_resize(self, _: events.Resize) -> None:
        self.call_after_refresh(self._point_again)

    def _point_again(self) -> None:
        """Draw the details for the present room."""
        table = self._list
        if table.highlighted is not None:
            self._show_details(table.highlighted)

    @property
    def _list(self) -> RowTable[Any]:
        """The list that is shown."""
        return self.query_one("#proposals" if self._watcher is None else "#watched", RowTable)

    def _say(self, text: Content) -> None:
        self.query_one("#proposal-words", Static).update(text)
        self.query_one("#proposal-scroll").scroll_home(animate=False)

    @property
    def _room(self) -> tuple[int, int]:
        """Columns and rows for the map of tiles: all of it to be seen, and on a large screen what stands below too."""
        size = self.query_one("#proposal-scroll").size
        return max(20, size.width - 1), min(max(8, size.height - 1), MAP_ROWS)

    def catalogue_changed(self) -> None:
        if self._watched is not None and self.catalogue_app.work is None:
            self._open_watched()

        def show(all_stores: list[Store]) -> None:
            if [store.name for store in all_stores] == [store.name for store in self._stores]:
                return
            self._stores = all_stores
            select = self.query_one("#intake-store", Select)
            select.set_options([(safe(store.name), store.name) for store in all_stores])
            first = next((store.name for store in all_stores if store.kind == "primary"), None)
            if first is not None:
                select.value = first

        self.ask(stores.listed, show, group="stores")

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self.action_look()

    def action_plan(self) -> None:
        """How to capture an original."""
        self.app.push_screen(CapturePlanDialog())

    def action_leave_box(self) -> None:
        self._list.focus()

    @property
    def _asked(self) -> tuple[Path, str] | None:
        """Folder and store, once both are named; else the person is told."""
        text = self.query_one("#intake-folder", Input).value.strip()
        store = self.query_one("#intake-store", Select).value
        if not text or not isinstance(store, str):
            self.catalogue_app.say("Enter a folder and a store first.", "warning")
            return None
        return Path(text).expanduser().absolute(), store

    def action_look(self) -> None:
        """Read the folder and propose; under watch, end that first."""
        if self._watcher is not None:
            self.action_watch()
        elif asked := self._asked:
            start_proposing(self.catalogue_app, *asked, {}, self._show)

    # Under watch

    def action_watch(self) -> None:
        """Watch the folder, or end it."""
        if self._watcher is not None and self._watcher.ending:  # a share that hangs: on without it
            self._watcher.leave()
            self.on_folder_watch_ended(FolderWatchEnded(self._watcher, None))
            return
        if self._watcher is not None:
            self._watcher.stop()
            self.query_one("#intake-watch", Button).label = "Stopping …"
            return
        if self.catalogue_app.home.settings.read_only:
            self.catalogue_app.say("This workstation is read-only (read_only in settings.toml).", "warning")
            return
        if asked := self._asked:
            folder = asked[0]
            self.ask(lambda db: apart_from_stores(db, folder), lambda _: self._begin_watch(folder), group="watch")

    def _begin_watch(self, folder: Path) -> None:
        self._plan, self._watched = None, None
        self._watcher = FolderWatch(folder, self.catalogue_app.home.settings, self.post_message)
        self._turn(watching=True)
        self.query_one(WatchedTable).begin(folder)
        self._say(Content(WATCHING))
        self._watcher.thread.start()

    def _turn(self, *, watching: bool) -> None:
        """Show the list of the one or of the other."""
        self.query_one("#intake-watch", Button).label = "Stop watching" if watching else "Watch the folder"
        for name in ("#intake-folder", "#intake-store"):
            self.query_one(name).disabled = watching
        self.query_one("#watched").display = watching
        self.query_one("#proposals").display = not watching
        self.query_one("#proposals", RowTable).set_rows([], self._cells)
        self.query_one("#proposals", RowTable).set_title("New scans")
        self.query_one(Picture).show(None, "")
        self._list.focus()

    def on_folder_news(self, message: FolderNews) -> None:
        if message.watcher is not self._watcher:
            return
        news = message.news
        if news.kind in ("warning", "unfit", "away", "alone", "back"):
            self.catalogue_app.say(news.text, "information" if news.kind == "back" else "warning")
        if news.kind in ("warning", "unfit", "away"):
            self.app.bell()  # the person stands at the scanner
        if news.kind not in ("away", "back"):
            self.query_one(WatchedTable).add(news)

    def on_folder_watch_ended(self, message: FolderWatchEnded) -> None:
        if message.watcher is not self._watcher:
            return
        watcher, self._watcher = self._watcher, None
        self._turn(watching=False)
        if message.error is not None:
            self.catalogue_app.failed(message.error)
        if not self.query_one(WatchedTable).scans:
            self._say(Content(BEFORE))
            self.catalogue_app.say("Watching stopped; no scans arrived.")
            return
        self._watched = watcher
        self._open_watched()

    def _open_watched(self) -> None:
        """Open the plan of what was watched, at once or when the long work that runs has ended."""
        watcher, work = self._watched, self.catalogue_app.work
        if watcher is None:
            return
        if work is not None:
            self._say(Content(f"Watching has ended. The plan opens when this has finished: {work.name}."))
            return
        self._watched = None
        self._say(Content("Watching stopped. Ctrl-R reads the folder."))
        if asked := self._asked:
            start_proposing(self.catalogue_app, watcher.folder, asked[1], watcher.watch.readings, self._show)

    # The plan

    def _show(self, plan: Plan) -> None:
        first = self._plan is None or self._plan.folder != plan.folder
        self._plan = plan
        if self._watcher is not None:
            return  # a watch began meanwhile
        table = self.query_one("#proposals", RowTable)
        ready = sum(len(p.items) for p in plan.proposals if p.ready)
        table.set_title(f"New scans: {counted(ready, 'file')} ready" if plan.proposals else "No pictures there")
        table.show_rows(plan.proposals, self._cells, identity, keep=not first)
        if not plan.proposals:
            self._say(Content(BEFORE))
            self._show_picture(None, None)
        if first:
            table.focus()

    @staticmethod
    def _cells(p: Proposal) -> list[Text]:
        sign = "✓" if p.ready else "?" if p.questions else "–"
        return [cell(sign), cell(p.kind.value), cell(p.artist.value), cell(p.piece.value),
                cell(len(p.items), right=True), cell(data_size(p.size), right=True)]

    @property
    def _chosen(self) -> Proposal | None:
        """The original under the cursor."""
        return self.query_one("#proposals", RowTable).row_to_act_on if self._watcher is None else None

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.row is not None and event.table is self._list:
            self._show_details(event.row)

    def _show_details(self, row: "WatchedScan | Proposal") -> None:
        if isinstance(row, WatchedScan):
            self._say(watched_words(self.query_one(WatchedTable).scans, row, *self._room))
            self._show_picture(row.arrival.reading if row.arrival else None,
                               row.map if row.state == "complete" else None)
        else:
            self._say(proposal_words(row, *self._room))
            whole = next((i for i in reversed(row.items) if i.role == "master"), None) if row.tiles else None
            seen = next((i.arrival.reading for i in ([whole] if whole else row.items)
                         if i.arrival.reading.preview), None)
            self._show_picture(seen, row.tiles if whole else None)

    def _show_picture(self, seen: Reading | None, tiles: "TileMap | None") -> None:
        """A scan's preview, with its tiles outlined where it is their stitched master."""
        picture = seen.picture if seen else None
        self.query_one(Picture).show(seen.preview if seen else None, "",
                                     (picture.width, picture.height) if picture else None,
                                     tuple(place.box for place in tiles.places) if tiles else ())

    def on_row_table_selected(self, event: RowTable.Selected) -> None:
        if isinstance(event.row, Proposal):
            self._answer(event.row)

    def on_button_pressed(self, _: Button.Pressed) -> None:
        self.action_watch()

    def _change(self, proposal: Proposal, **said: Any) -> None:
        """Show the plan with what a person said of one original. The next key waits for it."""
        plan = self._plan
        proposals = plan.proposals if plan is not None else ()
        index = next((n for n, p in enumerate(proposals) if identity(p) == identity(proposal)), None)
        if plan is None or index is None:
            self.catalogue_app.say("That original is no longer in the plan. Read the folder again: Ctrl-R.",
                                   "warning")
            return

        def show(changed: Plan) -> None:
            if self._plan is plan:
                self._show(changed)
            else:
                self._change(proposal, **said)  # the folder was looked at again meanwhile

        job: Callable[[Database], Plan] = partial(with_answers, home=self.catalogue_app.home, plan=plan, index=index,
                                                  **said)
        self.ask_disks(job, show, group="answer", holds=self, exclusive=False)

    def action_answer(self) -> None:
        if self._chosen is not None:
            self._answer(self._chosen)

    def _answer(self, proposal: Proposal) -> None:
        if not proposal.take and not any(i.arrival.reading.sha256 for i in proposal.items):
            self.catalogue_app.say("This one cannot be imported.", "warning")
            return

        def said(answers: Answers | None) -> None:
            if answers is not None:
                self._change(proposal, artist=answers.artist, piece=answers.piece, role=answers.role,
                             capture=answers.capture)

        self.app.push_screen(AnswerDialog(proposal), said)

    def action_take_or_leave(self) -> None:
        chosen = self._chosen
        if chosen is not None:
            self._change(chosen, take=not chosen.take)

    def action_clear_after(self) -> None:
        self.query_one("#intake-remove", Tick).toggle()

    def action_go(self) -> None:
        """Copy what is ready, after a yes; remove from the folder what is held, only after another."""
        plan = self._plan
        if self._watcher is not None or plan is None:
            why = "Stop watching first: w." if self._watcher else "Nothing is ready to import yet."
            self.catalogue_app.say(why, "warning")
            return
        ready = [p for p in plan.proposals if p.ready]
        held = [p for p in plan.proposals if p.kind is Kind.HELD]
        removing = self.query_one("#intake-remove", Tick).value
        if not ready:
            if removing and held:
                self._ask_to_remove(plan, [], held)
            else:
                self.catalogue_app.say("Nothing is ready to import yet.", "warning")
            return
        also = [s.name for s in self._stores if s.kind != "primary" and s.name != plan.store
                and self.catalogue_app.changes.online.get(s.id, False)]\
            if self.query_one("#intake-also", Tick).value else []
        files, size = sum(len(p.items) for p in ready), sum(p.size for p in ready)
        waiting = sum(1 for p in plan.proposals if p.questions)
        after = "you will be asked again before anything is removed" if removing else "the folder is left unchanged"
        text = f"{counted(files, 'file')}, {data_size(size)}, into {safe(', '.join([plan.store, *also]))}. " \
               f"Every copy is read back and compared; {after}."
        if waiting:
            text += f"\n{counted(waiting, 'original')} with open questions will be skipped."

        def answered_(yes: bool | None) -> None:
            if yes and removing:
                self._ask_to_remove(plan, also, [*ready, *held])
            elif yes:
                self._take(plan, also, remove=False)

        self.app.push_screen(ConfirmDialog("Import these scans?", text, yes="Import"), answered_)

    def _ask_to_remove(self, plan: Plan, also: list[str], meant: list[Proposal]) -> None:
        """The second question, of its own; without a yes the folder stays, and what is new is imported all the same."""
        files, size = sum(len(p.items) for p in meant), sum(p.size for p in meant)
        settings = self.catalogue_app.home.settings
        stores_wanted = counted(places_wanted(settings), "store")
        apart = "" if settings.copies_on_one_disk else ", on different disks,"
        folder = safe(display_path(escape_path(str(plan.folder))))
        text = f"{counted(files, 'file')}, {data_size(size)}, from {folder}\n\n" \
               f"Each is removed only once {stores_wanted}{apart} hold a copy of it, every copy read back and " \
               "compared at that moment. Whatever is not proven safe stays, and the reason is shown. A file removed " \
               "does not come back."

        def said(yes: bool | None) -> None:
            if yes or any(p.ready for p in meant):
                self._take(plan, also, remove=bool(yes))

        self.app.push_screen(ConfirmDialog("Remove these from the folder afterwards?", text, yes="Remove them",
                                      no="Leave the folder unchanged", careful=True), said)

    def _take(self, plan: Plan, also: list[str], *, remove: bool) -> None:
        self.query_one("#intake-remove", Tick).value = False  # a choice for this once
        start_taking_in(self.catalogue_app, plan, also, remove, partial(self._taken, plan))

    def _taken(self, plan: Plan, done: "ImportedScans") -> None:
        meant = {i.arrival.path for p in plan.proposals if p.ready for i in p.items}
        if done.removing or any(item.path in meant for item in done.outcome.skipped):
            from catalogue.operations.intake import summarize

            self._to_tell = panel_text([*summarize(done), *after_taking_in(done)])
            if self.is_current:
                self._tell()
        self._plan = None
        known: Mapping[Path, Reading] = {i.arrival.path: i.arrival.reading for p in plan.proposals for i in p.items}
        start_proposing(self.catalogue_app, plan.folder, plan.store, known, self._show)
