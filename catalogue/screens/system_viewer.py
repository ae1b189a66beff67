"""Opening a file in the system's viewer: choosing the command, and starting it without waiting."""

import shlex
import shutil
import subprocess
import sys
from pathlib import Path

from catalogue.errors import CatalogueError


def viewer(path: Path, open_with: str, system: str = sys.platform) -> list[str]:
    """The command that opens ``path``: that of the settings, else the system's."""
    if open_with:
        return [*shlex.split(open_with), str(path)]
    return ["open", str(path)] if system == "darwin" else ["xdg-open", str(path)]


def revealer(path: Path, system: str = sys.platform) -> list[str]:
    """The command that shows ``path`` in its folder."""
    return ["open", "-R", str(path)] if system == "darwin" else ["xdg-open", str(path.parent)]


def start_program(command: list[str], hint: str = "Set open_with in settings.toml to a program you have.") -> None:
    """Start a command of the desktop, on its own. ``hint``: what to do where there is no such program.

    Raises:
        CatalogueError: there is no such program here, or it cannot be started.
    """
    if shutil.which(command[0]) is None:
        raise CatalogueError(f"There is no program {command[0]!r} on this computer.", hint=hint)
    try:
        subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                         start_new_session=True)
    except OSError as error:
        raise CatalogueError(f"{command[0]!r} cannot be started: {error.strerror}.") from error
