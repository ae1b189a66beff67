"""The system's printer, through its ``lp`` command (CUPS, POSIX)."""

import shutil
import subprocess
from pathlib import Path

from catalogue.errors import CatalogueError

SECONDS = 60    # for lp to take a file; it queues it and does not wait for paper


def send_to_printer(path: Path, title: str) -> str:
    """Queue a file on the default printer; returns what ``lp`` answered, such as ``request id is office-12 (1
    file(s))``.

    Raises CatalogueError: there is no ``lp`` here, no printer takes the file, or ``lp`` does not answer.
    """
    command = shutil.which("lp")
    by_hand = "Open the sheet and print it from there."
    if command is None:
        raise CatalogueError("There is no lp command on this system, so nothing was printed.", hint=by_hand)
    try:
        done = subprocess.run([command, "-t", title, str(path.absolute())], stdin=subprocess.DEVNULL,
                              capture_output=True, timeout=SECONDS, check=False)
    except subprocess.TimeoutExpired as error:
        raise CatalogueError(f"The printing system has not answered for {SECONDS} seconds.", hint=by_hand,
                             path=path) from error
    except OSError as error:
        raise CatalogueError(f"lp cannot be started: {error.strerror}.", hint=by_hand, path=path) from error
    if done.returncode:
        message = " ".join(done.stderr.decode(errors="replace").split()) or f"lp ended with {done.returncode}"
        raise CatalogueError(f"Nothing was printed: {message.rstrip('.')}.",
                             hint=f"Set up a printer on this system. {by_hand}", path=path)
    return " ".join(done.stdout.decode(errors="replace").split())
