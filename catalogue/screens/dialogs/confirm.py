"""Small panels: a question with two answers, a text to read, a choice, a line of text."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from textual.app import App
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Button, Input, Static

from catalogue.screens.page import Dialog
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable


class ConfirmDialog(Dialog[bool]):
    """A question with two answers; Esc is no. ``careful`` puts the cursor on no."""

    KEY_CONTEXT = "question"
    KEY_LINE = False

    def __init__(self, title: str, text: str, *, yes: str, no: str = "Cancel", careful: bool = False) -> None:
        super().__init__(title)
        self._text, self._yes, self._no, self._careful = text, yes, no, careful

    def body(self) -> Iterable[Widget]:
        yield Static(self._text, markup=False)
        with Horizontal(classes="buttons"):
            yield Button(self._yes, id="yes", variant="primary", action="screen.yes", compact=True)
            yield Button(self._no, id="no", action="screen.back", compact=True)

    def on_mount(self) -> None:
        self.query_one("#no" if self._careful else "#yes").focus()

    def action_back(self) -> None:
        self.dismiss(False)

    def action_yes(self) -> None:
        self.dismiss(True)


def confirm(app: App[Any], title: str, text: str, then: Callable[[], object], *, yes: str, no: str = "Cancel",
            careful: bool = False) -> None:
    """Ask a question with two answers; ``then`` is called after a yes."""
    def answered(agreed: bool | None) -> None:
        if agreed:
            then()

    app.push_screen(ConfirmDialog(title, text, yes=yes, no=no, careful=careful), answered)


class MessageDialog(Dialog[None]):
    """Text to read, scrolled where it is long; it can be selected with the mouse."""

    KEY_CONTEXT = "words"
    KEY_LINE = False

    def __init__(self, title: str, text: str, below: str = "") -> None:
        super().__init__(title)
        self._text, self._below = text, below

    def body(self) -> Iterable[Widget]:
        with VerticalScroll(classes="words"):
            yield Static(self._text, id="text", markup=False)
        if self._below:
            yield Static(self._below, classes="quiet", markup=False)
        with Horizontal(classes="buttons"):
            yield Button("Close", id="close", action="screen.back", compact=True)

    def on_mount(self) -> None:
        self.query_one("#close").focus()


class Choice(Dialog[int]):
    """A choice between a few lines, each a number, a label and a detail; returns the number."""

    KEY_CONTEXT = "choice"
    PANEL = "choice"

    def __init__(self, title: str, rows: Sequence[tuple[int, str, str]], text: str = "", *, at: int = 0) -> None:
        super().__init__(title)
        self._rows, self._text, self._at = list(rows), text, at
        self._table = RowTable[tuple[int, str, str]](
            [Column("", 0, lambda row: row[1], weight=3), Column("", 0, lambda row: (row[2], "dim"), weight=2)],
            id="choices")

    def body(self) -> Iterable[Widget]:
        yield self._table
        if self._text:
            yield Static(self._text, classes="quiet", markup=False)

    def on_mount(self) -> None:
        self._table.styles.height = min(12, len(self._rows))
        self._table.set_rows(self._rows, cursor=self._at)
        self._table.focus()

    def action_choose(self) -> None:
        row = self._table.row_to_act_on
        if row is not None:
            self.dismiss(row[0])


class TextQuestion(Dialog[str]):
    """A question answered with one line of text."""

    KEY_CONTEXT = "line"

    def __init__(self, title: str, text: str, *, value: str = "", hint: str = "") -> None:
        super().__init__(title)
        self._text, self._value, self._hint = text, value, hint

    def body(self) -> Iterable[Widget]:
        yield Static(self._text, markup=False)
        yield Input(self._value, placeholder=self._hint, id=self.KEY_CONTEXT, compact=True)

    def on_mount(self) -> None:
        self.query_one(Input).focus()

    def action_answer(self) -> None:
        text = self.query_one(Input).value.strip()
        if text:
            self.dismiss(text)


class ReasonDialog(TextQuestion):
    """A question that asks for a reason."""

    KEY_CONTEXT = "reason"
