"""Worker threads, each with its own resource such as a connection; none can delay quitting. And running jobs on them.

Textual's thread workers run in the event loop's pool, which is joined on quitting; a slow disk there would hang the
program. These are daemon threads: nobody waits for them, and SQLite rolls back what was not committed.
"""

import queue
import sys
import threading
from asyncio import wrap_future
from collections.abc import Callable, Coroutine
from concurrent.futures import Future
from contextlib import redirect_stderr
from typing import TYPE_CHECKING, Any, Generic, TypeVar, cast

from textual.message_pump import MessagePump
from textual.widget import Widget
from textual.worker import Worker

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp
    from catalogue.screens.key_gate import Hold

R = TypeVar("R")
T = TypeVar("T")


def ensure_resource_tracker() -> None:
    """Before worker processes may be started: start Python's helper for them, which is handed standard error.

    While the screens run, Textual's stand-in for it has no file number, with which the helper cannot start.
    """
    from multiprocessing import resource_tracker  # 3 ms that no start needs

    with redirect_stderr(sys.__stderr__):
        resource_tracker.ensure_running()


class WorkerThread(Generic[R]):
    """One thread that does one job after the other with a resource made in that thread, such as a connection."""

    def __init__(self, name: str, resource: Callable[[], R]) -> None:
        self._make = resource
        self._jobs: queue.SimpleQueue[tuple[Future[object], Callable[[R], object]] | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name=f"catalogue-{name}", daemon=True)
        self._thread.start()

    def submit(self, job: Callable[[R], T]) -> "Future[T]":
        """Queue a job. A future cancelled before its turn costs nothing, so stale questions are skipped."""
        answer: Future[T] = Future()
        self._jobs.put((answer, job))  # type: ignore[arg-type]
        return answer

    def close(self) -> None:
        """Let the thread end after its present job, without waiting."""
        self._jobs.put(None)

    def _run(self) -> None:
        resource: R | None = None
        while (entry := self._jobs.get()) is not None:
            answer, job = entry
            if not answer.set_running_or_notify_cancel():
                continue
            try:
                if resource is None:
                    resource = self._make()
                answer.set_result(job(resource))
            except Exception as error:  # a worker's edge: reported to the caller
                answer.set_exception(error)
        closing = getattr(resource, "close", None)
        if closing is not None:
            closing()


class WorkerThreads(Generic[R]):
    """Threads by name, each begun when first asked, with a resource of its own."""

    def __init__(self, resource: Callable[[], R]) -> None:
        self._resource = resource
        self._begun: dict[str, WorkerThread[R]] = {}

    def __getitem__(self, name: str) -> WorkerThread[R]:
        if name not in self._begun:
            self._begun[name] = WorkerThread(name, self._resource)
        return self._begun[name]

    def close(self) -> None:
        """Let them all end; waits for none."""
        for thread in self._begun.values():
            thread.close()


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
