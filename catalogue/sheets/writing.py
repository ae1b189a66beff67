"""Writing sheets to files: never over another file, never into a store."""

import re
from collections.abc import Iterable
from pathlib import Path

from catalogue.errors import CatalogueError, InsideStore
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.records.stores import Store
from catalogue.storage.atomic import write_atomically
from catalogue.storage.atomic import write_new as write_new_file
from catalogue.storage.identity import inside


def write_new(path: Path, text: str) -> Path:
    """Write a text file where none stands yet, whole or not at all; UTF-8, the same line ends everywhere.

    Raises Refused if something is there already, CatalogueError if the folder is not there or cannot be written.
    """
    return write_new_bytes(path, text.encode())


def write_new_bytes(path: Path, data: bytes) -> Path:
    """Write a new file, whole or not at all. Raises as :func:`write_new`."""
    target = path.expanduser().absolute()
    if not target.parent.is_dir():
        raise CatalogueError("There is no such folder to write to.", path=target.parent)
    write_new_file(target, data)
    return target


def write_sheet(db: Database, path: Path, text: str) -> Path:
    """:func:`write_new` into a folder outside all stores."""
    outside(path.expanduser().absolute().parent, stores.listed(db))
    return write_new(path, text)


def write_again(path: Path, text: str) -> Path:
    """Replace a sheet in our own folder, in one step. Raises CatalogueError."""
    write_atomically(path, text.encode())
    return path


def outside(folder: Path, known: Iterable[Store]) -> Path:
    """The absolute path of the folder; raises InsideStore if it is in a store."""
    absolute = folder.expanduser().absolute()
    for store in known:
        if inside(absolute, Path(store.root)):
            raise InsideStore(store.name, absolute, message="This folder is in the store {!r}, where nothing is"
                              " written.", hint="Choose a folder beside it.")
    return absolute


def safe_name(text: str) -> str:
    """Text made safe as part of a file name on any system."""
    return re.sub(r"[^\w\-.,()' ]+", "-", text)[:80].strip(" .") or "sheet"
