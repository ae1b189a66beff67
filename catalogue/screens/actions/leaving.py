"""Quitting: long work is stopped and everything recorded first, unless the person decides otherwise."""

from asyncio import get_running_loop, sleep
from typing import TYPE_CHECKING

from catalogue.screens.background.threads import start_worker
from catalogue.screens.dialogs.confirm import confirm

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

PATIENCE = 3.0      # seconds a stopped job may take before the program leaves without it


def leave(app: "CatalogueApp") -> None:
    """Quit, asking first if long work is running."""
    work = app.work
    if work is None:
        start_worker(app, lambda: _leave(app), group="leave")
        return

    def stop() -> None:
        if app.work is not None:
            app.work.stop()
        start_worker(app, lambda: _leave(app), group="leave")

    confirm(app, f"{work.name} is running.", "What is done is kept; the next run continues from there.", stop,
            yes="Stop and quit", no="Stay")


async def _leave(app: "CatalogueApp") -> None:
    """Quit once the work has ended, or its time is up, and everything is recorded; otherwise ask."""
    patient_until = get_running_loop().time() + PATIENCE
    while app.work is not None and not app.work.wait(0) and get_running_loop().time() < patient_until:
        await sleep(0.05)
    if await app.writes.drain(PATIENCE):
        app.exit()
        return

    def give_up() -> None:
        app.writes.give_up()
        app.exit()

    confirm(app, "Some changes are not recorded yet.", "Another program is writing to the catalogue. Waiting:\n\n"
            + "\n".join(app.writes.open), give_up, yes="Quit without them", no="Wait", careful=True)
