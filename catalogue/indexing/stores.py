"""Stores on the disk: the marker by which one is known again, and where it is mounted now."""

import json
import os
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from catalogue.errors import CatalogueError, Refused
from catalogue.records import events, stores
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Store
from catalogue.untrusted import MARKER_BYTES, read_regular

MARKER = ".scan-store.json"
UNMARKED = "unmarked:"


def add_store(db: Database, name: str, folder: Path, kind: str, *, consent: bool) -> Store:
    """Take a folder as a store.

    With ``consent`` a marker file is written at its root, the only file ever put there without a further question;
    a marker already there is kept and believed. Without consent, or on a read-only disk, the store is known by its
    path alone and cannot be recognised under another mount point.

    Raises:
        CatalogueError: no such folder, or it cannot be read. Refused: it lies within another store, or holds one.
    """
    root = folder.expanduser().absolute()
    if not root.is_dir():
        raise CatalogueError("There is no such folder.", hint="Is the disk connected?", path=root)
    if kind not in stores.KINDS:
        raise CatalogueError(f"{kind!r} is no kind of store.", hint=f"Choose one of: {', '.join(stores.KINDS)}.")
    for other in stores.listed(db):
        theirs = Path(other.root)
        if root != theirs and (root.is_relative_to(theirs) or theirs.is_relative_to(root)):
            raise Refused(f"This folder and the store {other.name!r} lie within each other.",
                          hint="Every file belongs to one store.", path=root)
    marker = read_marker(root) or (_write_marker(root, name) if consent else f"{UNMARKED}{uuid4()}")
    with transaction(db):
        store = stores.add(db, name, str(root), kind, marker)
        events.append(db, "metadata modification", "success", store=name, path=str(root), detail=f"{kind} store added")
    return store


def read_marker(root: Path) -> str | None:
    """The id in the marker at ``root``, or None where there is none."""
    return marker_facts(root).get("store")


def marker_facts(root: Path) -> dict[str, str]:
    """``store`` (the id) and ``name`` from the marker at ``root``, as far as a small file there says them."""
    try:
        told = json.loads(read_regular(root / MARKER, MARKER_BYTES))
    except (OSError, ValueError, RecursionError):  # none, or a foreign one
        return {}
    return {key: told[key] for key in ("store", "name") if isinstance(told.get(key), str)} if isinstance(
        told, dict) else {}


def _write_marker(root: Path, name: str) -> str:
    marker = str(uuid4())
    text = json.dumps({"store": marker, "name": name,
                       "note": "Marks this folder as a scan store, so that it is known again. Please leave it here."},
                      indent=1)
    try:
        with (root / MARKER).open("x", encoding="utf-8") as file:
            file.write(text + "\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise CatalogueError(f"The marker cannot be written: {error.strerror}.",
                             hint="Allow writing once, or add the store with --no-marker.", path=root) from error
    return marker


def where(db: Database, store: Store) -> Path | None:
    """The store's root as mounted now, or None while it is offline. A new mount point is noted."""
    root = Path(store.root)
    if is_at(store, root):
        return root
    if store.marker.startswith(UNMARKED):
        return None
    for candidate in _mounted(root):
        if read_marker(candidate) == store.marker:
            with suppress(Refused), transaction(db):  # a seat that only looks cannot note it
                stores.move(db, store.id, str(candidate))
            return candidate
    return None


def is_at(store: Store, root: Path) -> bool:
    """Whether this very store lies at ``root`` now. An unmarked one is there when its folder holds anything."""
    if store.marker.startswith(UNMARKED):
        try:
            with os.scandir(root) as entries:
                return next(entries, None) is not None
        except OSError:
            return False
    return read_marker(root) == store.marker


def _mounted(last: Path) -> Iterator[Path]:
    """Places where the store may be now: every volume's root, and the same folder on every volume."""
    tops = [Path("/Volumes")] if sys.platform == "darwin" else [Path("/mnt"), Path("/media"), Path("/run/media")]
    for top in tops:
        for volume in _folders(top):
            for place in (volume, *_folders(volume)):
                yield place
                parts = last.parts
                for depth in range(max(1, len(parts) - 4), len(parts)):
                    yield place.joinpath(*parts[depth:])


def _folders(top: Path) -> list[Path]:
    try:
        return sorted(entry for entry in top.iterdir() if entry.is_dir())
    except OSError:  # not there, or not ours to see: no store of ours either
        return []
