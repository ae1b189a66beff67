"""Screens that are shown again and again: kept once made, and made while nobody waits.

Showing one again costs a third of making it, and no key should wait for the making.
"""

from asyncio import sleep
from itertools import count
from time import monotonic
from typing import TYPE_CHECKING, Any, TypeVar

from textual.screen import Screen

from catalogue.screens.background.garbage import freeze_objects
from catalogue.screens.dialogs.help import HelpDialog
from catalogue.screens.dialogs.repeat import RepeatDialog
from catalogue.screens.dialogs.search import SearchDialog
from catalogue.screens.keys import PLACES
from catalogue.screens.pages.piece import PiecePage
from catalogue.screens.textual_internals import draw_unseen, mount_mode, mount_screen, open_screens_of

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

S = TypeVar("S", bound=Screen[Any])

IDLE_SECONDS = 0.3    # seconds without a key after which nobody waits
BETWEEN = 0.1       # seconds between two screens made
BUILT_AHEAD: tuple[type[Screen[Any]], ...] = (PiecePage, SearchDialog, RepeatDialog, HelpDialog)


def cached_screen(app: "CatalogueApp", kind: type[S]) -> S:
    """A screen of this kind that is not open anywhere: one made before, or a new one."""
    for number in count(1):
        name = f"{kind.__name__} {number}"
        if not app.is_screen_installed(name):
            screen = kind()
            app.install_screen(screen, name)
            return screen
        screen = app.get_screen(name, kind)
        if screen not in open_screens_of(app):
            return screen
    raise AssertionError("counting does not end")


async def build_ahead(app: "CatalogueApp") -> None:
    """Make the screens that are sure to be wanted, one at a time, whenever no key has come for a while."""
    for kind in BUILT_AHEAD:
        await _wait_until_idle(app)
        screen = cached_screen(app, kind)
        await mount_screen(app, screen)
        await _draw(app, screen)
    for mode, _ in PLACES:
        await _wait_until_idle(app)
        await _draw(app, await mount_mode(app, mode))
    await _wait_until_idle(app)
    freeze_objects()


async def _draw(app: "CatalogueApp", screen: Screen[Any]) -> None:
    """Once for nobody: what can be kept of a drawing is there when it is wanted."""
    await _wait_until_idle(app)
    if screen is not app.screen and screen.is_running:
        draw_unseen(screen)


async def _wait_until_idle(app: "CatalogueApp") -> None:
    await sleep(BETWEEN)
    while (since := monotonic() - app.touched) < IDLE_SECONDS:
        await sleep(IDLE_SECONDS - since)
