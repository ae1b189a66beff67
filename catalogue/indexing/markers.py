"""The marker at a store's root, by which it is known again: read, and written once with consent."""

import json
import os
from pathlib import Path

from catalogue.errors import CatalogueError, Refused
from catalogue.storage.atomic import write_atomically, write_new
from catalogue.storage.folders import MARKER, marker_facts_in, open_folder


def read_marker(root: Path) -> str | None:
    """The id in the marker at ``root``, or None where there is none that can be read."""
    return marker_facts(root).get("store")


def marker_facts(root: Path) -> dict[str, str]:
    """``store`` (the id) and ``name`` from the marker at ``root``, as far as a small file there says them."""
    try:
        with open_folder(root) as folder:
            return marker_facts_in(folder)
    except OSError:
        return {}


def write_marker(root: Path, name: str, marker: str) -> str:
    """Write a store's marker, never over another file; gives its id. Raises CatalogueError, Refused."""
    text = json.dumps({"store": marker, "name": name,
                       "note": "Marks this folder as a scan store, so that it is recognised again. Please do not "
                               "remove it."}, indent=1) + "\n"
    path = root / MARKER
    try:
        if os.path.lexists(path) and os.lstat(path).st_size == 0 and path.is_file():
            write_atomically(path, text.encode())  # left empty by a disk that was full
        else:
            write_new(path, text.encode())
    except Refused as error:
        if os.path.lexists(path):
            raise Refused("Another file has the marker's name, or it is damaged.",
                          hint="Look at it, and move it elsewhere; or add the store with --no-marker.",
                          path=path) from error
        raise CatalogueError(f"The marker was not written, and the store was not added: {error.message}",
                             hint="Allow writing once, or add the store with --no-marker.", path=root) from error
    except CatalogueError as error:
        raise CatalogueError(f"The store was not added, because its marker cannot be written: {error.message}",
                             hint=error.hint or "Add the store with --no-marker.", path=root) from error
    return marker
