"""Run the program as its command does, with a stopwatch on its event loop.

    python scripts/screens_stopwatch.py REPORT [what the command takes]

Every turn of the loop that takes longer than some milliseconds is written to REPORT as JSON on leaving: when it began
(the clock of `time.perf_counter`, which on Linux and macOS all processes share), how long it took by the clock and of
the thread's processor time, in seconds, and what ran. Nothing else can be handled during a turn: its length is what a
key pressed meanwhile waits.
"""

import atexit
import json
import sys
import time
from asyncio import Handle
from pathlib import Path

LONG = 0.01  # seconds


def watch_turns(report: Path) -> None:
    """Time every callback of every event loop from now on."""
    run = Handle._run
    turns: list[tuple[float, float, float, str]] = []

    def timed(handle: Handle) -> None:
        began, spent = time.perf_counter(), time.thread_time()
        run(handle)
        took = time.perf_counter() - began
        if took > LONG:
            turns.append((began, took, time.thread_time() - spent, repr(handle)[:200]))

    Handle._run = timed  # type: ignore[method-assign, assignment]
    atexit.register(lambda: report.write_text(json.dumps(turns)))


if __name__ == "__main__":
    watch_turns(Path(sys.argv.pop(1)))
    from catalogue.commands import main

    main()
