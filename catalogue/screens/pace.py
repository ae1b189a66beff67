"""How a key is taken from the terminal and how soon it is answered: what of Textual's does not do for us.

A lone Esc looks like the start of an arrow key, so Textual waits a tenth of a second for more, and looks only every
tenth whether it has waited enough: Esc would take longer than any other key. Terminals send a sequence in one go, a
fortieth of a second is plenty. Terminals with kitty's keyboard protocol mark Esc and never wait. Whoever sets the
environment's ESCDELAY (milliseconds, as for other full-screen programs) keeps that.

What has changed is drawn 60 times a second at most; what is found after a letter was drawn waits for the next time.
TEXTUAL_FPS of the environment is kept as well.
"""

import os
import re
import selectors
from collections.abc import Iterable
from types import SimpleNamespace

from textual import constants, events, screen
from textual._xterm_parser import XTermParser
from textual.drivers import linux_driver
from textual.message import Message

ESCAPE = 0.025      # seconds
DRAWN = 1 / 120
# What may follow Esc in what a terminal sends: sequences of ECMA-48 and xterm, and the end of a string.
_SEQUENCE = "[O]P_^X\\\x1b"
_LONE = re.compile(rf"\x1b(?=[^{re.escape(_SEQUENCE)}])")


class InputSelector(selectors.SelectSelector):
    """Waits as told, but after something came only as long as an Esc may be the start of more."""

    _came = False

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = super().select(ESCAPE if self._came else timeout)
        self._came = bool(ready)
        return ready


class LoneEscapes(XTermParser):
    """Esc and a letter that come at once are two keys.

    A terminal sends the same for Alt and that letter, and Textual reads it so, or as another key altogether ("Esc 1" as
    "¡", "Esc /" as "/"). There are no keys with Alt here, but people who press Esc and go on.
    """

    _pasting = False
    _escape_last = False

    def feed(self, data: str) -> Iterable[Message]:
        """As Textual's, with Esc as a key of its own unless a sequence can follow."""
        if self._escape_last and data and data[0] not in _SEQUENCE:
            yield from self._release()
        self._escape_last = False
        if not self._pasting and "\x1b[200~" not in data:
            start = 0
            for found in _LONE.finditer(data):
                yield from super().feed(data[start:found.start()]) if found.start() > start else ()
                yield from self._release()
                yield events.Key("escape", "\x1b")
                start = found.end()
            self._escape_last = data.endswith("\x1b")
            data = data[start:]
            if not data and start:
                return
        self._pasting = data.rfind("\x1b[200~") > data.rfind("\x1b[201~") or \
            (self._pasting and "\x1b[201~" not in data)
        yield from super().feed(data)

    def _release(self) -> Iterable[Message]:
        """Give an Esc that was held back as the possible start of a sequence."""
        if self._timeout_time is not None:
            self._timeout_time = 0.0
            yield from self.tick()


def quicken() -> None:
    """Before the app runs. Reaches into Textual, which can be told only by its environment, or not at all."""
    linux_driver.XTermParser = LoneEscapes  # type: ignore[attr-defined]
    if "TEXTUAL_FPS" not in os.environ:
        screen.UPDATE_PERIOD = DRAWN  # type: ignore[misc]
    if "ESCDELAY" not in os.environ:
        constants.ESCAPE_DELAY = ESCAPE * 0.9  # type: ignore[misc]
        linux_driver.selectors = SimpleNamespace(  # type: ignore[attr-defined, assignment]
            SelectSelector=InputSelector, EVENT_READ=selectors.EVENT_READ)
