"""Freeing files of a store where that is safe, after listing each so that it can be brought back."""

import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import TypeVar

from catalogue.errors import CatalogueError
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.indexing.locating import opened_store
from catalogue.intake.removing import Skipped, state_of
from catalogue.intake.undo_lists import DOUBLES, PRINT_FILES, new_list, read_list, store_of, undo_folder, write_line
from catalogue.progress import Cancelled, Progress, Report, Stopped, ignore_progress, never_cancelled
from catalogue.records import events, files
from catalogue.records.database import Database, transaction
from catalogue.records.doubles import DoubledFile
from catalogue.records.paths import native_path, stored_mtime
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.folders import Entry, OpenFolder, open_entry, sync
from catalogue.storage.sidecars import sidecar_names

TOO_FEW_OTHERS = "only {} of the {} places required hold another verified copy"
FREED_KINDS = {DOUBLES: "doubles", PRINT_FILES: "print files"}
T = TypeVar("T")


class Obstacle(StrEnum):
    """Why a file that differs from the record is not removed."""

    CHANGED = "it has changed since it was indexed"
    GONE = "it is no longer there"
    HAS_SIDECAR = "it has a sidecar"


@dataclass(frozen=True, slots=True)
class Freed:
    """What was removed, what was left and why, and the list by which it is brought back."""

    removed: tuple[DoubledFile, ...]
    skipped: tuple[Skipped, ...]
    undo: Path | None
    stopped: bool = False

    @property
    def bytes(self) -> int:
        """The number of bytes freed."""
        return sum(file.size for file in self.removed)


def free_listed(db: Database, home: Home, store: Store, kind: str, chosen: Sequence[tuple[T, DoubledFile]],
                check: Callable[[T, DoubledFile, os.stat_result], str],
                line: Callable[[T, DoubledFile], dict[str, str]], reason: Callable[[T], str], *, report: Report,
                cancelled: Cancelled) -> Freed:
    """Remove files of a store that still match the record, have no sidecar, and pass ``check``; each is listed first in
    a list of ``kind``, with what ``line`` adds. ``reason`` is for the log.

    Raises StoreAway; Busy; CatalogueError if the list cannot be written, and nothing is removed then; Stopped where
    ``check`` does.
    """
    if not chosen:
        return Freed((), (), None)
    removed: list[DoubledFile] = []
    skipped: list[Skipped] = []
    stopped = unrecorded = False
    cut_short = _listed_before(home, store, kind)
    with (exclusive_lock(home, "index"), new_list(home, store, kind) as (path, written),
          opened_store(db, store) as root):
        for number, (subject, file) in enumerate(chosen):
            report(Progress("freeing", number, len(chosen), note=file.path))
            if cancelled():
                stopped = True
                break
            try:
                why = _remove(root, file, partial(check, subject, file), line(subject, file), written)
                if not why or (why is Obstacle.GONE and (file.path, file.sha256) in cut_short):
                    why = _record_removal(db, store, file, reason(subject))
                    unrecorded = unrecorded or bool(why)
            except Stopped:
                stopped = True
                break
            except OSError as error:
                why = f"the system refused: {error.strerror}"
            except CatalogueError as error:
                why = str(error)
            if why:
                skipped.append(Skipped(root.path / native_path(file.path), why))
            else:
                removed.append(file)
    needed = bool(removed) or unrecorded  # it brings back, and tells the next run what this one could not record
    if not needed:
        path.unlink()
    return Freed(tuple(removed), tuple(skipped), path if needed else None, stopped)


def _remove(root: OpenFolder, file: DoubledFile, check: Callable[[os.stat_result], str], line: dict[str, str],
             written: int) -> str:
    """Remove one file if that is safe; returns why it was not, empty if it was."""
    with open_entry(root, native_path(file.path)) as entry:
        try:
            before = entry.stat()
        except FileNotFoundError:
            return Obstacle.GONE
        if (before.st_size, stored_mtime(before.st_mtime_ns)) != (file.size, file.mtime_ns):
            return Obstacle.CHANGED
        if _has_sidecar(entry):
            return Obstacle.HAS_SIDECAR
        if why := check(before):
            return why
        write_line(written, {"from": file.path, **line, "sha256": file.sha256})
        if state_of(entry.stat()) != state_of(before):
            return Obstacle.CHANGED
        entry.unlink()
        with suppress(OSError):  # a removal that a power cut undoes loses nothing
            sync(entry.folder.fd)
    return ""


def _record_removal(db: Database, store: Store, file: DoubledFile, reason: str) -> str:
    """Record a removal; returns why it could not be, empty if it was."""
    try:
        with transaction(db):
            events.append(db, "deletion", "success", store=store.name, path=file.path, sha256=file.sha256,
                          detail=reason)
            files.forget(db, file.file_id)
    except CatalogueError as error:
        return (f"It was removed, but the catalogue could not record that: {error.message} Do it again: that records"
                " it.")
    return ""


def _listed_before(home: Home, store: Store, kind: str) -> set[tuple[str, str]]:
    """``(path, SHA-256)`` of what earlier lists of this store name: one that is gone but on record was removed by a run
    that was killed before it could say so."""
    listed: set[tuple[str, str]] = set()
    for path in undo_folder(home.folder).glob(f"{kind}-{store.id}-*.jsonl"):
        with suppress(CatalogueError):  # not a list of ours
            listed |= {(entry["from"], entry["sha256"]) for entry in read_list(path).entries}
    return listed


def _has_sidecar(entry: Entry) -> bool:
    return any(entry.folder.entry(name).exists() for name in sidecar_names(entry.name))


def bring_back_listed(db: Database, home: Home, path: Path, kind: str, step: str,
                      put_back: Callable[[Store, OpenFolder, dict[str, str]], DoubledFile], *,
                      report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Freed:
    """Put every file of a list of freed ones back in its place by ``put_back``, which gets a line of the list.

    ``kind``: of list, in the words of :mod:`catalogue.intake.undo_lists`. A file that cannot be put back is reported.
    Raises StoreAway; CatalogueError if it is no such list.
    """
    undo = read_list(path)
    store = store_of(db, undo)
    if store is None or undo.kind != kind:
        raise CatalogueError(f"This is not a list of freed {FREED_KINDS[kind]} of a store known here.", path=path)
    brought_back: list[DoubledFile] = []
    skipped: list[Skipped] = []
    with exclusive_lock(home, "index"), opened_store(db, store) as root:
        for number, line in enumerate(undo.entries):
            report(Progress(step, number, len(undo.entries), note=line["from"]))
            try:
                if cancelled():
                    raise Stopped
                brought_back.append(put_back(store, root, line))
            except Stopped:
                return Freed(tuple(brought_back), tuple(skipped), None, stopped=True)
            except CatalogueError as error:
                skipped.append(Skipped(root.path / native_path(line["from"]), str(error)))
    return Freed(tuple(brought_back), tuple(skipped), None)
