"""Worker threads, each with a resource of its own such as a connection; none can hold up quitting.

Textual's thread workers run in the event loop's pool, which is joined on leaving; a slow disk there would hang the
program. These are daemon threads: on leaving nobody waits for them, and SQLite rolls back what was not committed.
"""

import queue
import sys
import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import redirect_stderr
from typing import Generic, TypeVar

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
        """Queue a job. A future that is cancelled before its turn costs nothing: stale questions are skipped."""
        answer: Future[T] = Future()
        self._jobs.put((answer, job))  # type: ignore[arg-type]
        return answer

    def close(self) -> None:
        """Let the thread end after its present job; does not wait."""
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
            except Exception as error:  # a worker's edge: whoever asked is told
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
