"""Reading one file in a process of its own: what a codec does to its process, or says there, stays there."""

import multiprocessing
import signal
from multiprocessing.connection import Connection
from pathlib import Path

from catalogue.indexing.worker_lifetime import end_with_parent
from catalogue.indexing.workers import fatal, read_one
from catalogue.progress import Cancelled
from catalogue.reading.model import Reading

LOOK = 0.1  # seconds between two looks whether it shall stop


def read_in_subprocess(path: Path, cancelled: Cancelled) -> Reading | None:
    """The file's reading; one that kills its reader gives a Reading that says so. None where it was stopped."""
    context = multiprocessing.get_context("spawn")
    ours, theirs = context.Pipe(duplex=False)
    reader = context.Process(target=_read, args=(str(path), theirs), daemon=True)
    reader.start()
    theirs.close()
    try:
        while not ours.poll(LOOK):
            if cancelled():
                return None
        reading = ours.recv()
        assert isinstance(reading, Reading)
        return reading
    except EOFError:
        return fatal(str(path))
    finally:
        ours.close()
        reader.kill()
        reader.join()


def _read(path: str, out: Connection) -> None:
    end_with_parent()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    out.send(read_one(path))
