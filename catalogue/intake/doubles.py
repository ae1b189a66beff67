"""Byte-identical files within one store: which of them to keep, and the others freed where that is safe.

A double goes only when each of these holds, looked at just before through open handles: it is still the file and the
bytes on record; the file that is kept in its store holds the same bytes, read then; and as many different places as
the shop wants copies in hold them, this file not counted. What was freed, and from which file it can be had back, is
written down first.
"""

import os
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from itertools import groupby
from pathlib import Path, PurePosixPath
from typing import TypeVar

from catalogue.errors import CatalogueError, Damaged, NotFound, StoreAway
from catalogue.fixity.copying import copy_verified
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.indexing.stores import opened_store
from catalogue.intake.removing import (
    CopyLocation,
    Skipped,
    different_places,
    digest_of,
    places_wanted,
    state_of,
    verified_places,
)
from catalogue.intake.tidy import numbered_twin
from catalogue.intake.undo_lists import DOUBLES, PRINT_FILES, new_list, read_list, store_of, undo_folder, write_line
from catalogue.progress import Cancelled, Progress, Report, Stopped, ignore_progress, never_cancelled
from catalogue.records import copies, doubles, events, files, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.doubles import DoubledFile
from catalogue.records.folding import fold_name
from catalogue.records.paths import UnusablePath, native_path, stored_mtime
from catalogue.records.stores import Store
from catalogue.settings import Home, Settings
from catalogue.storage.atomic import remove_leftover
from catalogue.storage.folders import Entry, OpenFolder, open_entry, sync
from catalogue.storage.identity import FileId

CHANGED = "it has changed since it was indexed"
KEPT_HAS_CHANGED = "the file that was to be kept has changed"
GONE = "it is no longer there"
HAS_SIDECAR = "it has a sidecar"
FREED_KINDS = {DOUBLES: "doubles", PRINT_FILES: "print files"}
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Doubles:
    """Files of one store with the same bytes: the one to keep, and the others."""

    sha256: str
    size: int
    keep: DoubledFile
    others: tuple[DoubledFile, ...]


@dataclass(frozen=True, slots=True)
class Freed:
    """What was removed, what was left and why, and the list by which it is brought back."""

    removed: tuple[DoubledFile, ...]
    skipped: tuple[Skipped, ...]
    undo: Path | None
    stopped: bool = False

    @property
    def bytes(self) -> int:
        """How much room it gave."""
        return sum(file.size for file in self.removed)


def find_doubles(db: Database, store: Store) -> list[Doubles]:
    """The doubles of a store, largest first. Kept is a sound file whose path, and whose folders above all, name its
    artist and piece, whose name is no " (2)" of another's, and which lies highest; between equals the oldest."""
    groups = []
    for _, group in groupby(doubles.in_store(db, store.id), key=lambda file: file.scan_id):
        keep, *others = sorted(group, key=_preference)
        others = [file for file in others if file.names == 1]  # of a hard link, one name less frees nothing
        if not others:
            continue
        groups.append(Doubles(keep.sha256, keep.size, keep, tuple(others)))
    return sorted(groups, key=lambda d: (-d.size * len(d.others), d.keep.path))


def _preference(file: DoubledFile) -> tuple[bool, int, int, bool, int, int, str]:
    names = [fold_name(name) for name in (file.artist, file.title) if name]
    named, in_folders = (sum(name in fold_name(where) for name in names)
                         for where in (file.path, file.path.rpartition("/")[0]))
    return (not file.sound, -named, -in_folders, numbered_twin(file.path) != file.path,
            len(PurePosixPath(file.path).parts), file.mtime_ns, file.path)


