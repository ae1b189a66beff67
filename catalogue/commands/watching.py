"""Watching and stopping long work: a progress bar, and Ctrl-C."""

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

import click

from catalogue.commands.printing import Interrupted, console, note
from catalogue.commands.session import Session
from catalogue.progress import Cancelled, Progress, Report, Stopped, Watch, data_size
from catalogue.untrusted import visible

DONE_IS_KEPT = "What was done so far is kept; run it again to continue."


@contextmanager
def interruptible(words: str = DONE_IS_KEPT) -> Iterator[Cancelled]:
    """A cancel check that Ctrl-C makes true; a second Ctrl-C stops at once.

    ``words`` say what holds after stopping. The command then ends with exit code 2, whatever it gives.
    """
    asked = False
    context = click.get_current_context(silent=True)
    session = context.find_object(Session) if context else None

    def ask(_: int, __: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True
        if session:
            session.stopped = words
        note("Stopping after this file; press Ctrl-C again to stop at once.")

    previous = signal.signal(signal.SIGINT, ask)
    try:
        yield lambda: asked
    except Stopped:
        if not asked:
            raise
        raise Interrupted("Stopped.", hint=words) from None
    finally:
        signal.signal(signal.SIGINT, previous)


@contextmanager
def bar() -> Iterator[Report]:
    """A progress bar on standard error: files, bytes, rate and time left; nothing if no one watches."""
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    with Bar(TextColumn("{task.description}", markup=False), BarColumn(), MofNCompleteColumn(),
             TextColumn("{task.fields[size]}", markup=False),
             TimeRemainingColumn(compact=True), console=console(to_errors=True), transient=True,
             disable=not sys.stderr.isatty()) as shown:
        task = shown.add_task("", total=None, size="")
        started: dict[str, float] = {}

        def report(progress: Progress) -> None:
            begun = started.setdefault(progress.stage, shown.get_time())
            spent = max(shown.get_time() - begun, 1e-3)
            size = ""
            if progress.bytes_done:
                size = f"{data_size(progress.bytes_done)} at {data_size(progress.bytes_done / spent)}/s"
            shown.update(task, description=visible(progress.stage), completed=progress.done, total=progress.total,
                         size=size)

        yield report


@contextmanager
def watched(words: str = DONE_IS_KEPT) -> Iterator[Watch]:
    """The ``report`` and ``cancelled`` for a long operation: progress goes to a :func:`bar`, and it is
    :func:`interruptible`."""
    with interruptible(words) as cancelled, bar() as report:
        yield {"report": report, "cancelled": cancelled}
