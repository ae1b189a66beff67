"""Progress and cancellation of long work.

A service takes ``report`` and ``cancelled``; it calls ``report`` often (the receiver thins it out) and asks
``cancelled()`` between two files or two buffers. It never knows whether a bar, a screen or a test listens.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypedDict


class Stopped(Exception):
    """Work was cancelled: ``cancelled()`` returned true before it was finished."""


@dataclass(frozen=True, slots=True)
class Progress:
    """Work done so far. ``total`` and ``bytes_total`` are ``None`` while unknown. ``estimate``: rate and time left in
    words, where the service knows them better than who listens, as under a time budget."""

    stage: str
    done: int = 0
    total: int | None = None
    bytes_done: int = 0
    bytes_total: int | None = None
    note: str = ""
    estimate: str = ""


def data_size(count: float) -> str:
    """Bytes for people, decimal units."""
    for unit in ("B", "kB", "MB", "GB"):
        if count < 1000:
            return f"{count:.0f} {unit}" if unit == "B" else f"{count:.1f} {unit}"
        count /= 1000
    return f"{count:.1f} TB"


Report = Callable[[Progress], None]
Cancelled = Callable[[], bool]


class Watch(TypedDict, total=False):
    """``report`` and ``cancelled`` as one, for what only passes them on: ``**watch``."""

    report: Report
    cancelled: Cancelled


@dataclass(slots=True)
class OfMany:
    """Reports the copying of one file after another as progress over all of them.

    A file counts as a whole while its copy is read back.
    """

    report: Report
    stage: str
    total: int
    bytes_total: int
    done: int = 0
    bytes_done: int = 0

    def __call__(self, progress: Progress) -> None:
        part = progress.bytes_done if progress.stage == "copy" else progress.bytes_total or 0
        self.report(Progress(self.stage, self.done, self.total, self.bytes_done + part, self.bytes_total))

    def next(self, size: int) -> None:
        """Move on to the next file after one of this size, copied or not."""
        self.done, self.bytes_done = self.done + 1, self.bytes_done + size
        self.report(Progress(self.stage, self.done, self.total, self.bytes_done, self.bytes_total))


def ignore_progress(_: Progress) -> None:
    """A ``report`` that does nothing."""


def never_cancelled() -> bool:
    """A ``cancelled`` that is never true."""
    return False
