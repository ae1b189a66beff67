"""Copies across stores: how many sound ones each master has, and bringing a store up to date."""

import os
from collections.abc import Collection, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field

from catalogue.errors import CatalogueError, Damaged, NotFound, Refused, StoreAway
from catalogue.fixity.checking import Expected, check_open
from catalogue.fixity.copying import NoRoom, Stopped, copy_verified
from catalogue.fixity.verdicts import distrust
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.indexing.locating import opened_store, overlapping_store
from catalogue.progress import Cancelled, OfMany, Report, ignore_progress, never_cancelled
from catalogue.records import copies as copy_rows
from catalogue.records import events, files, findings, fixity, locations, runs
from catalogue.records import stores as store_rows
from catalogue.records.copies import DOUBTS, Copies, Holder
from catalogue.records.copy_doubts import why_not_intact
from catalogue.records.database import Database, transaction
from catalogue.records.fixity import Wanted
from catalogue.records.paths import UnusablePath, native_path
from catalogue.records.stores import Store
from catalogue.settings import Home, Settings
from catalogue.storage.atomic import remove_leftover
from catalogue.storage.folders import Entry, OpenFolder, open_entry, still_at
from catalogue.storage.identity import FileId, filesystem_id
from catalogue.storage.medium import writing
from catalogue.untrusted import shell_word

SINGLE, NO_OFF_SITE = "single copy", "no off-site copy"
ALL_ON_ONE_DISK = "all stores lie on one disk or server: no scan has a second copy"
ANOTHER_DISK = "Add a store on another disk: catalogue store add NAME FOLDER --kind copy."
NOTHING_SOUND = "Nothing sound is left to copy. Connect disks that may hold it, and index them."


@dataclass(frozen=True, slots=True)
class NotCopied:
    """A scan that could not be copied to the store, and why."""

    path: str
    reason: str


@dataclass(slots=True)
class CopySummary:
    """What bringing a store up to date did. ``outcome``: finished, cancelled, full, failed (the store was
    disconnected). ``trouble`` says what ended a run that failed, and what failed at its end. ``adopted`` files lay
    there already and are now on record. ``renamed`` ones stand under a name with digits of their digest, for another
    picture has their own. ``sidecars`` were copied beside pictures; ``sidecars_replaced`` older ones gave way to newer
    ones."""

    store: str
    outcome: str
    copied: int = 0
    adopted: int = 0
    renamed: int = 0
    sidecars: int = 0
    sidecars_replaced: int = 0
    bytes: int = 0
    not_copied: list[NotCopied] = field(default_factory=list)
    trouble: str = ""
    one_disk: bool = False  # as all_on_one_disk says afterwards


def review(db: Database, settings: Settings) -> dict[str, int]:
    """Bring ``single copy`` and ``no off-site copy`` up to date for every master; returns how many masters have each.

    A copy is a sound file in a store of its own; two files in one store are lost together, and so are all on one disk
    or server: where the stores are on several, the copies must too, unless ``copies_on_one_disk`` says otherwise. Where
    no store could hold what is missing, one finding says so for all masters. That all stores are on one disk is no
    finding, but told by :func:`all_on_one_disk` and with the levels.
    """
    counted = {SINGLE: 0, NO_OFF_SITE: 0}
    with transaction(db):
        masters, disks = copy_rows.of_masters(db), locations.disks_in_use(db)
        for kind, possible, reason, hint in _kinds(db):
            lacking = _lacking(masters, kind, settings, disks)
            counted[kind] = len(lacking)
            _update_findings(db, kind, lacking if possible else {}, fixity.open_scan_findings(db, kind))
            if lacking and not possible:
                findings.record(db, kind, f"{reason}: {len(lacking)} of {len(masters)} masters", hint=hint)
            else:
                findings.resolve(db, "there is a store for them", path="", kinds=(kind,))
    return counted


def review_scans(db: Database, settings: Settings, scan_ids: Collection[int]) -> None:
    """As :func:`review`, for scans whose files were just read or changed. Within a transaction."""
    masters, disks = copy_rows.of_masters(db, list(scan_ids)), locations.disks_in_use(db)
    for kind, possible, _, _ in _kinds(db):
        known = fixity.open_scan_findings(db, kind)
        _update_findings(db, kind, _lacking(masters, kind, settings, disks) if possible else {},
                {scan_id: known[scan_id] for scan_id in scan_ids if scan_id in known})


def all_on_one_disk(db: Database, settings: Settings) -> bool:
    """Whether there are several stores, as last seen all on one disk or server, which does not count as enough. No disk
    is looked at: a share that does not answer would hold up a list of findings."""
    return (len(store_rows.listed(db)) > 1 and not settings.copies_on_one_disk
            and locations.disks_in_use(db) == 1)


