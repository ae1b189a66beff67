"""Watching for changes: stores connected or disconnected, and writes by others to the catalogue."""

from asyncio import wrap_future
from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any

from catalogue.records import browsing
from catalogue.records.database import Database, others_writes
from catalogue.screens.background.threads import start_worker
from catalogue.screens.page import Page
from catalogue.screens.textual_internals import open_screens_of
from catalogue.screens.widgets.bars import PageBar

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

DISK_SECONDS = 5.0      # between two looks whether the stores are connected
WRITTEN_SECONDS = 3.0   # between two looks whether anyone has written


class ChangeWatch:
    """Looks for changes every few seconds and tells the pages; those that nobody sees when they are seen again.

    ``online``: store id to whether it was connected when last looked. ``damaged``: open findings that are damage.
    ``changes``: how often the catalogue was seen to have changed.
    """

    def __init__(self, app: "CatalogueApp") -> None:
        self._app = app
        self.online: dict[int, bool] = {}
        self._looking: set[str] = set()     # looks under way, by name
        self._failing: set[str] = set()     # looks that failed last time
        self._written: int | None = None
        self.damaged = 0
        self.changes = 0

    def begin(self) -> None:
        """Look every few seconds from now on; at the disks only once :meth:`look_at_disks` is called."""
        self.look_for_writes()
        self._app.set_interval(DISK_SECONDS, self.look_at_disks)
        self._app.set_interval(WRITTEN_SECONDS, self.look_for_writes)

    def tell(self, *, of_others: bool = False) -> None:
        """Announce a change: the visible page updates if it follows others' changes or the change was ours."""
        self.changes += 1
        if not of_others:
            self._note_own_writes()
        seen = self.seen()
        updated = seen if seen is not None and (seen.FOLLOWS or not of_others) else None
        for page in self._pages():
            page.stale = page is not updated
        if updated is not None:
            updated.catalogue_changed()

    def _note_own_writes(self) -> None:
        """Record our own writes on another connection, so that they are shown at once."""
        written = self._app.threads["read"].submit(others_writes)    # before what the pages read now

        async def note() -> None:
            self._written = await wrap_future(written)
            await self._count_damage()

        start_worker(self._app, note, group="own writes")

    def look_for_writes(self) -> None:
        """Check whether anyone else has written to the catalogue: a job of ours, another workstation, a command."""
        self._run(self._look_for_writes)

    async def _look_for_writes(self) -> None:
        written = await wrap_future(self._app.threads["read"].submit(others_writes))
        unread = self._look_for_writes.__name__ in self._failing    # nor could the pages read
        if unread or self._written not in (None, written):
            self.tell(of_others=True)
        if self._written != written:
            self._written = written
            await self._count_damage()

    async def _count_damage(self) -> None:
        damaged = await wrap_future(self._app.threads["read"].submit(browsing.damaged))
        if damaged != self.damaged:
            self.damaged = damaged
            for page in self._pages():
                page.query_one(PageBar).refresh()

    def _run(self, look: Callable[[], Coroutine[Any, Any, None]]) -> None:
        """Look, unless the previous look is still running; an error is reported once, not at every look."""
        name, screens = look.__name__, self._app.screen_stack
        if name in self._looking or not screens or not self._app.home.database.exists():
            return
        self._looking.add(name)

        async def looked() -> None:
            try:
                await look()
            except Exception:
                if name in self._failing:
                    return
                self._failing.add(name)
                raise
            finally:
                self._looking.discard(name)
            self._failing.discard(name)

        start_worker(screens[0], looked, group=name)  # which stays; a panel may go meanwhile

    def look_at_disks(self) -> None:
        """Check which stores are connected; pages that show it are told of changes."""
        self._run(self._look_at_disks)

    async def _look_at_disks(self) -> None:
        def look(db: Database) -> dict[int, tuple[str, bool]]:
            from catalogue.indexing.locating import locate_store
            from catalogue.records import stores

            return {store.id: (store.name, locate_store(db, store) is not None) for store in stores.listed(db)}

        away = await wrap_future(self._app.threads["disks"].submit(look))
        now = {store_id: connected for store_id, (_, connected) in away.items()}
        changed = now != self.online
        for store_id, connected in now.items():
            if self.online.get(store_id, connected) != connected:
                name = away[store_id][0]
                self._app.say(f"{name} is back online." if connected else f"{name} is offline. Its scans stay listed.",
                              "information" if connected else "warning")
        self.online = now
        if changed:
            for page in self._pages():
                page.stores_changed()

    def seen(self) -> Page | None:
        """The visible page, perhaps under a panel."""
        return next((screen for screen in reversed(self._app.screen_stack) if isinstance(screen, Page)), None)

    def _pages(self) -> list[Page]:
        return [screen for screen in open_screens_of(self._app) if isinstance(screen, Page) and screen.is_running]
