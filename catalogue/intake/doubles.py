"""Byte-identical files within one store: which of them to keep, and the others freed where that is safe.

A double goes only when each of these holds, looked at just before through open handles: it is still the file and the
bytes on record; the file that is kept in its store holds the same bytes, read then; and as many different places as
the shop wants copies in hold them, this file not counted. What was freed, and from which file it can be had back, is
written down first.
"""

import os
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from catalogue.errors import Damaged, NotFound, StoreAway
from catalogue.fixity.copying import copy_verified
from catalogue.indexing.locating import opened_store
from catalogue.intake.freeing import TOO_FEW_OTHERS, Freed, bring_back_listed, free_listed
from catalogue.intake.removing import copies_required, digest_of, lacking_copies, verified_copies
from catalogue.intake.undo_lists import DOUBLES
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import copies, doubles, events, files, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.doubles import DoubledFile
from catalogue.records.paths import UnusablePath, native_path, stored_mtime
from catalogue.records.preferred_names import path_rank
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.atomic import remove_leftover
from catalogue.storage.folders import Entry, OpenFolder, open_entry
from catalogue.storage.identity import FileId

KEPT_HAS_CHANGED = "the file that was to be kept has changed"


@dataclass(frozen=True, slots=True)
class Doubles:
    """Files of one store with the same bytes: the one to keep, and the rest."""

    sha256: str
    size: int
    keep: DoubledFile
    others: tuple[DoubledFile, ...]


def find_doubles(db: Database, store: Store) -> list[Doubles]:
    """The doubles of a store, largest first. Kept is a sound file, by preference the one that
    :func:`catalogue.records.preferred_names.path_rank` puts first; between equals the oldest."""
    groups = []
    for _, group in groupby(doubles.in_store(db, store.id), key=lambda file: file.scan_id):
        keep, *others = sorted(group, key=_preference)
        others = [file for file in others if file.names == 1]  # of a hard link, one name less frees nothing
        if not others:
            continue
        groups.append(Doubles(keep.sha256, keep.size, keep, tuple(others)))
    return sorted(groups, key=lambda d: (-d.size * len(d.others), d.keep.path))


def _preference(file: DoubledFile) -> tuple[bool, tuple[bool, int, int, bool, int], int, str]:
    return not file.sound, path_rank(file.path, file.artist, file.title, filed=file.filed), file.mtime_ns, file.path


def free_doubles(db: Database, home: Home, store: Store, doubles: Sequence[Doubles], *,
                 report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Freed:
    """Remove the others of each group where that is safe.

    Raises:
        StoreAway: the store is offline. Busy: an index run is under way. CatalogueError: the list of what is freed
        cannot be written; nothing is removed then.
    """
    def check(group: Doubles, file: DoubledFile, status: os.stat_result) -> str:
        verified, own = verified_copies(db, file.sha256), FileId(status.st_dev, status.st_ino)
        others = [(path, location) for path, location in verified if location.file != own]
        if len(others) == len(verified):  # same size, same time, other bytes: nobody knows what they are
            return "its bytes are not those on record: audit the store"
        if not any(location.store_id == store.id and path == group.keep.path for path, location in others):
            return KEPT_HAS_CHANGED
        return lacking_copies(home.settings, [location for _, location in others], TOO_FEW_OTHERS)

    return free_listed(
        db, home, store, DOUBLES, [(group, file) for group in doubles for file in group.others], check,
        lambda group, _: {"to": group.keep.path},
        lambda group: f"a double of {group.keep.path} freed, after copies in {copies_required(home.settings)} places"
                      " were read and compared", report=report, cancelled=cancelled)


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
    """Copy from the file that was kept or, where that has moved or is damaged, from any sound copy; returns its name.

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
    """The most that could be freed: ``(files, bytes)``."""
    groups = list(doubles)
    return sum(len(d.others) for d in groups), sum(d.size * len(d.others) for d in groups)
