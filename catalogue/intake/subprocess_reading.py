"""Reading one file in a separate process, so that a codec can neither crash this one nor write to its terminal."""

import multiprocessing
import tempfile
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

from catalogue.errors import one_line
from catalogue.indexing.workers import begin, crashed, load_reader, not_served, read_one
from catalogue.progress import Cancelled
from catalogue.reading.model import Reading

LOOK = 0.1  # seconds between two looks whether it should stop


def read_in_subprocess(path: Path, cancelled: Cancelled) -> Reading | None:
    """The file's reading; one that kills its reader twice gives a Reading that says so. None if it was stopped.

    Raises CatalogueError when the process cannot be started, or ends without having been given a file.
    """
    with tempfile.NamedTemporaryFile() as errors:
        for _ in range(2):
            try:
                reading = _served(_read, (str(path), errors.name), cancelled)
            except EOFError:
                continue
            assert reading is None or isinstance(reading, Reading)
            return reading
        return crashed(str(path), lambda: _served(_load, (), cancelled), EOFError, errors.read())


def _served(job: Callable[..., None], given: tuple[str, ...], cancelled: Cancelled) -> object:
    """What ``job`` sends from a fresh process; None if it was stopped. Raises EOFError if the process ended,
    CatalogueError if it was not started."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    reader = context.Process(target=job, args=(theirs, *given), daemon=True)
    try:
        reader.start()
    except OSError as error:
        ours.close()
        raise not_served(one_line(error)) from error
    finally:
        theirs.close()
    try:
        while not ours.poll(LOOK):
            if cancelled():
                return None
        return ours.recv()
    except OSError as error:  # it ended in the middle of its answer
        raise EOFError from error
    finally:
        ours.close()
        reader.kill()
        reader.join()


def _read(out: Connection, path: str, errors_to: str) -> None:
    begin(errors_to)
    out.send(read_one(path))


def _load(out: Connection) -> None:
    begin()
    load_reader()
    out.send(True)
