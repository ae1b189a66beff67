"""Work off the screen's thread: asking a lane, with one place for whatever goes wrong."""

from asyncio import wrap_future
from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any, TypeVar, cast

from textual.widget import Widget
from textual.worker import Worker

from catalogue.screens.lanes import Lane

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

R = TypeVar("R")
T = TypeVar("T")


def run(widget: Widget, work: Callable[[], Coroutine[Any, Any, None]], *, group: str) -> Worker[None]:
    """Run ``work`` beside the screen; newer work of the same group takes its place. Errors go to the app's handler."""
    app = cast("CatalogueApp", widget.app)

    async def guarded() -> None:
        try:
            await work()
        except Exception as error:  # a worker's edge
            app.failed(error)

    return widget.run_worker(guarded, group=group, exclusive=True, exit_on_error=False)


def ask(widget: Widget, lane: Lane[R], job: Callable[[R], T], then: Callable[[T], object], *,
        group: str) -> Worker[None]:
    """Run ``job`` on a lane, then ``then`` on the screen's thread.

    A newer question of the same group replaces an older one, whose answer is dropped, and which is not even asked if
    its turn has not come.
    """
    async def answer() -> None:
        result = await wrap_future(lane.ask(job))
        if widget.is_attached:
            then(result)

    return run(widget, answer, group=group)
