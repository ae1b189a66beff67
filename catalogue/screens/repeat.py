"""Repeat an order: last time's line ready to record, all of it open to change, with what should be seen before."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Grid, Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Button, Input, Label, Static

from catalogue.errors import CatalogueError
from catalogue.ledger import repeat as ledger
from catalogue.ledger import values
from catalogue.ledger.proposal import Caution, Proposal
from catalogue.money import read_amount
from catalogue.operations.orders import record_order
from catalogue.records.database import Database
from catalogue.records.orders import Line
from catalogue.screens.bars import KeyLine
from catalogue.screens.facts import line, lines
from catalogue.screens.keys import bindings
from catalogue.screens.page import Dialog
from catalogue.screens.picture import Picture
from catalogue.screens.wording import counted, day, size_cm
from catalogue.settings import Home

# id, label
FIELDS = (("quantity", "Prints"), ("size", "Size, cm"), ("medium", "On"), ("border", "Border, mm"),
          ("wrap", "Wrap, mm"), ("edge", "Edge"), ("buyer", "Buyer"), ("price", "Price"),
          ("profile", "Profile"), ("settings", "Settings"), ("notes", "Notes"))
SHAPING = ("quantity", "size", "medium", "border", "wrap", "edge")  # what the proposal depends on


@dataclass(frozen=True, slots=True)
class Asked:
    """The shaping fields as numbers; None where the person has not typed yet."""

    quantity: int | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    medium: str | None = None
    border_mm: float | None = None
    wrap_mm: float | None = None
    edge: str | None = None


def asked(typed: dict[str, str]) -> Asked:
    """What was typed, as numbers.

    Raises:
        ValueError: with words for the person.
    """
    count = typed["quantity"].strip()
    if not count.isdecimal() or int(count) < 1:
        raise ValueError(f"{typed['quantity']!r} is no number of prints")
    width, height = values.size_mm(typed["size"])
    return Asked(int(count), width, height, typed["medium"].strip(), values.margin_mm(typed["border"]),
                 values.margin_mm(typed["wrap"]), typed["edge"].strip())


def proposed(db: Database, home: Home, subject: dict[str, int | None], want: Asked, as_last_time: bool) -> Proposal:
    """The ledger's proposal for what is asked."""
    return ledger.propose(db, home, line_id=subject["line_id"], piece_id=subject["piece_id"], quantity=want.quantity,
                          width_mm=want.width_mm, height_mm=want.height_mm, medium=want.medium,
                          border_mm=want.border_mm, wrap_mm=want.wrap_mm, edge=want.edge, as_last_time=as_last_time)


