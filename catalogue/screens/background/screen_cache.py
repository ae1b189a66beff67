"""A cache of screens: kept once made, and built ahead while no key comes.

Showing one again costs a third of making it, and no key should wait for that.
"""

from asyncio import sleep
from importlib import import_module
from itertools import count
from time import monotonic
from typing import TYPE_CHECKING, Any, TypeVar

from textual.screen import Screen

from catalogue.screens.background.garbage import freeze_objects
from catalogue.screens.background.threads import run_in_thread, start_worker
from catalogue.screens.keys import PAGE_TITLES
from catalogue.screens.textual_internals import draw_unseen, mount_mode, mount_screen, open_screens_of

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

S = TypeVar("S", bound=Screen[Any])

IDLE_SECONDS = 0.3    # seconds without a key after which nobody waits
BETWEEN = 0.1       # seconds between two screens made
# Pages: their mode, module and class; and the other screens that are sure to be wanted.
PAGES = (("orders", "orders", "OrdersPage"), ("alike", "alike", "AlikePage"), ("audit", "audit", "AuditPage"),
         ("intake", "intake", "IntakePage"), ("stores", "stores", "StoresPage"), ("health", "health", "HealthPage"))
BUILT_AHEAD = (("pages.piece", "PiecePage"), ("dialogs.search", "SearchDialog"), ("dialogs.repeat", "RepeatDialog"),
               ("dialogs.help", "HelpDialog"))


def cached_screen(app: "CatalogueApp", kind: type[S]) -> S:
    """A screen of this class that is not open: one from the cache, or a new one."""
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


def screen_class(module: str, name: str) -> type[Screen[Any]]:
    """A class from a module of ``screens``, which is imported now if it was not before."""
    kind: type[Screen[Any]] = getattr(import_module(f"catalogue.screens.{module}"), name)
    return kind


def new_page(module: str, name: str, **given: Any) -> Screen[Any]:
    """A new page, its module imported only now, so that it does not delay the first page."""
    return screen_class(f"pages.{module}", name)(**given)


def build_ahead(app: "CatalogueApp") -> None:
    """Build the screens sure to be needed. Their modules are imported in a separate thread."""
    first = app.screen_stack[0]

    def load(_: object) -> list[type[Screen[Any]]]:
        for _mode, module, name in PAGES:
            screen_class(f"pages.{module}", name)
        return [screen_class(*arguments) for arguments in BUILT_AHEAD]

    def begin(kinds: list[type[Screen[Any]]]) -> None:
        start_worker(first, lambda: make_ahead(app, kinds), group="ahead")

    run_in_thread(first, app.plain_threads["modules"], load, begin, group="modules")


async def make_ahead(app: "CatalogueApp", kinds: list[type[Screen[Any]]]) -> None:
    """Build one screen at a time, whenever no key has come for a while."""
    for kind in kinds:
        await _wait_until_idle(app)
        screen = cached_screen(app, kind)
        await mount_screen(app, screen)
        await _draw(app, screen)
    for mode, _ in PAGE_TITLES:
        await _wait_until_idle(app)
        await _draw(app, await mount_mode(app, mode))
    await _wait_until_idle(app)
    freeze_objects()


async def _draw(app: "CatalogueApp", screen: Screen[Any]) -> None:
    """Draw it unseen once, so that Textual's caches are filled."""
    await _wait_until_idle(app)
    if screen is not app.screen and screen.is_running:
        draw_unseen(screen)


async def _wait_until_idle(app: "CatalogueApp") -> None:
    await sleep(BETWEEN)
    while (since := monotonic() - app.touched) < IDLE_SECONDS:
        await sleep(IDLE_SECONDS - since)
