"""Esc at once.

A lone Esc looks like the start of an arrow key, so Textual waits a tenth of a second for more, and looks only every
tenth whether it has waited enough: Esc would take longer than any other key. Terminals send a sequence in one go, a
fortieth of a second is plenty. Terminals with kitty's keyboard protocol mark Esc and never wait. Whoever sets the
environment's ESCDELAY (milliseconds, as for other full-screen programs) keeps that.
"""

import os
import selectors
from types import SimpleNamespace

from textual import constants
from textual.drivers import linux_driver

SECONDS = 0.025


class InputSelector(selectors.SelectSelector):
    """Waits as told, but after something came only as long as an Esc may be the start of more."""

    _came = False

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = super().select(SECONDS if self._came else timeout)
        self._came = bool(ready)
        return ready


def quicken() -> None:
    """Before the app runs. Reaches into Textual, which has no setting for it; without effect should that change."""
    if "ESCDELAY" in os.environ:
        return
    constants.ESCAPE_DELAY = SECONDS * 0.9  # type: ignore[misc]
    linux_driver.selectors = SimpleNamespace(  # type: ignore[attr-defined, assignment]
        SelectSelector=InputSelector, EVENT_READ=selectors.EVENT_READ)
