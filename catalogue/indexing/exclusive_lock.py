"""A lock that lets one run of a kind (index, audit, copy) work on a catalogue at a time."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from catalogue.errors import Busy, CatalogueError
from catalogue.settings import Home
from catalogue.storage.medium import writing


@contextmanager
def exclusive_lock(home: Home, kind: str) -> Iterator[None]:
    """Hold the catalogue's lock for a ``kind`` of work; it is released when the process ends, however it ends.

    Raises Busy: another program holds it. CatalogueError: the folder cannot be written to, or does not support locks.
    """
    path = home.folder / f"{kind}.lock"
    with writing(path):
        home.folder.mkdir(parents=True, exist_ok=True)
        lock = path.open("w")
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Busy(f"Another {kind} run is in progress on this catalogue.", hint="Wait until it has finished.",
                       path=home.folder) from error
        except OSError as error:
            raise CatalogueError(f"The catalogue's folder cannot be locked: {error.strerror}.",
                                 hint="Keep the catalogue on a disk of this computer.", path=path) from error
        yield
    finally:
        with suppress(OSError):  # nothing was written into it
            lock.close()
