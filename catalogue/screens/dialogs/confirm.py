"""Small panels: a question with two answers, and words to read or select."""

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.widgets import Button, Input, Static

from catalogue.screens.keys import bindings
from catalogue.screens.page import Dialog
from catalogue.screens.texts.formats import cell
from catalogue.screens.widgets.bars import KeyLine
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable


class ConfirmDialog(Dialog[bool]):
    """Two answers; Esc is no. ``careful`` puts the cursor on no."""

    PLACE = "question"
    BINDINGS: ClassVar[list[BindingType]] = bindings("question")

    def __init__(self, title: str, text: str, *, yes: str, no: str = "Cancel", careful: bool = False) -> None:
        super().__init__()
        self._title, self._text, self._yes, self._no, self._careful = title, text, yes, no, careful

    def compose(self) -> ComposeResult:
        with Vertical(classes="panel"):
            yield Static(self._title, classes="panel-title", markup=False)
            yield Static(self._text, markup=False)
            with Horizontal(classes="buttons"):
                yield Button(self._yes, id="yes", variant="primary", compact=True)
                yield Button(self._no, id="no", compact=True)

    def on_mount(self) -> None:
        self.query_one("#no" if self._careful else "#yes").focus()

    def on_button_pressed(self, event: Button.Pressed) -> None:
        self.dismiss(event.button.id == "yes")

    def action_back(self) -> None:
        self.dismiss(False)

    def action_yes(self) -> None:
        self.dismiss(True)


class MessageDialog(Dialog[None]):
    """Text to read, scrolled where it is long; it can be selected with the mouse."""

    PLACE = "words"
    BINDINGS: ClassVar[list[BindingType]] = bindings("words")

    def __init__(self, title: str, text: str, below: str = "") -> None:
        super().__init__()
        self._title, self._text, self._below = title, text, below

    def compose(self) -> ComposeResult:
        with Vertical(classes="panel"):
            yield Static(self._title, classes="panel-title", markup=False)
            with VerticalScroll(classes="words"):
                yield Static(self._text, id="text", markup=False)
            if self._below:
                yield Static(self._below, classes="quiet", markup=False)
            with Horizontal(classes="buttons"):
                yield Button("Close", id="close", compact=True)

    def on_mount(self) -> None:
        self.query_one("#close").focus()

    def on_button_pressed(self, _: Button.Pressed) -> None:
        self.dismiss(None)


class Choice(Dialog[int]):
    """One of a few lines, each a number, what it is and a detail; gives the number."""

    PLACE = "choice"
    BINDINGS: ClassVar[list[BindingType]] = bindings("choice")

    def __init__(self, title: str, rows: Sequence[tuple[int, str, str]], text: str = "", *, at: int = 0) -> None:
        super().__init__()
        self._title, self._rows, self._text, self._at = title, list(rows), text, at

    def compose(self) -> ComposeResult:
        with Vertical(classes="panel choice"):
            yield Static(self._title, classes="panel-title", markup=False)
            yield RowTable[tuple[int, str, str]]([Column("", 0, weight=3), Column("", 0, weight=2)], id="choices")
            if self._text:
                yield Static(self._text, classes="quiet", markup=False)
            yield KeyLine(self.PLACE, alone=True)

    def on_mount(self) -> None:
        table = self.query_one(RowTable)
        table.styles.height = min(12, len(self._rows))
        table.set_rows(self._rows, lambda row: [cell(row[1]), cell(row[2], "dim")], cursor=self._at)
        table.focus()

    def on_row_table_selected(self, _: RowTable.Selected) -> None:
        self.action_choose()

    def action_choose(self) -> None:
        row = self.query_one(RowTable).row_to_act_on
        if row is not None:
            self.dismiss(row[0])


class TextQuestion(Dialog[str]):
    """A question answered with one line of text."""

    PLACE = "line"
    BINDINGS: ClassVar[list[BindingType]] = bindings("line")

    def __init__(self, title: str, text: str, *, value: str = "", hint: str = "") -> None:
        super().__init__()
        self._title, self._text, self._value, self._hint = title, text, value, hint

    def compose(self) -> ComposeResult:
        with Vertical(classes="panel"):
            yield Static(self._title, classes="panel-title", markup=False)
            yield Static(self._text, markup=False)
            yield Input(self._value, placeholder=self._hint, id=self.PLACE, compact=True)
            yield KeyLine(self.PLACE, alone=True)

    def on_mount(self) -> None:
        self.query_one(Input).focus()

    def on_input_submitted(self, _: Input.Submitted) -> None:
        self.action_answer()

    def action_answer(self) -> None:
        text = self.query_one(Input).value.strip()
        if text:
            self.dismiss(text)


class ReasonDialog(TextQuestion):
    """A question that wants a reason in words."""

    PLACE = "reason"
    BINDINGS: ClassVar[list[BindingType]] = bindings("reason")
