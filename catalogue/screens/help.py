"""The help: the table of keys, as it is."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from catalogue.screens.bars import KeyLine
from catalogue.screens.keys import EVERYWHERE, KEYS, LISTS, SIGNS, Key, bindings
from catalogue.screens.page import Dialog

SIGN_WORDS = "✓ sound   ! look at it   ✗ missing or broken   – nothing known"


def key_names(key: Key) -> str:
    """All keys of one action, for reading."""
    return " ".join(SIGNS.get(name, name.replace("ctrl+", "^")) for name in key.keys.split(","))


def help_words(place: str) -> Content:
    """Keys of this screen, of lists, and of everywhere."""
    parts: list[Content] = []
    for title, keys in (("Here", KEYS.get(place, ())), ("In lists", LISTS), ("Everywhere", EVERYWHERE)):
        if not keys:
            continue
        parts.append(Content.assemble((title, "bold $accent")))
        parts += [Content.assemble((f"  {key_names(key):<11}", "bold"), key.help) for key in keys]
        parts.append(Content(""))
    parts.append(Content.assemble(("Signs", "bold $accent")))
    parts.append(Content(f"  {SIGN_WORDS}"))
    return Content("\n").join(parts)


class HelpDialog(Dialog[None]):
    """All keys; scrolls where they do not fit."""

    PLACE = "help"
    BINDINGS: ClassVar[list[BindingType]] = bindings("help")

    def __init__(self, place: str) -> None:
        super().__init__()
        self._of = place

    def compose(self) -> ComposeResult:
        with Vertical(classes="panel tall"):
            yield Static("Keys", classes="panel-title")
            with VerticalScroll():
                yield Static(help_words(self._of), id="keys")
            yield KeyLine(self.PLACE, alone=True)

    def on_mount(self) -> None:
        self.query_one(VerticalScroll).focus()
