"""The dialog that repeats an order: last time's line ready to record and open to change, with what to check first."""

from collections.abc import Iterable
from dataclasses import asdict, replace
from functools import partial
from typing import Any

from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widget import Widget
from textual.widgets import Button, Input, Static

from catalogue.errors import CatalogueError, Gone, NotFound
from catalogue.ledger.cautions import NO_NUMBER
from catalogue.ledger.print_recipe import EarlierRecipe, PlannedPrint
from catalogue.ledger.proposal import Caution, Proposal
from catalogue.records.orders import Line, NewLine
from catalogue.screens.dialogs import repeat_form
from catalogue.screens.dialogs.repeat_form import SHAPING, Doubt, RepeatForm, RequestedPrint, doubts, parse_request
from catalogue.screens.dialogs.repeat_jobs import Answer, answer_to, printing_of, record_request
from catalogue.screens.page import Dialog
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.formats import safe
from catalogue.screens.texts.repeat import layout_of, plan_of, proposal_words
from catalogue.screens.widgets.bars import KeyLine

TITLE = "Repeat this order"


class RepeatDialog(Dialog[Line]):
    """Opens with the cursor on the number of prints, selected: the number and Enter are all it takes.

    Enter records from any field. What is unusual is asked about once before, in the line below the form; where
    something grave is to be seen, with the cursor on Cancel.
    """

    KEY_CONTEXT = "repeat"
    PANEL = "repeating"

    def __init__(self) -> None:
        super().__init__(TITLE)
        self._subject: dict[str, Any] = {}
        self._proposal: Proposal | None = None
        self._last_print: EarlierRecipe | None = None
        self._as_last_time = False
        self._filled = False
        self._kept_price = ""
        self._confirmed: set[Doubt] = set()     # what was asked about and may be recorded so
        self._grave_seen: set[str] = set()      # grave cautions that were asked about
        self._form = RepeatForm(id="repeat-form")
        self._picture = Picture(below=7, id="repeat-picture")
        self._words = Static("", id="repeat-words", markup=False)
        self._scroll = VerticalScroll(self._words, can_focus=False, id="repeat-scroll")
        self._all = Horizontal(self._form, Vertical(self._picture, self._scroll, id="repeat-side"), id="repeat-body")
        self._wrong = Static("", id="repeat-wrong", markup=False)
        # its label says so itself where something grave is to be seen
        self._record_button = Button("Record", id="record", variant="primary", action="screen.record(True)",
                                     compact=True)
        self._switch_button = Button("Other scan", id="switch", action="screen.switch_scan", compact=True)
        self._cancel_button = Button("Cancel", id="leave", action="screen.back", compact=True)

    def body(self) -> Iterable[Widget]:
        yield self._all
        yield self._wrong
        yield Horizontal(self._record_button, self._switch_button, self._cancel_button, classes="buttons")

    def on_mount(self) -> None:
        if self._subject:
            self._begin()

    def begin(self, *, line_id: int | None = None, piece_id: int | None = None) -> None:
        """Show the proposal for this line, or this piece; nothing from before is kept."""
        self._subject = {"line_id": line_id, "piece_id": piece_id}
        if self.is_mounted:
            self._begin()

    def _begin(self) -> None:
        self._proposal, self._last_print, self._as_last_time, self._filled = None, None, False, False
        self._confirmed, self._grave_seen, self._kept_price = set(), set(), ""
        self._all.visible = False  # until every field is put again
        self.query_one("#panel-title", Static).update(TITLE)
        for widget in (self._words, self._wrong, self._form.total):
            widget.update("")
        self._scroll.scroll_home(animate=False)
        self._picture.show(None, "")
        self._record_button.disabled, self._record_button.label = False, "Record"
        self._offer_other_scan(False)
        self.set_focus(None)
        self._propose(RequestedPrint())

    def _propose(self, want: RequestedPrint) -> None:
        home, subject, as_last_time = self.app.home, self._subject, self._as_last_time
        self.ask(lambda db: answer_to(db, home, subject, want, as_last_time), self._show, group="proposal", holds=self)

    def _show(self, answer: Answer | CatalogueError) -> None:
        record = self._record_button
        if isinstance(answer, NotFound) and not self._filled:    # another workstation has just removed it
            self.dismiss(None)
            self.app.failed(Gone("This piece" if self._subject["line_id"] is None else "This order"))
            return
        if isinstance(answer, CatalogueError):
            if self._proposal is None and self._subject["line_id"] is None and not self._filled:
                self.query_one("#panel-title", Static).update("First order of this piece")
                self._fill({"quantity": "1"}, "size")
                self._tell("No print of this piece has been ordered yet. Enter a size.")
            else:
                self._tell(str(answer))
            record.disabled = True
            return
        self._tell("")
        self._proposal, self._last_print = proposal, last_print = answer
        record.disabled = self.recording or self._short_of_numbers is not None
        new, last = proposal.line, proposal.last
        if not self._filled:
            self._kept_price = new.unit_price
            self._fill(repeat_form.texts_of(new), "quantity")
            self._form.fields["buyer"].placeholder = safe(f"^l: {last.buyer}") if last and last.buyer else ""
            order = self.app.last_order
            self._form.fields["order"].placeholder = safe(f"new; ^n: {order.number}") if order else "new"
        record.label = "Record anyway" if proposal.grave else "Record"
        title = f"{'Repeat' if last else 'First order'}: {proposal.piece.title}, {proposal.piece.artist}"
        self.query_one("#panel-title", Static).update(safe(title))
        plan = plan_of(proposal, new, last_print, self.app.home.settings.print_ppi)
        self._words.update(proposal_words(proposal, plan, last_print, self.app.day_form))
        self._offer_other_scan(self._other_scan)
        self._form.show_total(self._currency)
        self._draw(proposal, new, plan)

    def _fill(self, texts: dict[str, str], focused: str) -> None:
        """Show the form with these texts, the cursor in one of its fields."""
        self._filled = True
        self._form.fill(texts)
        self._all.visible = True
        self._form.fields[focused].focus()

    def _draw(self, proposal: Proposal, new: NewLine, plan: PlannedPrint) -> None:
        """Draw the print described by ``new``, from the scan of the proposal."""
        printing = proposal.printing.scan if proposal.printing else None
        preview = self.app.preview(printing.sha256) if printing and printing.has_preview else None
        size = (printing.width, printing.height) if printing else None
        self._picture.show(preview, "No picture to show", size, layout=layout_of(proposal, new, plan))

    def _tell(self, text: str) -> None:
        self._wrong.update(safe(text))
        if text:    # where the panel is higher than the screen
            self.call_after_refresh(self._wrong.scroll_visible, animate=False)

    @property
    def _other_scan(self) -> bool:
        """Whether last time's scan is known and differs from the current master."""
        proposal = self._proposal
        return proposal is not None and proposal.used is not None and not proposal.same_bytes

    @property
    def _short_of_numbers(self) -> Caution | None:
        """Why the edition has too few numbers for the prints requested."""
        cautions = self._proposal.grave if self._proposal is not None else ()
        return next((caution for caution in cautions if caution.kind in NO_NUMBER), None)

    def _offer_other_scan(self, offered: bool) -> None:
        self._switch_button.display = offered
        uses = {"switch_scan": offered, "same_order": self.app.last_order is not None}
        self.query_one(KeyLine).leave_out(frozenset(action for action, has_use in uses.items() if not has_use))

    @property
    def _currency(self) -> str:
        return self._proposal.currency if self._proposal is not None else self.app.home.settings.currency

    def on_input_changed(self, event: Input.Changed) -> None:
        name = (event.input.id or "").removeprefix("repeat-")
        if not self._filled or self.recording:
            return
        if name in ("quantity", "price"):
            self._form.show_total(self._currency)
        if name in SHAPING:
            self._propose_typed()

    def _propose_typed(self) -> None:
        try:
            want = parse_request(self._form.typed)
        except ValueError as error:
            self._tell(f"{error}.")
            self._record_button.disabled = True
            return
        if self._proposal is not None:      # drawn at once; what the catalogue says of it follows
            asked = {name: value for name, value in asdict(want).items() if value is not None}
            new = replace(self._proposal.line, **asked)
            plan = plan_of(self._proposal, new, self._last_print, self.app.home.settings.print_ppi)
            if plan.recipe:
                self._draw(self._proposal, new, plan)
        self._propose(want)

    def action_words_down(self) -> None:
        self._scroll.scroll_page_down(animate=False)

    def action_words_up(self) -> None:
        self._scroll.scroll_page_up(animate=False)

    def action_switch_scan(self) -> None:
        if self.recording or not self._filled:
            return
        if self._proposal is None or self._proposal.used is None:
            self.app.say("Last time's scan is not on record.", "warning")
        elif not self._other_scan:
            self.app.say("The current master is the scan that was printed last time.")
        else:
            self._as_last_time = not self._as_last_time
            self._propose_typed()

    def action_last_buyer(self) -> None:
        last = self._proposal.last if self._proposal else None
        if last is None or not last.buyer:
            self.app.say("No buyer is on record from last time.", "warning")
        else:
            self._set_buyer(last.buyer)

    def action_artist_buys(self) -> None:
        if self._proposal is not None:
            self._set_buyer(self._proposal.piece.artist)

    def action_same_order(self) -> None:
        order = self.app.last_order
        if order is None:
            self.app.say("No order has been recorded since the program was started.", "warning")
        elif not self.recording and self._filled:
            self._set_buyer(order.buyer)
            self._form.fields["order"].value = order.number

    def _set_buyer(self, name: str) -> None:
        if not self.recording and self._filled:
            field = self._form.fields["buyer"]
            field.value, field.cursor_position = name, len(name)

    def action_record(self, grave_seen: bool = False) -> None:
        """Record, unless something not yet asked about needs confirming."""
        if self.recording or not self._filled:
            return
        typed, proposal = self._form.typed, self._proposal
        try:
            want = parse_request(typed)
        except ValueError as error:
            self._tell(f"{error}.")
            return
        if proposal is None:   # the error is shown below the form
            return
        short = self._short_of_numbers
        if short is not None:
            self._tell(f"{short.text} {short.hint}")
            self._form.fields["quantity"].focus()
            return
        grave = {caution.text for caution in proposal.grave}
        unseen = set() if grave_seen else grave - self._grave_seen
        self._grave_seen |= grave
        if unseen:
            self._tell("Check what is marked ✗ first. Then record anyway, or cancel.")
            self._cancel_button.focus()
            return
        odd = [doubt for doubt in doubts(typed, want, proposal, self._kept_price) if doubt not in self._confirmed]
        if odd:
            self._confirmed.update(odd)
            self._tell(repeat_form.question(odd))
            self._form.fields[odd[0].field].focus()
            return
        self._record_button.disabled = self.recording = True
        # All of it by value: what the panel says when the thread comes to it is not what was agreed to.
        job = partial(record_request, home=self.app.home, subject=dict(self._subject), seen=printing_of(proposal),
                      as_last_time=self._as_last_time, typed=typed, want=want)
        self.record("the order", job, self._recorded)

    def _recorded(self, order: "Line | Exception | None") -> None:
        self.recording = self._record_button.disabled = False
        if isinstance(order, Line):
            self.dismiss(order)
        elif order is None:
            self._propose_typed()
            self.app.say("The scan to print from has changed. Check it, then record again.", "warning")
        elif isinstance(order, CatalogueError):
            self._tell(str(order))
        else:
            self.app.failed(order)
