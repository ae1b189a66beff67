"""Lists beside the catalogue by which tidying a store, or freeing doubles and print files in it, is undone.

A JSON line a file, flushed to the disk before the file itself is touched: ``from``, ``to``, ``sha256``. The first line
names the store by its marker and what the list is of; ``end`` says that nothing is left to be finished.
"""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError, Refused
from catalogue.records import stores
from catalogue.records.database import Database, now
from catalogue.records.paths import unsafe_escaped_path
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.medium import sync_folder, write_all, writing
from catalogue.untrusted import LIST_BYTES, read_regular

NOT_AN_UNDO_FILE = "This is not an undo file."
TIDYING, DOUBLES, PRINT_FILES = "tidy", "doubles", "prints"


@dataclass(frozen=True, slots=True)
class UndoList:
    """A list as read. ``store`` is a marker, ``kind`` TIDYING, DOUBLES or PRINT_FILES."""

    store: str
    kind: str
    entries: tuple[dict[str, str], ...]
    ended: bool


def undo_folder(home_folder: Path) -> Path:
    """Where the lists are kept."""
    return home_folder / "undo"


@contextmanager
def new_list(home: Home, store: Store, kind: str) -> Iterator[tuple[Path, int]]:
    """A new list, open for :func:`write_line`, on the disk with its first line.

    Raises CatalogueError if it cannot be written.
    """
    folder = undo_folder(home.folder)
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    moment = "".join(c for c in now()[:23] if c.isalnum())
    path = folder / f"{kind}-{store.id}-{moment}.jsonl"
    with writing(path), appending(path, os.O_CREAT | os.O_EXCL) as undo:
        write_line(undo, {"store": store.marker, "name": store.name, "at": now(), "kind": kind})
        sync_folder(path.parent)
        yield path, undo


@contextmanager
def appending(path: Path, flags: int = 0) -> Iterator[int]:
    """A list held open for appending. Nothing is left to be written when it is closed."""
    fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CLOEXEC | flags, 0o666)
    try:
        yield fd
    finally:
        with suppress(OSError):  # each line was flushed, and that was asked about
            os.close(fd)


def write_line(undo: int, entry: dict[str, str]) -> None:
    """Write one line and flush it to the disk. Raises OSError."""
    write_all(undo, memoryview((json.dumps(entry, ensure_ascii=True) + "\n").encode()))
    os.fsync(undo)


def read_list(path: Path) -> UndoList:
    """A list; a last line cut short is left out. A list without a kind is of a tidying, the only kind there once was.

    Raises:
        CatalogueError: it cannot be read, or is no undo file.
    """
    try:
        lines = read_regular(path, LIST_BYTES, follow=True).decode("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CatalogueError("The undo file cannot be read.", path=path) from error
    entries = []
    for number, line in enumerate(lines, 1):
        try:
            entries.append((number, json.loads(line)))
        except (ValueError, RecursionError):  # killed while it wrote this line: nothing was moved for it
            continue
    header = entries[0][1] if entries else None
    if not isinstance(header, dict) or not isinstance(header.get("store"), str):
        raise CatalogueError(NOT_AN_UNDO_FILE, path=path)
    moves = tuple(entry for number, entry in entries[1:] if _is_move(number, entry, path))
    return UndoList(header["store"], str(header.get("kind", TIDYING)), moves,
                    any("end" in entry for _, entry in entries[1:]))


def store_of(db: Database, undo: UndoList) -> Store | None:
    """The store in use that a list is of."""
    return next((store for store in stores.listed(db) if store.marker == undo.store), None)


def _is_move(number: int, entry: object, path: Path) -> bool:
    """Whether a line of an undo file is a move. Raises Refused for one that leads out of the store."""
    if not isinstance(entry, dict):
        raise CatalogueError(NOT_AN_UNDO_FILE, path=path)
    if "to" not in entry:
        return False
    values = [entry.get(key) for key in ("from", "to", "sha256")]
    if not all(isinstance(value, str) for value in values):
        raise Refused(f"Nothing was moved: line {number} of the undo file is not a move.", path=path)
    for moved in values[:2]:
        if reason := unsafe_escaped_path(str(moved)):
            raise Refused(f"Nothing was moved: line {number} of the undo file is refused: {reason}.", path=path)
    return True
