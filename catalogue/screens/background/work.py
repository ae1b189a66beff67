"""Long work: one job at a time in its own thread, with progress, and three distinct outcomes."""

import threading
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from time import monotonic
from typing import Any

from catalogue.progress import Cancelled, Progress, Report, Stopped
from catalogue.records.database import Database, open_seat
from catalogue.screens.background.threads import ensure_resource_tracker
from catalogue.settings import Home

Job = Callable[[Database, Report, Cancelled], Any]


@dataclass
class Work:
    """One long job. ``progress`` is the latest report, which the screen polls."""

    name: str
    job: Job
    describe: Callable[[Any], str] = str                    # the result in words
    then: Callable[[Any], object] | None = None         # who wants it, if the work came to its end
    progress: Progress = field(default_factory=lambda: Progress(""))
    _stop: threading.Event = field(default_factory=threading.Event)
    _since: float = field(default_factory=monotonic)
    _thread: threading.Thread | None = None

    @property
    def ending(self) -> bool:
        return self._stop.is_set()

    def seconds(self) -> float:
        return monotonic() - self._since

    def stop(self) -> None:
        """Ask it to stop after the present file."""
        self._stop.set()

    def wait(self, seconds: float) -> bool:
        """Wait at most this long; whether it has ended."""
        if self._thread is not None:
            self._thread.join(seconds)
            return not self._thread.is_alive()
        return True

    def start(self, home: Home, ended: "Callable[[Work, Any, Exception | None, bool], object]") -> None:
        """Begin, in a daemon thread with a connection of its own.

        ``ended`` is called there at the end: with the work's result; or, if it was stopped before (the last argument),
        with what was done until then, None if its service gave up midway; or with an error: what was committed before
        it stays.
        """

        def run() -> None:
            result, error = None, None
            try:
                with closing(open_seat(home)) as db:
                    result = self.job(db, self._report, self._stop.is_set)
            except Stopped:
                pass
            except Exception as fault:  # a worker's edge: the screen says what happened
                error = fault
            ended(self, result, error, self._stop.is_set())

        ensure_resource_tracker()
        self._thread = threading.Thread(target=run, name="catalogue-work", daemon=True)
        self._thread.start()

    def _report(self, progress: Progress) -> None:
        if progress.stage != self.progress.stage:
            self._since = monotonic()
        self.progress = progress
