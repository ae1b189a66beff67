"""A pool of one thread a processor, each with its matrix products held to that thread.

Otherwise every thread would have its products computed by as many threads again, which then wait for each other.
"""

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache

from threadpoolctl import ThreadpoolController


@contextmanager
def thread_pool() -> Iterator[ThreadPoolExecutor]:
    """A pool for work on arrays that leaves Python's lock alone most of the time."""
    with _products().limit(limits=1, user_api="blas"), ThreadPoolExecutor(os.cpu_count()) as pool:
        yield pool


@cache
def _products() -> ThreadpoolController:
    return ThreadpoolController()
