"""Screens that are shown again and again: kept once made, and made while nobody waits.

Showing one again costs a third of making it, and no key should wait for the making.
"""

from asyncio import sleep
from itertools import count
from time import monotonic
from typing import TYPE_CHECKING, Any, TypeVar

from textual.screen import Screen

from catalogue.screens.help import HelpDialog
from catalogue.screens.internals import draw_unseen, mount_mode, mount_screen, open_screens_of
from catalogue.screens.keys import PLACES
from catalogue.screens.memory import settle_memory
from catalogue.screens.piece import PiecePage
from catalogue.screens.repeat import RepeatDialog
from catalogue.screens.search import SearchDialog

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

S = TypeVar("S", bound=Screen[Any])

LEFT_ALONE = 0.3    # seconds without a key after which nobody waits
BETWEEN = 0.1       # seconds between two screens made
AHEAD: tuple[type[Screen[Any]], ...] = (PiecePage, SearchDialog, RepeatDialog, HelpDialog)


def kept(app: "CatalogueApp", kind: type[S]) -> S:
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


async def make_ahead(app: "CatalogueApp") -> None:
    """Make the screens that are sure to be wanted, one at a time, whenever no key has come for a while."""
    for kind in AHEAD:
        await _left_alone(app)
        screen = kept(app, kind)
        await mount_screen(app, screen)
        await _draw(app, screen)
    for mode, _ in PLACES:
        await _left_alone(app)
        await _draw(app, await mount_mode(app, mode))
    await _left_alone(app)
    settle_memory()


async def _draw(app: "CatalogueApp", screen: Screen[Any]) -> None:
    """Once for nobody: what can be kept of a drawing is there when it is wanted."""
    await _left_alone(app)
    if screen is not app.screen and screen.is_running:
        draw_unseen(screen)


async def _left_alone(app: "CatalogueApp") -> None:
    await sleep(BETWEEN)
    while (since := monotonic() - app.touched) < LEFT_ALONE:
        await sleep(LEFT_ALONE - since)
