"""Intake: new scans from a key or folder, proposed, answered, then copied, verified and recorded."""

from collections.abc import Callable, Iterable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from rich.text import Text
from textual.binding import BindingType
from textual.containers import Container, Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Checkbox, Input, Select, Static

from catalogue.intake.proposals import Plan, Proposal, answered
from catalogue.progress import data_size
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.records.paths import kept, shown
from catalogue.records.stores import Store
from catalogue.screens.answering import AnswerDialog, Answers
from catalogue.screens.dialogs import Question
from catalogue.screens.facts import line, lines
from catalogue.screens.jobs import start_proposing, start_taking_in
from catalogue.screens.keys import bindings
from catalogue.screens.page import Page
from catalogue.screens.picture import Picture
from catalogue.screens.rows import Column, RowTable
from catalogue.screens.wording import cell, counted, safe

if TYPE_CHECKING:
    from catalogue.intake.applying import Outcome


class IntakePage(Page):
    """Folder and store on top, one row an original, details and picture below."""

    PLACE = "intake"
    MODE = "intake"
    BINDINGS: ClassVar[list[BindingType]] = bindings("intake")

    def __init__(self) -> None:
        super().__init__()
        self._plan: Plan | None = None
        self._stores: list[Store] = []

    def body(self) -> Iterable[Widget]:
        with Horizontal(id="intake-top"):
            yield Input(placeholder="Folder of new scans: a key, card or download folder", id="intake-folder",
                        compact=True)
            yield Select[str]([], prompt="into store", id="intake-store", compact=True)
            yield Checkbox("copies too", value=True, id="intake-also", compact=True)
        yield Container(
            RowTable[int]([Column("", 1), Column("What", 24, least=60), Column("Artist", 0), Column("Piece", 0),
                             Column("Files", 5, right=True), Column("Size", 9, least=70, right=True)], id="proposals"),
            Horizontal(VerticalScroll(Static("", id="proposal-words", markup=False), can_focus=False),
                       Picture(id="proposal-picture"), id="proposal"),
            id="intake")

    def on_mount(self) -> None:
        self.query_one("#proposals", RowTable).entitle("New scans")
        self.query_one("#proposal-words", Static).update(
            "Type the folder, then Enter looks at it. Nothing is copied before you agree, every copy is read back and "
            "compared, and the folder itself is left as it is.")
        self.catalogue_changed()
        self.query_one("#intake-folder", Input).focus()

    def catalogue_changed(self) -> None:
        def show(found: list[Store]) -> None:
            if [store.name for store in found] == [store.name for store in self._stores]:
                return
            self._stores = found
            select = self.query_one("#intake-store", Select)
            select.set_options([(safe(store.name), store.name) for store in found])
            first = next((store.name for store in found if store.kind == "primary"), None)
            if first is not None:
                select.value = first

        self.ask(stores.listed, show, group="stores")

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self.action_look()

    def action_leave_box(self) -> None:
        self.query_one("#proposals", RowTable).focus()

    def action_look(self) -> None:
        """Read the folder and propose."""
        text = self.query_one("#intake-folder", Input).value.strip()
        store = self.query_one("#intake-store", Select).value
        if not text or not isinstance(store, str):
            self.shop.say("Name a folder and a store first.", "warning")
            return
        start_proposing(self.shop, Path(text).expanduser(), store, self._show)

    def _show(self, plan: Plan) -> None:
        first = self._plan is None or self._plan.folder != plan.folder
        self._plan = plan
        table = self.query_one("#proposals", RowTable)
        ready = sum(len(p.items) for p in plan.proposals if p.ready)
        table.entitle(f"New scans: {counted(ready, 'file')} ready" if plan.proposals else "No pictures there")
        table.show_rows(range(len(plan.proposals)), self._cells, lambda index: index, keep=not first)
        if first:
            table.focus()

    def _cells(self, index: int) -> list[Text]:
        assert self._plan is not None
        p = self._plan.proposals[index]
        sign = "✓" if p.ready else "?" if p.questions else "–"
        return [cell(sign), cell(p.kind.value), cell(p.artist.value), cell(p.piece.value),
                cell(len(p.items), right=True), cell(data_size(p.size), right=True)]

    @property
    def _chosen(self) -> tuple[int, Proposal] | None:
        index = self.query_one("#proposals", RowTable).pointed
        if index is None or self._plan is None:
            return None
        return index, self._plan.proposals[index]

    def on_row_table_pointed(self, event: RowTable.Pointed) -> None:
        if event.row is None or self._plan is None:
            return
        proposal = self._plan.proposals[event.row]
        self.query_one("#proposal-words", Static).update(proposal_words(proposal))
        seen = next((i.arrival.reading for i in proposal.items if i.arrival.reading.preview), None)
        picture = seen.picture if seen else None
        self.query_one(Picture).show(seen.preview if seen else None, "",
                                     (picture.width, picture.height) if picture else None)

    def on_row_table_chosen(self, _: RowTable.Chosen) -> None:
        self.action_answer()

    def _change(self, index: int, **said: Any) -> None:
        plan, home = self._plan, self.shop.home
        assert plan is not None
        job: Callable[[Database], Plan] = partial(answered, home=home, plan=plan, index=index, **said)
        self.ask_disks(job, self._show, group="answer")

    def action_answer(self) -> None:
        chosen = self._chosen
        if chosen is None:
            return
        index, proposal = chosen
        if not proposal.take and not any(i.arrival.reading.sha256 for i in proposal.items):
            self.shop.say("This one cannot be taken in.", "warning")
            return

        def said(answers: Answers | None) -> None:
            if answers is not None:
                self._change(index, artist=answers.artist, piece=answers.piece, role=answers.role,
                             capture=answers.capture)

        self.app.push_screen(AnswerDialog(proposal), said)

    def action_take_or_leave(self) -> None:
        chosen = self._chosen
        if chosen is not None:
            self._change(chosen[0], take=not chosen[1].take)

    def action_go(self) -> None:
        """Copy what is ready, after a yes."""
        plan = self._plan
        ready = [p for p in plan.proposals if p.ready] if plan else []
        if plan is None or not ready:
            self.shop.say("Nothing is ready to be taken in yet.", "warning")
            return
        also = [s.name for s in self._stores if s.kind != "primary" and s.name != plan.store
                and self.shop.online.get(s.id, False)] if self.query_one("#intake-also", Checkbox).value else []
        files, size = sum(len(p.items) for p in ready), sum(p.size for p in ready)
        waiting = sum(1 for p in plan.proposals if p.questions)
        text = f"{counted(files, 'file')}, {data_size(size)}, into {safe(', '.join([plan.store, *also]))}. " \
               "Every copy is read back and compared; the folder is left as it is."
        if waiting:
            text += f"\n{counted(waiting, 'original')} with open questions stay behind."

        def answered_(yes: bool | None) -> None:
            if yes:
                start_taking_in(self.shop, plan, also, self._taken)

        self.app.push_screen(Question("Take these scans in?", text, yes="Take in"), answered_)

    def _taken(self, _: "Outcome") -> None:
        self._plan = None
        self.action_look()


def proposal_words(proposal: Proposal) -> Content:
    """What it is and why, from where to where, what to answer."""
    found = [line((proposal.kind.value, "bold"))]
    found += [line((reason, "$quiet")) for reason in proposal.reasons]
    found += [line(("? ", "bold $warning"), question) for question in proposal.questions]
    found += [line(("! ", "bold $warning"), warning) for warning in proposal.warnings]
    for item in proposal.items:
        found.append(line(shown(kept(item.arrival.inside)), (f"  {item.role}", "$quiet")))
        if item.target:
            found.append(line(("  → ", "$quiet"), (shown(item.target), "$primary")))
    found += [line(row) for row in proposal.map.splitlines()]  # the tiles in their master
    if proposal.take and proposal.capture:
        notes = ", ".join(f"{name} {value}" for name, value in proposal.capture)
        found.append(line(("Capture notes  ", "bold"), notes))
    return lines(found)
