"""Shared by everything that reads picture files: handles, a file's state, the digesting thread."""

import os
from collections.abc import Callable
from io import RawIOBase
from threading import Thread

from catalogue.reading.digests import BytesDigest, digest_stretches
from catalogue.reading.model import SegmentDigest


def open_without_waiting(path: str, flags: int) -> int:
    """An ``opener`` for ``open`` that does not wait for a writer if a pipe has replaced the file."""
    return os.open(path, flags | os.O_NONBLOCK)


def file_state(status: os.stat_result) -> tuple[int, ...]:
    """What changes when a file is written to or replaced by another: device, inode, bytes, times in ns."""
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns


class Hashing(Thread):
    """Digests of an open file beside its decoding: both walk the file together, so the disk is read once.

    ``go_on`` is called between buffers and raises to stop. ``error``, once joined, is what it or the medium raised.
    """

    def __init__(self, file: RawIOBase, stretches: tuple[SegmentDigest, ...], go_on: Callable[[], None]) -> None:
        super().__init__(name="sha-256", daemon=True)
        self.file, self.stretches, self.go_on = file, stretches, go_on
        self.digest = BytesDigest("", ())
        self.error: Exception | None = None

    def run(self) -> None:
        try:
            self.digest = digest_stretches(self.file, self.stretches, self.go_on)
            self.error = self.digest.error
        except Exception as error:  # the thread's edge: reported to the joining thread
            self.error = error
