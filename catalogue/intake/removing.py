"""Removing the sources of an intake: only files held elsewhere, in different places, read and compared at that moment.

A source is removed only if all of these hold; each is checked just before, through open handles:

- the run came to its end without trouble;
- the source lies in no store, and is no store's own file under another name;
- its bytes are still those that were imported, and it is a file, not a link;
- as many places as the shop wants, two at least, hold other files with the same bytes. Two places differ in store, in
  file, and in disk: two partitions of one are one (the last unless ``copies_on_one_disk`` says that it is enough).
"""

import os
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged
from catalogue.fixity.verdicts import distrust
from catalogue.indexing.locating import opened_store, store_holding
from catalogue.intake.proposals import Kind, Plan
from catalogue.progress import Cancelled, never_cancelled
from catalogue.reading.digests import sha256_of_fd
from catalogue.records import events, files, intake, stores
from catalogue.records.database import Database, transaction
from catalogue.records.paths import display_path, escape_path, native_path
from catalogue.settings import Home, Settings
from catalogue.storage.devices import Device, device_of, shares_device
from catalogue.storage.folders import Entry, open_entry, open_folder, sync
from catalogue.storage.identity import FileId, is_regular
from catalogue.storage.sidecars import sidecars_of

FEWEST_COPIES = 2

ON_ONE_DISK = ("its copies are on one disk or server; {} disks must hold a verified copy (or set copies_on_one_disk ="
               " true)")


@dataclass(frozen=True, slots=True)
class Taken:
    """One file imported. ``outcome``: "copied", or "already there" where an earlier run had copied it. ``sidecars`` of
    it were copied too, ``sidecars_left`` were not."""

    source: Path
    store: str
    target: str
    sha256: str
    outcome: str
    sidecars: int = 0
    sidecars_left: int = 0


@dataclass(frozen=True, slots=True)
class Skipped:
    """One file that was not imported, moved or removed, and why."""

    path: Path
    why: str

    def __str__(self) -> str:
        return f"{display_path(escape_path(str(self.path)))}: {self.why}"


@dataclass(frozen=True, slots=True)
class CopyLocation:
    """One verified copy: in which store, which file, and what that lies on."""

    store_id: int
    file: FileId
    device: Device


@dataclass(frozen=True, slots=True)
class _OpenSource:
    """An open source file with its digest, and its identity when the digest was taken."""

    fd: int
    stat: os.stat_result
    sha256: str

    @property
    def id(self) -> FileId:
        return FileId(self.stat.st_dev, self.stat.st_ino)


def remove_sources(db: Database, home: Home, plan: Plan, taken: Sequence[Taken], removed: list[Path],
                   kept_back: list[Skipped]) -> list[str]:
    """Remove what was imported now, and what was held before, where it is safe; says of every other why not.

    Gives, in words, removals that the catalogue could not record.
    """
    unrecorded = []
    copies: dict[Path, list[Taken]] = defaultdict(list)
    for t in taken:
        copies[t.source].append(t)
    sources = {t.source: t.sha256 for t in taken}
    sources |= {i.arrival.path: i.arrival.reading.sha256 for p in plan.proposals if p.kind is Kind.HELD
                for i in p.items}
    for source, sha256 in sources.items():
        own = copies[source]
        try:
            why = _remove_source(db, home.settings, source, sha256,
                                 sidecars=bool(own) and not any(t.sidecars_left for t in own))
        except OSError as error:
            why = f"the system refused: {error.strerror}"
        except CatalogueError as error:
            why = str(error)
        if why:
            kept_back.append(Skipped(source, why))
            continue
        removed.append(source)
        try:
            with transaction(db):
                events.append(db, "deletion", "success", path=escape_path(str(source)), sha256=sha256,
                              detail=f"source of an intake, after copies in {copies_required(home.settings)} places"
                                     " were read and compared")
                for t in own:
                    store = stores.by_name(db, t.store)
                    intake.set_state(db, store.id, t.target, sha256, "source removed")
        except CatalogueError as error:  # must not hide what was imported and removed
            unrecorded.append(f"That {source.name} was removed could not be recorded. {error}")
    return unrecorded


def copies_required(settings: Settings) -> int:
    """In how many different places a scan must be held before a source of it may be removed."""
    return max(FEWEST_COPIES, settings.copies_wanted)


