"""The queue of the screens' writes: performed in order, one at a time, none dropped.

One thread with its own connection. While another program writes to the catalogue a write waits as long as necessary,
and the work line says so; a failed write is reported with what was not done.
"""

from asyncio import get_running_loop, shield, sleep, wrap_future
from collections.abc import Callable
from threading import Event
from time import monotonic
from typing import TYPE_CHECKING, Any, TypeVar

from textual.message_pump import MessagePump

from catalogue.errors import Busy
from catalogue.records.database import Database
from catalogue.screens.background.threads import start_worker

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

T = TypeVar("T")

SLOW = 1.0      # seconds after which it is said that a write waits
LOOK = 0.02     # seconds between two looks, on leaving


class WriteQueue:
    """The queue of the app's writes."""

    def __init__(self, app: "CatalogueApp") -> None:
        self._app = app
        self._open: list[tuple[str, float]] = []    # what completes "Not done: ...", and since when it waits
        self._left = Event()

    @property
    def open(self) -> list[str]:
        """Writes not recorded yet, the oldest first."""
        return [name for name, _ in self._open]

    @property
    def slow(self) -> bool:
        """Whether the oldest write has waited long enough to be noticed."""
        return bool(self._open) and monotonic() - self._open[0][1] > SLOW

    def add(self, name: str, job: Callable[[Database], T], then: Callable[[T], object], *,
            holds: MessagePump, failed: Callable[[Exception], object] | None = None) -> None:
        """Record something after what was added before; then ``then`` with the result, on the screen's thread.

        ``holds``: the page whose keys wait until that is done. ``failed`` gets the error in place of the person.
        """
        app, write = self._app, (name, monotonic())
        self._open.append(write)

        def attempt(db: Database) -> T:
            while True:
                try:
                    return job(db)
                except Busy:
                    if self._left.is_set():
                        raise

        answer = app.threads["write"].submit(attempt)

        async def record() -> None:
            result: Any = None
            error: Exception | None = None
            try:
                result = await shield(wrap_future(answer))
            except Exception as fault:  # a worker's edge: reported below
                error = fault
            self._open.remove(write)
            await app.gate.between_keys()
            if error is None:
                then(result)
            elif failed is not None:
                failed(error)
            else:
                app.failed(error, not_done=name)

        app.gate.hold(holds, start_worker(app, record, group="writes", exclusive=False))

    async def drain(self, seconds: float) -> bool:
        """Wait until everything is recorded, at most this long; whether it is."""
        until = get_running_loop().time() + seconds
        while self._open and get_running_loop().time() < until:
            await sleep(LOOK)
        return not self._open

    def give_up(self) -> None:
        """The person is quitting: wait for no lock any more."""
        self._left.set()