def _kinds(db: Database) -> Iterator[tuple[str, bool, str, str]]:
    """For each kind of finding: whether some store could hold the missing copy, and otherwise the detail and hint."""
    known = store_rows.listed(db)
    yield SINGLE, len(known) > 1, "there is only one store", ANOTHER_DISK
    yield (NO_OFF_SITE, any(s.kind == "off-site" for s in known), "no store is kept off site",
           "Add a disk that is kept elsewhere: catalogue store add NAME FOLDER --kind off-site.")


def _lacking(masters: Sequence[Copies], kind: str, settings: Settings, disks: int) -> dict[int, tuple[str, str, str]]:
    """Scan id to ``(what is lacking, path, what to do)``; the stores are on this many ``disks``."""
    if kind == NO_OFF_SITE:
        return {c.scan_id: ("no sound copy off site" if c.stores else "no sound copy anywhere", c.path, _hint(c))
                for c in masters if not c.off_site}
    wanted = settings.copies_wanted
    disks_wanted = 1 if settings.copies_on_one_disk else min(wanted, disks)
    return {c.scan_id: (_lack_of(c, wanted, disks_wanted), c.path, _hint(c))
            for c in masters if c.stores < wanted or c.disks < disks_wanted}


def _hint(held: Copies) -> str:
    return "Bring another store up to date: catalogue copy --to STORE." if held.stores else NOTHING_SOUND


def _lack_of(held: Copies, wanted: int, disks_wanted: int) -> str:
    count = {0: "no sound copy", 1: "one sound copy"}.get(held.stores, f"{held.stores} sound copies")
    if held.stores < 2 or held.disks >= disks_wanted:
        return f"{count}, {wanted} wanted"
    where = "all on one disk or server" if held.disks == 1 else f"on {held.disks} disks"
    return f"{count}, {where}; {wanted} wanted, on {disks_wanted} disks"


def _update_findings(db: Database, kind: str, lacking: dict[int, tuple[str, str, str]],
                     known: dict[int, tuple[str, int]]) -> None:
    """Open a finding for every scan that lacks a copy, close those of the others; ``known`` are the open ones."""
    for scan_id in known.keys() - lacking.keys():
        findings.resolve_by_id(db, known[scan_id][1], "its copies changed")
    for scan_id, (detail, path, hint) in lacking.items():
        if scan_id not in known:
            findings.record(db, kind, detail, path=path, scan_id=scan_id, hint=hint)
        elif known[scan_id][0] != detail:  # one copy less or more: the finding stays the same one
            findings.update_detail(db, known[scan_id][1], detail, hint)


def copy_to(db: Database, home: Home, target: Store, wanted: Sequence[Wanted], *, report: Report = ignore_progress,
            cancelled: Cancelled = never_cancelled) -> CopySummary:
    """Bring scans to a store: each copied, verified and recorded before the next. Call it again to carry on.

    Nothing in the store is overwritten or removed. The store is located again before every file, and each copy goes
    through a handle on its folder, so nothing is written below the mount point of a lost disk.

    Raises StoreAway: the store is offline. Refused: it is another store too. Busy: another copy run is under way.
    """
    with exclusive_lock(home, "copy"):
        with opened_store(db, target) as root:
            known = root.id
        other = overlapping_store(db, root.path, but=target.id)
        if other is not None:
            raise Refused(f"The stores {target.name!r} and {other.name!r} are one folder, or overlap:"
                          " a copy there does not count.", hint="Retire one of them: catalogue store retire.",
                          path=root.path)
        with transaction(db):
            run_id = runs.start(db, "copy", target.id)
        summary = CopySummary(target.name, "finished")
        counted = OfMany(report, f"Copying to {target.name}", len(wanted), sum(w.size for w in wanted))
        for item in wanted:
            try:
                if cancelled():
                    raise Stopped
                _copy_item(db, target, known, item, summary, counted, cancelled)
            except Stopped:
                summary.outcome = "cancelled"
                break
            except NoRoom as error:
                summary.not_copied.append(NotCopied(item.path, error.message))
                summary.outcome = "full"
                break
            except StoreAway as error:
                summary.outcome, summary.trouble = "failed", str(error)
                break
            except CatalogueError as error:
                summary.not_copied.append(NotCopied(item.path, str(error)))
            counted.next(item.size)
        try:
            with transaction(db):
                runs.end(db, run_id, summary.outcome if summary.outcome in ("finished", "cancelled") else "failed",
                         {"copied": summary.copied, "adopted": summary.adopted, "bytes": summary.bytes,
                          "not copied": len(summary.not_copied)})
            review(db, home.settings)
        except CatalogueError as error:  # must not hide what was copied
            summary.trouble = f"{summary.trouble} Copies could not be recounted. {error}".strip()
    return summary


