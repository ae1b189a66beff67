"""Intake: new scans from a USB stick or folder, proposed, answered, then copied, verified and recorded."""

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from textual import events
from textual.containers import Container
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input

from catalogue.intake.proposals import Kind, Plan, Proposal, apart_from_stores, with_answers
from catalogue.intake.watching import News
from catalogue.reading.model import Reading
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.screens.actions.importing import confirm_import
from catalogue.screens.background.folder_watch import FolderWatch
from catalogue.screens.background.jobs import after_taking_in, panel_text, start_proposing, start_taking_in
from catalogue.screens.dialogs.capture_plan import CapturePlanDialog
from catalogue.screens.dialogs.confirm import MessageDialog
from catalogue.screens.dialogs.proposal_answers import AnswerDialog, Answers
from catalogue.screens.page import Page
from catalogue.screens.widgets.intake_choices import IntakeChoices
from catalogue.screens.widgets.intake_tables import ProposalTable, WatchedTable, identity
from catalogue.screens.widgets.row_table import RowTable
from catalogue.screens.widgets.scan_details import BEFORE, WATCHING, ScanDetails

if TYPE_CHECKING:
    from catalogue.operations.intake import ImportedScans

NO_SCANS = "Watching stopped; no scans arrived."


class IntakePage(Page):
    """Folder and store on top, one row an original (or, under watch, one row a scan), details and picture below."""

    KEY_CONTEXT = "intake"
    MODE = "intake"

    def __init__(self) -> None:
        super().__init__()
        self._plan: Plan | None = None
        self._watcher: FolderWatch | None = None
        self._watched: FolderWatch | None = None    # whose plan waits for the end of other long work
        self._to_tell = ""  # what became of the last intake, while another page is shown
        self._choices, self._details = IntakeChoices(), ScanDetails(id="proposal")
        self._came, self._proposed = WatchedTable(id="watched"), ProposalTable(id="proposals")

    def body(self) -> Iterable[Widget]:
        yield self._choices
        yield Container(self._came, self._proposed, self._details, id="intake")

    def on_mount(self) -> None:
        self._came.display = False
        self._details.say(Content(BEFORE))
        self.catalogue_changed()
        self._choices.folder.focus()

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
        if self._list.highlighted is not None:
            self._details.show(self._list.highlighted, self._came.scans)

    @property
    def _list(self) -> RowTable[Any]:
        """The visible list."""
        return self._proposed if self._watcher is None else self._came

    def catalogue_changed(self) -> None:
        if self._watched is not None and self.app.work is None:
            self._open_watched()

        self.ask(stores.listed, self._choices.offer, group="stores")

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self.action_look()

    def action_plan(self) -> None:
        self.app.push_screen(CapturePlanDialog())

    def action_leave_box(self) -> None:
        self._list.focus()

    @property
    def _asked(self) -> tuple[Path, str] | None:
        """Folder and store if both are named; otherwise says what is missing."""
        chosen = self._choices.chosen
        if chosen is None:
            self.app.say("Enter a folder and a store first.", "warning")
        return chosen

    def action_look(self) -> None:
        """Read the folder and propose; under watch, end that first."""
        if self._watcher is not None:
            self.action_watch()
        elif asked := self._asked:
            start_proposing(self.app, *asked, {}, self._show)

    # Under watch

    def action_watch(self) -> None:
        """Watch the folder, or end it."""
        if self._watcher is not None and self._watcher.ending:  # a share that hangs: on without it
            self._watcher.leave()
            self._watch_ended(self._watcher, None)
            return
        if self._watcher is not None:
            self._watcher.stop()
            self._choices.show_watch("Stopping …", watching=True)
            return
        if self.app.home.settings.read_only:
            self.app.say("This workstation is read-only (read_only in settings.toml).", "warning")
            return
        if asked := self._asked:
            folder = asked[0]
            self.ask(lambda db: apart_from_stores(db, folder), lambda _: self._begin_watch(folder), group="watch")

    def _begin_watch(self, folder: Path) -> None:
        self._plan, self._watched = None, None
        self._watcher = FolderWatch(folder, self.app.home.settings, self, self._show_news, self._watch_ended)
        self._turn(watching=True)
        self._came.begin(folder)
        self._details.say(Content(WATCHING))
        self._watcher.thread.start()

    def _turn(self, *, watching: bool) -> None:
        """Show the list of the one or of the other."""
        self._choices.show_watch("Stop watching" if watching else "Watch the folder", watching=watching)
        self._came.display = watching
        self._proposed.display = not watching
        self._proposed.clear()
        self._details.show_picture(None, None)
        self._list.focus()

    def _show_news(self, watcher: FolderWatch, news: News) -> None:
        if watcher is not self._watcher:
            return
        if news.kind in ("warning", "unfit", "away", "alone", "back"):
            self.app.say(news.text, "information" if news.kind == "back" else "warning")
        if news.kind in ("warning", "unfit", "away"):
            self.app.bell()  # the person is at the scanner
        if news.kind not in ("away", "back"):
            self._came.add(news)

    def _watch_ended(self, watcher: FolderWatch, error: Exception | None) -> None:
        if watcher is not self._watcher:
            return
        self._watcher = None
        self._turn(watching=False)
        if error is not None:
            self.app.failed(error)
        if not self._came.scans:
            self._details.say(Content(BEFORE))
            self.app.say(NO_SCANS)
            return
        self._watched = watcher
        self._open_watched()

    def _open_watched(self) -> None:
        """Open the plan of what was watched, at once or when the long work that runs has ended."""
        watcher, work = self._watched, self.app.work
        if watcher is None:
            return
        if work is not None:
            self._details.say(Content(f"Watching has ended. The plan opens when this has finished: {work.name}."))
            return
        self._watched = None
        self._details.say(Content("Watching stopped. Ctrl-R reads the folder."))
        if asked := self._asked:
            start_proposing(self.app, watcher.folder, asked[1], watcher.watch.readings, self._show)

    # The plan

    def _show(self, plan: Plan) -> None:
        first = self._plan is None or self._plan.folder != plan.folder
        self._plan = plan
        if self._watcher is not None:
            return  # a watch began meanwhile
        self._proposed.show_plan(plan, keep=not first)
        if not plan.proposals:
            self._details.say(Content(BEFORE))
            self._details.show_picture(None, None)
        if first:
            self._proposed.focus()

    @property
    def _chosen(self) -> Proposal | None:
        """The original under the cursor; if there is none, says what to do first."""
        row = self._proposed.row_to_act_on if self._watcher is None else None
        if row is None:
            self.app.say("Stop watching the folder first: w." if self._watcher else
                         "Type the folder of new scans first, then press Enter.", "warning")
        return row

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.row is not None and event.table is self._list:
            self._details.show(event.row, self._came.scans)

    def _change(self, proposal: Proposal, **answers: Any) -> None:
        """Show the plan with a person's answer for one original. The next key waits for it."""
        plan = self._plan
        proposals = plan.proposals if plan is not None else ()
        index = next((n for n, p in enumerate(proposals) if identity(p) == identity(proposal)), None)
        if plan is None or index is None:
            self.app.say("That original is no longer in the plan. Read the folder again: Ctrl-R.",
                                   "warning")
            return

        def show(changed: Plan) -> None:
            if self._plan is plan:
                self._show(changed)
            else:
                self._change(proposal, **answers)  # the folder was looked at again meanwhile

        job: Callable[[Database], Plan] = partial(with_answers, home=self.app.home, plan=plan, index=index,
                                                  **answers)
        self.ask(job, show, group="answer", thread="disks", holds=self, exclusive=False)

    def action_answer(self) -> None:
        proposal = self._chosen
        if proposal is not None:
            self._answer(proposal)

    def _answer(self, proposal: Proposal) -> None:
        if self._is_held(proposal):
            return
        if not proposal.take and not any(i.arrival.reading.sha256 for i in proposal.items):
            self.app.say("This one cannot be imported.", "warning")
            return

        def answered(answers: Answers | None) -> None:
            if answers is not None:
                self._change(proposal, artist=answers.artist, piece=answers.piece, role=answers.role,
                             capture=answers.capture)

        self.app.push_screen(AnswerDialog(proposal), answered)

    def action_take_or_leave(self) -> None:
        chosen = self._chosen
        if chosen is not None and not self._is_held(chosen):
            self._change(chosen, take=not chosen.take)

    def _is_held(self, proposal: Proposal) -> bool:
        """Whether there is nothing to import, which is said: the store holds it."""
        if proposal.kind is Kind.HELD:
            self.app.say("The store holds this file already. To correct how it is filed, find it with / and press F2.")
        return proposal.kind is Kind.HELD

    def action_clear_after(self) -> None:
        self._choices.removing.toggle()

    def action_go(self) -> None:
        plan = self._plan
        if self._watcher is not None or plan is None:
            why = "Stop watching first: w." if self._watcher else "Nothing is ready to import yet."
            self.app.say(why, "warning")
            return
        also = self._choices.copy_stores(plan.store, self.app.changes.online)
        confirm_import(self.app, plan, also, partial(self._take, plan, also),
                       removing=self._choices.removing.value)

    def _take(self, plan: Plan, also: list[str], remove: bool) -> None:
        self._choices.removing.value = False  # a choice for this once
        start_taking_in(self.app, plan, also, remove, partial(self._taken, plan))

    def _taken(self, plan: Plan, done: "ImportedScans") -> None:
        meant = {i.arrival.path for p in plan.proposals if p.ready for i in p.items}
        if done.removing or any(item.path in meant for item in done.outcome.skipped):
            from catalogue.operations.intake import summarize

            self._to_tell = panel_text([*summarize(done), *after_taking_in(done)])
            if self.is_current:
                self._tell()
        self._plan = None
        known: Mapping[Path, Reading] = {i.arrival.path: i.arrival.reading for p in plan.proposals for i in p.items}
        start_proposing(self.app, plan.folder, plan.store, known, self._show)
