"""Stores are added, moved and retired; what is written at a store's root, its marker, is written here."""

import json
import os
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from catalogue.errors import CatalogueError, Refused
from catalogue.indexing.locating import (
    UNMARKED,
    has_lost_marker,
    marker_advice,
    overlapping_store,
    read_marker,
    replaced_advice,
)
from catalogue.indexing.locations import note_store_location
from catalogue.records import events, stores
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Store
from catalogue.storage.atomic import opened, remove_leftover, write_atomically, write_new
from catalogue.storage.folders import MARKER
from catalogue.storage.identity import overlapping, same_file
from catalogue.untrusted import shell_word


def add_store(db: Database, name: str, folder: Path, kind: str, *, consent: bool) -> Store:
    """Take a folder as a store.

    With ``consent`` a marker file is written at its root, the only file ever put there without asking again; a marker
    already there is kept and believed. Without consent, or on a read-only disk, the store is known by its path and its
    inode alone and cannot be recognised at another mount point.

    Raises CatalogueError: no such folder, or it cannot be read. Refused: it is, lies within, or holds another store, or
    has the marker of one.
    """
    root = folder.expanduser().absolute()
    if not root.is_dir():
        raise CatalogueError("There is no such folder.", hint="Is the disk connected?", path=root)
    if kind not in stores.KINDS:
        raise CatalogueError(f"{kind!r} is not a kind of store.", hint=f"Choose one of: {', '.join(stores.KINDS)}.")
    marker = read_marker(root)
    _refuse_overlap(db, root, marker)
    other = next((s for s in stores.listed(db) if s.marker == marker), None)
    if other is not None and not same_file(root, other.root):
        raise Refused(f"This folder has the marker of the store {other.name!r}, which was last seen at {other.root}.",
                      hint=f"If it is that disk at a new place: catalogue store move {shell_word(other.name)}"
                           f" {shell_word(str(root))}. If it is a clone, to be a store of its own: remove {MARKER} from"
                           " it first.", path=root)
    if marker and consent:
        with suppress(CatalogueError), opened(root / MARKER) as entry:
            remove_leftover(entry)  # of a program that was killed once the marker stood
    marker = marker or (_write_marker(root, name, str(uuid4())) if consent else f"{UNMARKED}{uuid4()}")
    with transaction(db, f"{kind} store {name} added"):
        store = stores.add(db, name, str(root), kind, marker)
        note_store_location(db, store, root, look=True)  # a retired store that returns: its files may be others
        events.append(db, "metadata modification", "success", store=name, path=str(root), detail=f"{kind} store added")
    return store


def _refuse_overlap(db: Database, root: Path, marker: str | None) -> None:
    for other in stores.listed(db):
        theirs = Path(other.root)
        same = same_file(root, theirs)
        if same and (root != theirs or other.marker.startswith(UNMARKED)):
            path = ", reached by another path" if root != theirs else ""
            raise Refused(f"This folder is already the store {other.name!r}{path}.", path=root)
        if same and marker != other.marker:
            raise Refused(f"The store {other.name!r} was last seen here, but its marker is gone.",
                          hint=marker_advice(other, root), path=root)
        if root != theirs and not same and overlapping(root, theirs):
            raise Refused(f"This folder and the store {other.name!r} overlap.",
                          hint="A file can belong to one store only.", path=root)


def move_store(db: Database, store: Store, folder: Path) -> int:
    """Say where a store is now; returns how many of its files are to be read there before they count as copies.

    A marker missing from the folder last seen as the store's is written again.

    Raises :class:`Refused` if the folder does not have the store's marker, or belongs to another store.
    """
    root = folder.expanduser().absolute()
    lost = has_lost_marker(db, store, root)
    if not lost and (read_marker(root) != store.marker if not store.marker.startswith(UNMARKED) else not root.is_dir()):
        raise Refused(f"This folder does not have the marker of the store {store.name!r}.",
                      hint=replaced_advice(store), path=root)
    other = overlapping_store(db, root, but=store.id)
    if other is not None:
        raise Refused(f"This folder and the store {other.name!r} overlap.",
                      hint="A file can belong to one store only.", path=root)
    if lost:
        _write_marker(root, store.name, store.marker)
    with transaction(db):
        stores.move(db, store.id, str(root))
        unread = note_store_location(db, store, root)
        events.append(db, "metadata modification", "success", store=store.name, path=str(root),
                      detail=f"the store is here now; it was at {store.root}")
    return unread


def retire_store(db: Database, store: Store) -> None:
    """Leave a store out from now on, with an event; its open findings are closed, nothing on its disk is touched."""
    with transaction(db):
        stores.forget(db, store.id)
        events.append(db, "metadata modification", "success", store=store.name, path=store.root,
                      detail=f"{store.kind} store retired")


def _write_marker(root: Path, name: str, marker: str) -> str:
    """Write a store's marker, never over another file; returns its id. Raises CatalogueError, Refused."""
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