def free_doubles(db: Database, home: Home, store: Store, doubles: Sequence[Doubles], *,
                 report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Freed:
    """Remove the others of each group where that is safe.

    Raises:
        StoreAway: the store is offline. Busy: an index run is under way. CatalogueError: the list of what is freed
        cannot be written; nothing is removed then.
    """
    def check(group: Doubles, file: DoubledFile, status: os.stat_result) -> str:
        places = [(path, place) for path, place in verified_places(db, file.sha256)
                  if place.file != FileId(status.st_dev, status.st_ino)]
        if not any(place.store_id == store.id and path == group.keep.path for path, place in places):
            return KEPT_HAS_CHANGED
        return lacking_places(home.settings, [place for _, place in places])

    return free_listed(
        db, home, store, DOUBLES, [(group, file) for group in doubles for file in group.others], check,
        lambda group, _: {"to": group.keep.path},
        lambda group: f"a double of {group.keep.path} freed, after copies in {places_wanted(home.settings)} places"
                      " were read and compared", report=report, cancelled=cancelled)


def free_listed(db: Database, home: Home, store: Store, kind: str, chosen: Sequence[tuple[T, DoubledFile]],
                check: Callable[[T, DoubledFile, os.stat_result], str],
                line: Callable[[T, DoubledFile], dict[str, str]], reason: Callable[[T], str], *, report: Report,
                cancelled: Cancelled) -> Freed:
    """Remove files of a store that are still what is on record, without a sidecar, and of which ``check`` says nothing
    against it; each is written down first in a list of ``kind``, with what ``line`` adds. ``reason`` is for the log.

    Raises as :func:`free_doubles`; Stopped where ``check`` does.
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
                if not why or (why == GONE and (file.path, file.sha256) in cut_short):
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
    """Remove one file if that is safe; gives why it was not, empty where it was."""
    with open_entry(root, native_path(file.path)) as entry:
        try:
            before = entry.stat()
        except FileNotFoundError:
            return GONE
        if (before.st_size, stored_mtime(before.st_mtime_ns)) != (file.size, file.mtime_ns):
            return CHANGED
        if _has_sidecar(entry):
            return HAS_SIDECAR
        if why := check(before):
            return why
        write_line(written, {"from": file.path, **line, "sha256": file.sha256})
        if state_of(entry.stat()) != state_of(before):
            return CHANGED
        entry.unlink()
        with suppress(OSError):  # a removal that a power cut undoes loses nothing
            sync(entry.folder.fd)
    return ""


def _record_removal(db: Database, store: Store, file: DoubledFile, reason: str) -> str:
    """Record a removal; gives why it could not be, empty where it was."""
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


def lacking_places(settings: Settings, locations: Sequence[CopyLocation]) -> str:
    """Why verified copies in these places are too few to remove what hangs on them; empty where they are enough."""
    good, wanted = different_places(locations, one_disk=settings.copies_on_one_disk), places_wanted(settings)
    return "" if len(good) >= wanted else (
        f"only {len(good)} of the {wanted} places required hold another verified copy")


def _has_sidecar(entry: Entry) -> bool:
    stem = PurePosixPath(entry.name).stem
    return any(entry.folder.entry(name).exists() for name in (f"{entry.name}.xmp", f"{stem}.xmp"))


def bring_back(db: Database, home: Home, path: Path, *, report: Report = ignore_progress,
               cancelled: Cancelled = never_cancelled
               ) -> Freed:
    """Copy every file of a list of freed doubles back from the one that was kept, verified.

    Raises:
        CatalogueError: no list of ours, or its store is not known. StoreAway: the store is offline.
    """
    return bring_back_listed(
        db, home, path, DOUBLES, "copying back",
        lambda store, root, line: _copy_back(db, store, root, line, report, cancelled),
        report=report, cancelled=cancelled)


def bring_back_listed(db: Database, home: Home, path: Path, kind: str, step: str,
                      put_back: Callable[[Store, OpenFolder, dict[str, str]], DoubledFile], *,
                      report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Freed:
    """Put every file of a list of freed ones back in its place by ``put_back``, which gets a line of the list.

    ``kind``: of list, in the words of :mod:`catalogue.intake.undo_lists`. One that cannot be put back is left and said.
    Raises as :func:`bring_back`.
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


def _copy_back(db: Database, store: Store, root: OpenFolder, entry: dict[str, str], report: Report,
                 cancelled: Cancelled) -> DoubledFile:
    """One file copied back; raises as :func:`catalogue.fixity.copying.copy_verified`."""
    source_name = entry["to"]
    with open_entry(root, native_path(entry["from"]), create=True) as target:
        if digest_of(target, cancelled) != entry["sha256"]:
            source_name = _copy_from_any(db, root, entry, target, report, cancelled)
        else:  # copied back, but not yet recorded: a kill between the two names of the whole copy leaves both
            remove_leftover(target)
        stat = target.stat()
    scan = scans.by_digest(db, entry["sha256"])
    scan_id = scan.id if scan else None
    with transaction(db):
        file_id = files.save(db, store.id, entry["from"], stat.st_size, stat.st_mtime_ns, scan_id, verified=True)
        events.append(db, "replication", "success", store=store.name, path=entry["from"], sha256=entry["sha256"],
                      detail=f"copied back from {source_name}")
    return DoubledFile(file_id, scan_id or 0, entry["sha256"], entry["from"], stat.st_size,
                       stored_mtime(stat.st_mtime_ns), 1)


def _copy_from_any(db: Database, root: OpenFolder, entry: dict[str, str], target: Entry,
                   report: Report, cancelled: Cancelled) -> str:
    """Copy from the file that was kept or, where that has moved or is damaged, from any sound copy; gives its name.

    Raises as :func:`catalogue.fixity.copying.copy_verified`, for the file that was kept where no other serves.
    """
    try:
        with open_entry(root, native_path(entry["to"])) as source:
            copy_verified(source, target, sha256=entry["sha256"], report=report, cancelled=cancelled)
        return entry["to"]
    except (NotFound, Damaged) as error:
        for holder in (h for h in copies.holders(db, entry["sha256"]) if h.intact and h.path != entry["from"]):
            with (suppress(NotFound, Damaged, StoreAway, UnusablePath),
                  opened_store(db, stores.by_id(db, holder.store_id)) as origin,
                  open_entry(origin, native_path(holder.path)) as source):
                copy_verified(source, target, sha256=entry["sha256"], report=report, cancelled=cancelled)
                return f"{holder.store}:{holder.path}"
        raise error


def total(doubles: Iterable[Doubles]) -> tuple[int, int]:
    """``(files, bytes)`` that could be freed at most."""
    groups = list(doubles)
    return sum(len(d.others) for d in groups), sum(d.size * len(d.others) for d in groups)
