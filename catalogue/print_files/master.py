"""A picture file opened for one pass: its rows, and the digest of its bytes computed alongside."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Event

from catalogue.errors import CatalogueError, Damaged
from catalogue.progress import Stopped
from catalogue.reading.handles import Hashing, file_state, open_without_waiting
from catalogue.reading.kinds import HEAD_BYTES, format_of
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.opening import open_source
from catalogue.reading.source import Source

LIMITS = Limits(seconds=7 * 86_400.0)
HINT = "Do not print from it. Restore a good copy: catalogue restore."


@dataclass(frozen=True, slots=True)
class OpenPicture:
    """``finish`` waits for the digest, and gives it once the file proved whole and unchanged."""

    path: Path
    source: Source
    finish: Callable[[], str]


@contextmanager
def opened_picture(path: Path, *, digested: bool = True) -> Iterator[OpenPicture]:
    """Open a picture file; both of its handles are of one file, which must stay what it is until ``finish``, which
    gives "" if it is not ``digested``.

    Raises CatalogueError if it cannot be opened or is no picture; ``finish`` raises Damaged or CatalogueError.
    """
    try:
        with (open(path, "rb", opener=open_without_waiting) as file,
              open(path, "rb", 0, opener=open_without_waiting) as raw):
            before = file_state(os.fstat(file.fileno()))
            kind = format_of(file.read(HEAD_BYTES))
            if not kind or file_state(os.fstat(raw.fileno())) != before:
                raise Damaged("The file is not a picture, or has just been replaced.", path=path)
            source = open_source(file, kind, before[2], LIMITS, Deadline.after(LIMITS.seconds))
            stop = Event()

            def go_on() -> None:
                if stop.is_set():
                    raise Stopped

            hashing = Hashing(raw, (), go_on)

            def finish() -> str:
                if digested:
                    hashing.join()
                if hashing.error is not None:
                    raise _unreadable(path, hashing.error) from hashing.error
                faults = [*source.faults, *(source.samples.final_faults() if source.samples else ())]
                if faults:
                    raise Damaged(f"The picture could not be read in full: {faults[0].detail}.", hint=HINT, path=path)
                if any(file_state(os.fstat(handle.fileno())) != before for handle in (raw, file)):
                    raise Damaged("The file was changed while it was read.", path=path,
                                  hint="Try again when nothing is writing to it.")
                return hashing.digest.sha256

            if digested:
                hashing.start()
            try:
                yield OpenPicture(path, source, finish)
            finally:
                stop.set()
                if digested:
                    hashing.join()
    except OSError as error:
        raise _unreadable(path, error) from error


def _unreadable(path: Path, error: Exception) -> CatalogueError:
    reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return CatalogueError(f"The file cannot be read: {reason}.", hint="Is its disk still connected?", path=path)
