"""Waiting on conditions. A deadline here only ends a hang: a busy machine may take its time."""

import time
from collections.abc import Callable

HANG_SECONDS = 300.0


def wait_until(condition: Callable[[], object], seconds: float = HANG_SECONDS) -> None:
    """Return as soon as the condition holds; it is asked every 5 ms."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "what was waited for did not come"
        time.sleep(0.005)