def _copy_item(db: Database, target: Store, known: FileId, item: Wanted, summary: CopySummary,
           report: Report, cancelled: Cancelled) -> None:
    """Copy one scan from the first store that gives it soundly. Raises :class:`StoreAway` for the target only."""
    with opened_store(db, target, known=known) as root:
        for path in _names_for(item):
            with writing(root.path), open_entry(root, native_path(path), create=True) as destination:
                held = _lies_there(db, target, destination, path, item)
                if held is False:
                    continue  # another picture has the name
                if held is True:
                    remove_leftover(destination)  # a kill between the two names of a whole copy leaves both
                    how = "found in place"
                else:
                    how = f"copied from {_copy(db, target, destination, item, report, cancelled).store}"
                _note(db, target, path, root, destination, item, how)
                summary.adopted += bool(held)
                summary.copied += not held
                summary.renamed += not held and path != item.path
                summary.bytes += item.size
                return
    raise Refused("Both names it could have are already taken by other files.", path=item.path)


def _names_for(item: Wanted) -> tuple[str, str]:
    """The paths a scan may get in a store: its own, or one with digits of its digest."""
    stem, dot, suffix = item.path.rpartition(".")
    if not dot or "/" in suffix:
        stem, suffix = item.path, ""
    return item.path, f"{stem}.{item.sha256[:8]}{dot if suffix else ''}{suffix}"


def _lies_there(db: Database, target: Store, entry: Entry, path: str, item: Wanted) -> bool | None:
    """Whether the scan lies under a name already: True it does, False something else does, None nothing does."""
    if not entry.exists():
        return None
    try:
        fd = entry.open(os.O_RDONLY)
    except OSError:
        return False  # a link, or nothing that can be read: it keeps its name
    try:
        checked = check_open(fd, Expected(item.size, 0, item.sha256), on_read=lambda _: None, cancelled=never_cancelled)
    finally:
        os.close(fd)
    if checked.sha256 == item.sha256:
        return True
    row = files.by_path(db, target.id, path)
    if row is not None and row.scan_id == item.scan_id:
        raise Refused("The copy there is damaged.", path=entry.path,
                      hint=f"Restore it: catalogue restore {shell_word(f'{target.name}:{native_path(path)}')}")
    return False


def _copy(db: Database, target: Store, destination: Entry, item: Wanted, report: Report,
            cancelled: Cancelled) -> Holder:
    """Copy from the first store that gives the scan soundly; returns that file. Raises :class:`NotFound`."""
    reasons = []
    for holder in copy_rows.holders(db, item.sha256):
        if holder.store_id == target.id:
            continue
        if not holder.intact:
            reasons.append(why_not_intact(db, holder))
            continue
        with ExitStack() as held:
            try:
                origin = held.enter_context(opened_store(db, store_rows.by_id(db, holder.store_id)))
            except StoreAway:
                reasons.append(f"{holder.store} is offline")
                continue
            try:
                copy_verified(held.enter_context(_source(origin, holder)), destination, sha256=item.sha256,
                              report=report, cancelled=cancelled)
            except (Damaged, NotFound, UnusablePath) as error:
                reasons.append(f"{holder.store}: {error.message}")
                if not isinstance(error, UnusablePath) and str(error.path) != str(destination.path):
                    distrust(db, holder.file_id, holder.store, holder.path, error)
                continue
        return holder
    raise NotFound("No store gives a sound copy" + (": " + "; ".join(reasons) if reasons else "") + ".",
                   path=item.path)


@contextmanager
def _source(origin: OpenFolder, holder: Holder) -> Iterator[Entry]:
    """A file to copy, its folder held open. Raises NotFound, Damaged."""
    with ExitStack() as held:
        try:
            entry = held.enter_context(open_entry(origin, native_path(holder.path)))
        except UnusablePath:
            raise
        except Refused as error:
            raise NotFound(error.message, path=error.path) from error
        except OSError as error:
            raise Damaged(f"Its folder cannot be read: {error.strerror}.", path=origin.path / holder.path) from error
        yield entry


def _note(db: Database, target: Store, path: str, root: OpenFolder, entry: Entry, item: Wanted, how: str) -> None:
    """Record the copy, unless the store was disconnected meanwhile: then nobody would look for it there."""
    if not still_at(root):
        raise StoreAway(f"The store {target.name!r} was disconnected while a file was being copied to it.",
                        hint="Connect it, then run this again.", path=root.path)
    stat = entry.stat()
    with transaction(db):
        file_id = files.save(db, target.id, path, stat.st_size, stat.st_mtime_ns, item.scan_id, verified=True)
        locations.note_file(db, file_id, filesystem_id(entry.folder.fd), stat.st_ino)
        findings.resolve(db, how, store_id=target.id, path=path, kinds=DOUBTS)
        events.append(db, "replication", "success", store=target.name, path=path, sha256=item.sha256, detail=how)
