"""Putting sheets into files: never over another file, never into a store."""

import re
from collections.abc import Iterable
from pathlib import Path

from catalogue.errors import CatalogueError, Refused
from catalogue.fixity.copying import write_atomically
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.records.stores import Store


def write_new(path: Path, text: str) -> Path:
    """Write a text file where none stands yet; UTF-8, the same line ends everywhere.

    Raises Refused where something is there already, CatalogueError where nothing can be written.
    """
    place = path.expanduser().absolute()
    try:
        with place.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError as error:
        raise Refused("Something of that name is there already; it is not overwritten.", path=place) from error
    except OSError as error:
        raise CatalogueError(f"The file cannot be written: {error.strerror}.", path=place) from error
    return place


def write_sheet(db: Database, path: Path, text: str) -> Path:
    """:func:`write_new`, where the folder lies in no store."""
    outside(path.expanduser().absolute().parent, stores.listed(db))
    return write_new(path, text)


def write_again(path: Path, text: str) -> Path:
    """Write a sheet of our own folder anew, in one step. Raises CatalogueError."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CatalogueError(f"The folder cannot be made: {error.strerror}.", path=path.parent) from error
    write_atomically(path, text.encode())
    return path


def outside(folder: Path, known: Iterable[Store]) -> Path:
    """The folder, made absolute; raises Refused where it lies within a store, for nothing is written there."""
    place = folder.expanduser().absolute()
    for store in known:
        if place.resolve().is_relative_to(Path(store.root).resolve()):
            raise Refused(f"This folder lies within the store {store.name!r}, where nothing is written.",
                          hint="Choose a folder beside it.", path=place)
    return place


def safe_name(text: str) -> str:
    """Text as part of a file name on any system."""
    return re.sub(r"[^\w\-.,()' ]+", "-", text)[:80].strip(" .") or "sheet"
