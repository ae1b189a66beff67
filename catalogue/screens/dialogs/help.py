"""The help: the table of keys."""

from collections.abc import Iterable

from rich.table import Table
from rich.text import Text
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from catalogue.screens.keys import EVERYWHERE, KEYS, LISTS, SIGNS, Key
from catalogue.screens.page import Dialog

SIGN_WORDS = "✓ sound ! check this ✗ missing or damaged – nothing known"


def key_names(key: Key) -> str:
    """All keys of one action, for display."""
    return " ".join(SIGNS.get(name, name.replace("ctrl+", "^")) for name in key.keys.split(","))


def listed(keys: Iterable[Key]) -> Table:
    """The keys and what they do, beside each other; one widget, since a hundred take a tenth of a second to make."""
    table = Table.grid(padding=(0, 2), pad_edge=True)
    table.add_column(width=10, style="bold")
    table.add_column(ratio=1)
    for key in keys:
        table.add_row(Text(key_names(key)), Text(key.help))
    return table


class HelpDialog(Dialog[None]):
    """All keys; scrolls where they do not fit."""

    KEY_CONTEXT = "help"
    PANEL = "tall"

    def __init__(self) -> None:
        super().__init__("Keys")
        self._of = ""

    def body(self) -> Iterable[Widget]:
        with VerticalScroll():
            yield Static("Here", id="help-of", classes="section")
            yield Static(id="help-here")
            for title, keys in (("In lists", LISTS), ("Everywhere", EVERYWHERE)):
                yield Static(title, classes="section")
                yield Static(listed(keys))
            yield Static("Signs", classes="section")
            yield Static(SIGN_WORDS, markup=False)

    def on_mount(self) -> None:
        self._explain()
        self.query_one(VerticalScroll).focus()

    def begin(self, context: str) -> None:
        """Explain the keys of a screen, from the top."""
        self._of = context
        if self.is_mounted:
            self._explain()

    def _explain(self) -> None:
        keys = KEYS.get(self._of, ())
        own_keys = self.query_one("#help-here", Static)
        own_keys.update(listed(keys))
        own_keys.display = self.query_one("#help-of", Static).display = bool(keys)
        self.query_one(VerticalScroll).scroll_home(animate=False)
