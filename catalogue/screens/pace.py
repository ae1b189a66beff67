"""How soon a key is taken and its answer drawn: two times of Textual's that are too long for us.

A lone Esc looks like the start of an arrow key, so Textual waits a tenth of a second for more, and looks only every
tenth whether it has waited enough: Esc would take longer than any other key. Terminals send a sequence in one go, a
fortieth of a second is plenty. Terminals with kitty's keyboard protocol mark Esc and never wait. Whoever sets the
environment's ESCDELAY (milliseconds, as for other full-screen programs) keeps that.

What has changed is drawn 60 times a second at most; what is found after a letter was drawn waits for the next time.
TEXTUAL_FPS of the environment is kept as well.
"""

import os
import selectors
from types import SimpleNamespace

from textual import constants, screen
from textual.drivers import linux_driver

ESCAPE = 0.025      # seconds
DRAWN = 1 / 120


class InputSelector(selectors.SelectSelector):
    """Waits as told, but after something came only as long as an Esc may be the start of more."""

    _came = False

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = super().select(ESCAPE if self._came else timeout)
        self._came = bool(ready)
        return ready


def quicken() -> None:
    """Before the app runs. Reaches into Textual, which can be told only by its environment, or not at all."""
    if "TEXTUAL_FPS" not in os.environ:
        screen.UPDATE_PERIOD = DRAWN  # type: ignore[misc]
    if "ESCDELAY" not in os.environ:
        constants.ESCAPE_DELAY = ESCAPE * 0.9  # type: ignore[misc]
        linux_driver.selectors = SimpleNamespace(  # type: ignore[attr-defined, assignment]
            SelectSelector=InputSelector, EVENT_READ=selectors.EVENT_READ)
