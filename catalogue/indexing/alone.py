"""One run of a kind at a time on one catalogue."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager

from catalogue.errors import Busy
from catalogue.settings import Home


@contextmanager
def alone(home: Home, kind: str) -> Iterator[None]:
    """Hold the catalogue's lock for ``kind`` of work; it goes with the process, however that ends.

    Raises :class:`Busy` when another program holds it.
    """
    home.folder.mkdir(parents=True, exist_ok=True)
    with (home.folder / f"{kind}.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Busy(f"Another {kind} run is under way on this catalogue.", hint="Wait until it is done.",
                       path=home.folder) from error
        yield
