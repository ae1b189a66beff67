"""Asking a worker thread from a screen, with one place for whatever goes wrong."""

from asyncio import wrap_future
from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any, TypeVar, cast

from textual.message_pump import MessagePump
from textual.widget import Widget
from textual.worker import Worker

from catalogue.screens.background.threads import WorkerThread

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp
    from catalogue.screens.key_gate import Hold

R = TypeVar("R")
T = TypeVar("T")


def start_worker(widget: "Widget | CatalogueApp", work: Callable[[], Coroutine[Any, Any, None]], *, group: str,
                 exclusive: bool = True) -> Worker[None]:
    """Run ``work`` beside the screen. If ``exclusive``, newer work of the same group takes its place. Errors go to the
    app's handler."""
    app = cast("CatalogueApp", widget.app)

    async def guarded() -> None:
        try:
            await work()
        except Exception as error:  # a worker's edge
            app.failed(error)
        finally:
            app.gate.ended()

    return widget.run_worker(guarded, group=group, exclusive=exclusive, exit_on_error=False)


def run_in_thread(widget: Widget, thread: WorkerThread[R], job: Callable[[R], T], then: Callable[[T], object], *,
                  group: str, holds: MessagePump | None = None, patience: float | None = None,
                  exclusive: bool = True) -> Worker[None]:
    """Run ``job`` on a thread, then ``then`` on the screen's thread, between two keys.

    If ``exclusive``, a newer question of the same group replaces an older one, whose answer is dropped, and which is
    not even asked if its turn has not come; only for reading.

    ``holds``: whose keys wait for the answer, see :class:`catalogue.screens.key_gate.Hold`. With ``patience`` they wait
    only so many seconds; an answer that comes later than that is dropped, and the person is told.
    """
    app = cast("CatalogueApp", widget.app)
    hold: Hold | None = None

    async def answer() -> None:
        result = await wrap_future(thread.submit(job))
        await app.gate.between_keys()
        if hold is not None and hold.given_up:
            app.say("The disks took a while to answer. Press the key again.", "warning")
        elif widget.is_attached:
            then(result)

    worker = start_worker(widget, answer, group=group, exclusive=exclusive)
    if holds is not None:
        hold = app.gate.hold(holds, worker, patience)
    return worker
