"""Worker processes that end when the program that began them does, however it ended."""

import multiprocessing
import os
import signal
import sys
from contextlib import suppress
from multiprocessing.connection import wait
from threading import Thread

PR_SET_PDEATHSIG = 1  # linux/prctl.h


def end_with_parent() -> None:
    """Call first in a worker process: once its parent is gone, killed or not, it ends at once.

    Linux is asked to kill it, also in the middle of a codec. A thread that waits on the parent's sentinel does so
    everywhere, and covers a parent that was gone before the system was asked.
    """
    parent = multiprocessing.parent_process()
    if parent is None:
        return
    if sys.platform == "linux":
        import ctypes

        with suppress(OSError, AttributeError):  # a C library without it: the thread below remains
            ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    Thread(target=_end_after, args=(parent.sentinel,), name="parent watch", daemon=True).start()


def _end_after(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)