def _remove_source(db: Database, settings: Settings, source: Path, sha256: str, *, sidecars: bool = False) -> str:
    """Remove one source if that is safe; returns why it was not, empty if it was. ``sidecars``: all it has were
    copied with it."""
    with open_folder(source.parent) as folder, _open_source(folder.entry(source.name)) as held:
        if held is None:
            return "it is no longer there, or is a link"
        if held.sha256 != sha256:
            return "it has changed since it was imported"
        within = store_holding(db, source)
        if within is not None:
            return f"it is in the store {within.name!r}"
        why = why_not_safe(db, settings, held.id, sha256)
        if why:
            return why
        entry = folder.entry(source.name)
        if not sidecars and sidecars_of(entry):
            return "its sidecar was not copied"
        if state_of(entry.stat()) != state_of(held.stat):
            return "it has changed since it was imported"
        entry.unlink()
        with suppress(OSError):  # a removal that a power cut undoes loses nothing
            sync(folder.fd)
        return ""


def why_not_safe(db: Database, settings: Settings, source: FileId, sha256: str) -> str:
    """Why a file with these bytes may not be removed yet; empty if it may."""
    locations = [location for _, location in verified_copies(db, sha256)]
    own = next((location for location in locations if location.file == source), None)
    if own is not None:
        return f"it is the store {stores.by_id(db, own.store_id).name!r}'s own file, reached by another path"
    return lacking_copies(settings, locations, "only {} of the {} stores required hold a verified copy")


def lacking_copies(settings: Settings, locations: Sequence[CopyLocation], too_few: str) -> str:
    """Why verified copies in these places are too few to remove what hangs on them; empty if they are enough.
    ``too_few`` says it with how many there are and how many are wanted."""
    good, wanted = independent_copies(locations, one_disk=settings.copies_on_one_disk), copies_required(settings)
    if len(good) >= wanted:
        return ""
    if len(independent_copies(locations, one_disk=True)) >= wanted:
        return ON_ONE_DISK.format(wanted)
    return too_few.format(len(good), wanted)


def verified_copies(db: Database, sha256: str) -> list[tuple[str, CopyLocation]]:
    """``(path in stored form, location)`` of every file on record that holds these bytes, read now; what is offline,
    gone, a link or something else by now is left out. One with other bytes counts as no copy from then on."""
    copies: list[tuple[str, CopyLocation]] = []
    for copy in files.present_files(db, sha256):
        store = stores.by_id(db, copy.store_id)
        with (suppress(OSError, CatalogueError),  # no copy that can be counted on now
              opened_store(db, store) as root, open_entry(root, native_path(copy.path)) as entry,
              _open_source(entry) as held):
            if held is not None and held.sha256 != sha256:
                distrust(db, copy.id, copy.store, copy.path, Damaged("Its bytes are not those on record."))
            elif held is not None:
                copies.append((copy.path, CopyLocation(store.id, held.id, device_of(held.fd))))
    return copies


def independent_copies(locations: Sequence[CopyLocation], *, one_disk: bool) -> list[CopyLocation]:
    """Copies of which no two share a store, a file, or (unless ``one_disk``) a disk. Errs towards too few."""
    good: list[CopyLocation] = []
    for location in locations:
        if not any(location.store_id == g.store_id or location.file == g.file or (
                   not one_disk and shares_device(location.device, g.device)) for g in good):
            good.append(location)
    return good


@contextmanager
def _open_source(entry: Entry, cancelled: Cancelled = never_cancelled) -> Iterator[_OpenSource | None]:
    """A regular file held open with its digest; None if there is none. Raises ``OSError`` when it cannot be read,
    Stopped."""
    try:
        fd = entry.open(os.O_RDONLY)
    except OSError:
        yield None
        return
    try:
        status = os.fstat(fd)
        yield _OpenSource(fd, status, sha256_of_fd(fd, cancelled=cancelled)[0]) if is_regular(status) else None
    finally:
        os.close(fd)


def state_of(status: os.stat_result) -> tuple[int, int, int, int]:
    """What identifies an unchanged file: device, inode, size, time."""
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def digest_of(entry: Entry, cancelled: Cancelled = never_cancelled) -> str:
    """SHA-256 of a regular file's bytes, or "" if it cannot be read. Raises Stopped."""
    with suppress(OSError), _open_source(entry, cancelled) as held:
        return held.sha256 if held is not None else ""
    return ""