class RepeatDialog(Dialog[Line]):
    """Opens with the cursor on Record, so that Enter is all it takes; not where something grave is to be seen."""

    PLACE = "repeat"
    BINDINGS: ClassVar[list[BindingType]] = bindings("repeat")

    def __init__(self) -> None:
        super().__init__()
        self._subject: dict[str, int | None] = {}
        self._proposal: Proposal | None = None
        self._as_last_time = False
        self._filled = False
        self._recording = False

    def compose(self) -> ComposeResult:
        with Vertical(classes="panel repeating"):
            yield Static("Repeat this order", id="repeat-title", classes="panel-title", markup=False)
            with Horizontal(id="repeat-body"):
                with Grid(id="repeat-form"):
                    for name, label in FIELDS:
                        yield Label(label)
                        yield Input(id=f"repeat-{name}", compact=True)
                with Vertical(id="repeat-side"):
                    yield Picture(below=7, id="repeat-picture")
                    with VerticalScroll(can_focus=False, id="repeat-scroll"):
                        yield Static("", id="repeat-words", markup=False)
            yield Static("", id="repeat-wrong", markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Record", id="record", variant="primary", compact=True)
                yield Button("Other scan", id="switch", compact=True)
                yield Button("Leave it", id="leave", compact=True)
            yield KeyLine(self.PLACE, alone=True)

    def on_mount(self) -> None:
        if self._subject:
            self._begin()

    def begin(self, *, line_id: int | None = None, piece_id: int | None = None) -> None:
        """Ask what is proposed for this line, or this piece; nothing of what was asked before stays."""
        self._subject = {"line_id": line_id, "piece_id": piece_id}
        if self.is_mounted:
            self._begin()

    def _begin(self) -> None:
        self._proposal, self._as_last_time, self._filled = None, False, False
        self.query_one("#repeat-body").visible = False  # until every field is put anew
        for place, words in (("title", "Repeat this order"), ("words", ""), ("wrong", "")):
            self.query_one(f"#repeat-{place}", Static).update(words)
        self.query_one("#repeat-scroll").scroll_home(animate=False)
        self.query_one(Picture).show(None, "")
        record = self.query_one("#record", Button)
        record.disabled, record.label = False, "Record"
        self.query_one("#switch", Button).display = False
        self.set_focus(None)
        self._propose(Asked())

    def _propose(self, want: Asked) -> None:
        home, subject, as_last_time = self.shop.home, self._subject, self._as_last_time
        self.ask(lambda db: self._attempt(lambda: proposed(db, home, subject, want, as_last_time)), self._show,
                 group="proposal", holds=self)

    @staticmethod
    def _attempt(job: Callable[[], Proposal]) -> "Proposal | CatalogueError":
        try:
            return job()
        except CatalogueError as error:
            return error

    def _show(self, found: "Proposal | CatalogueError") -> None:
        wrong = self.query_one("#repeat-wrong", Static)
        record = self.query_one("#record", Button)
        if isinstance(found, CatalogueError):
            if self._proposal is None and self._subject["line_id"] is None and not self._filled:
                self._first_order()
            wrong.update(str(found))
            record.disabled = True
            return
        wrong.update("")
        record.disabled = self._recording
        self._proposal = found
        if not self._filled:
            self._fill(found)
        record.label = "Record all the same" if found.grave else "Record"
        title = "Repeat" if found.last else "First order"
        self.query_one("#repeat-title", Static).update(f"{title}: {found.piece.title}, {found.piece.artist}")
        self.query_one("#repeat-words", Static).update(proposal_words(found, self.shop.day_form))
        self.query_one("#switch", Button).display = found.used is not None and not found.same_bytes
        printing = found.printing.scan if found.printing else None
        self.query_one(Picture).show(self.shop.preview(printing.sha256) if printing and printing.has_preview else None,
                                     "No picture to show", (printing.width, printing.height) if printing else None)

    def _first_order(self) -> None:
        """Nothing to repeat: the form opens empty."""
        self._filled = True
        self.query_one("#repeat-title", Static).update("First order of this piece")
        self.query_one("#switch", Button).display = False
        self._put({"quantity": "1"})
        self.query_one("#repeat-size", Input).focus()

    def _fill(self, found: Proposal) -> None:
        self._filled = True
        new, last = found.line, found.last
        self._put({
            "quantity": str(new.quantity),
            "size": f"{values.shown_mm(new.width_mm)} x {values.shown_mm(new.height_mm)}",  # read again: exact
            "medium": new.medium, "border": f"{new.border_mm:g}", "wrap": f"{new.wrap_mm:g}", "edge": new.edge,
            "buyer": last.buyer if last else "", "price": last.price if last else "", "profile": new.profile,
            "settings": new.settings})
        self.query_one("#leave" if found.grave else "#record").focus()

    def _put(self, texts: dict[str, str]) -> None:
        """Show the form with these texts, and nothing in the other fields."""
        with self.prevent(Input.Changed):
            for name, _ in FIELDS:
                self.query_one(f"#repeat-{name}", Input).value = texts.get(name, "")
        self.query_one("#repeat-body").visible = True

    @property
    def _typed(self) -> dict[str, str]:
        return {name: self.query_one(f"#repeat-{name}", Input).value for name, _ in FIELDS}

    def on_input_changed(self, event: Input.Changed) -> None:
        if self._filled and not self._recording and (event.input.id or "").removeprefix("repeat-") in SHAPING:
            self._propose_typed()

    def _propose_typed(self) -> None:
        try:
            want = asked(self._typed)
        except ValueError as error:
            self.query_one("#repeat-wrong", Static).update(f"{error}.")
            self.query_one("#record", Button).disabled = True
            return
        self._propose(want)

    def on_key(self, event: events.Key) -> None:
        """A digit that no field takes is the beginning of another number of prints."""
        if self._filled and not self._recording and event.character and event.character in "0123456789" \
                and not isinstance(self.focused, Input):
            event.stop()
            quantity, digit = self.query_one("#repeat-quantity", Input), event.character

            def begin() -> None:
                quantity.value, quantity.cursor_position = digit, 1

            self.set_focus(quantity)
            quantity.call_later(begin)  # after it has the focus, which selects what stands there

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self.query_one("#record", Button).focus()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        if event.button.id == "record":
            self.action_record()
        elif event.button.id == "switch":
            self.action_switch_scan()
        else:
            self.action_back()

    def action_back(self) -> None:
        if self._recording:
            self.shop.say("It is being recorded; the panel closes by itself.")
        else:
            self.dismiss(None)

    def action_words_down(self) -> None:
        self.query_one("#repeat-scroll").scroll_page_down(animate=False)

    def action_words_up(self) -> None:
        self.query_one("#repeat-scroll").scroll_page_up(animate=False)

    def action_switch_scan(self) -> None:
        """Between the current master and the very scan of last time."""
        if self._recording:
            return
        if self._proposal is None or self._proposal.used is None:
            self.shop.say("Last time's scan is not known.", "warning")
            return
        self._as_last_time = not self._as_last_time
        self._propose_typed()

    def action_record(self) -> None:
        if self._recording or not self._filled:
            return
        typed = self._typed
        try:
            want = asked(typed)
            price = read_amount(typed["price"])
        except ValueError as error:
            self.query_one("#repeat-wrong", Static).update(f"{error}.")
            return
        self.query_one("#record", Button).disabled = self._recording = True
        # All of it by value: what the panel says when the thread comes to it is not what was agreed to.
        job = partial(self._record, home=self.shop.home, subject=dict(self._subject), seen=_printing(self._proposal),
                      as_last_time=self._as_last_time, typed=typed, want=want, price=price)
        self.shop.writes.add("the order", job, self._recorded, holds=self)

    @staticmethod
    def _record(db: Database, *, home: Home, subject: dict[str, int | None], seen: str | None, as_last_time: bool,
                typed: dict[str, str], want: Asked, price: str) -> "Line | Exception | None":
        """None where another scan would be printed now than ``seen``, the one that was shown."""
        try:
            proposal = proposed(db, home, subject, want, as_last_time)
            if seen is not None and _printing(proposal) != seen:
                return None
            return record_order(db, proposal, buyer=typed["buyer"].strip(), price=price,
                                profile=typed["profile"].strip(), settings=typed["settings"].strip(),
                                notes=typed["notes"].strip())
        except Exception as error:  # a worker's edge: whatever it is, the panel must not stay shut
            return error

    def _recorded(self, order: "Line | Exception | None") -> None:
        self._recording = False
        if isinstance(order, Line):
            self.dismiss(order)
            return
        self.query_one("#record", Button).disabled = False
        if order is None:
            self._propose_typed()
            self.shop.say("Another scan would be printed now than was shown. Look again, then record.", "warning")
        elif isinstance(order, CatalogueError):
            self.query_one("#repeat-wrong", Static).update(str(order))
        else:
            self.shop.failed(order)


def _printing(found: Proposal | None) -> str | None:
    """SHA-256 of the scan that would be printed."""
    return found.printing.scan.sha256 if found is not None and found.printing is not None else None


def proposal_words(found: Proposal, day_form: str) -> Content:
    """The ppi; what is grave; last time, what it would be printed from now, edition; the rest."""
    said: list[Content] = []
    if found.fit is not None:
        sign = ("✓ ", "$success") if found.fit.enough else ("! ", "bold $warning")
        turned = ", turned" if found.fit.turned else ""
        cut = f", {found.fit.cropped:.0%} cut away" if found.fit.cropped else ""
        said.append(line(sign, f"{found.fit.ppi:.0f} ppi at this size{turned}{cut}"))
    said += caution_words([caution for caution in found.cautions if caution.grave])
    last = found.last
    if last is not None:
        said.append(line(("Last time ", "bold"), f"{day(last.placed, day_form)}, {last.quantity} × "
                         f"{size_cm(last.width_mm, last.height_mm)}" + (f" on {last.medium}" if last.medium else "")))
    if found.printing is not None:
        scan = found.printing.scan
        if found.same_bytes:
            said.append(line(("✓ ", "$success"), "the same scan as last time, bit for bit"))
        elif found.used is not None and scan.id == found.used.scan.id:
            said.append(line(("= ", "bold"), "from last time's scan, not the current master"))
        else:
            said.append(line(("From ", "bold"), "the current master"))
    if found.edition is not None:
        state = found.edition
        said.append(line(("Edition ", "bold"), f"{counted(state.numbers_left, 'number')} of "
                         f"{state.edition.size_limit} left" + (f", next {state.next_number}"
                                                                if state.next_number else "")))
    said += caution_words([caution for caution in found.cautions if not caution.grave])
    if found.printing is not None:
        said.append(line((f"{found.line.scan_name}  {found.printing.scan.sha256[:12]}…", "$quiet")))
    return lines(said)


def caution_words(cautions: Sequence[Caution]) -> list[Content]:
    """What to see before recording, and what to do about it."""
    said = []
    for caution in cautions:
        said.append(line(("✗ " if caution.grave else "! ", "bold $error" if caution.grave else "bold $warning"),
                         caution.text))
        if caution.hint:
            said.append(line((f"  {caution.hint}", "$quiet")))
    return said
