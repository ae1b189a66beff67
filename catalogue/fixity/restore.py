"""Put a good copy back in a file's place: copy, verify, then switch; the bad file is kept under another name."""

import os
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from unicodedata import normalize

from catalogue.errors import Ambiguous, CatalogueError, Damaged, NotFound, Refused, StoreAway, required
from catalogue.fixity.checking import Expected, Result, check
from catalogue.fixity.copies import review_scans
from catalogue.fixity.copying import staged_copy
from catalogue.fixity.sidecars import SidecarCopies, copy_sidecars, note_sidecar
from catalogue.fixity.verdicts import distrust, link_on_the_way
from catalogue.indexing.locating import locate_store, offline, opened_store
from catalogue.indexing.recording import real_path
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import copies, events, files, findings, fixity, locations, pieces, runs, scans, stores
from catalogue.records.copies import DOUBTS, Holder
from catalogue.records.copy_doubts import why_not_intact
from catalogue.records.database import Database, now, transaction
from catalogue.records.files import Located
from catalogue.records.fixity import Due
from catalogue.records.paths import display_path, escape_path, native_path
from catalogue.records.stores import Store
from catalogue.settings import Settings
from catalogue.storage.atomic import aside_name
from catalogue.storage.folders import Entry, open_entry, still_at, sync
from catalogue.storage.identity import filesystem_id, same_file
from catalogue.storage.medium import NO_LINKS, writing
from catalogue.untrusted import visible

IS_SOUND = "The file is sound; there is nothing to restore."


@dataclass(frozen=True, slots=True)
class Plan:
    """What a restore would do. ``present`` tells whether anything is at the target now, to be kept aside."""

    due: Due
    store: Store
    target: Path
    source_store: Store
    source: Path
    source_path: str
    sha256: str
    present: bool


@dataclass(frozen=True, slots=True)
class Restored:
    """The result of a restore; ``aside`` is the path of the old file, None if there was none. ``sidecars`` were
    restored too; ``left`` are those that were not, with the reason."""

    path: Path
    aside: Path | None
    sha256: str
    source: Path
    sidecars: tuple[Path, ...] = ()
    left: tuple[tuple[Path, str], ...] = ()


def find_file(db: Database, words: str) -> Located:
    """The file a person means: a path on disk, ``STORE:path``, a path within a store, or its last parts.

    Of several that are called so, the one that is damaged or lost is meant.

    Raises NotFound, Ambiguous.
    """
    spellings = list(dict.fromkeys([words, *(normalize(form, words) for form in ("NFC", "NFD"))]))  # a Mac types NFD
    for store, spelling in product(stores.listed(db), spellings):
        with suppress(ValueError):
            inside = escape_path(Path(spelling).expanduser().absolute().relative_to(store.root).as_posix())
            file = files.by_path(db, store.id, inside)
            if file is not None:
                return _located(db, file.id)
        if spelling.startswith(f"{store.name}:"):
            file = files.by_path(db, store.id, escape_path(spelling[len(store.name) + 1:]))
            if file is not None:
                return _located(db, file.id)
    matches = next(filter(None, (files.ending_with(db, escape_path(s)) for s in spellings)), []) or _shown_as(db, words)
    if not matches:
        raise NotFound("No file on record has that name.", hint="Give its path, or STORE:path.", path=words)
    broken = [f for f in matches if not copies.is_sound(db, f.id)]
    if len(broken) == 1:
        return broken[0]
    if len(matches) > 1:
        raise Ambiguous("Several files have that name.",
                        hint="Choose one: " + ", ".join(f"{f.store}:{display_path(f.path)}" for f in matches[:5]) + ".")
    return matches[0]


def _shown_as(db: Database, words: str) -> list[Located]:
    """Files whose displayed name is this one: with � for undecodable bytes and visible signs for control characters."""
    return [file for file in files.with_hidden_signs(db)
            for shown in [visible(display_path(file.path))]
            if words in (shown, f"{file.store}:{shown}") or shown.endswith(f"/{words}")]


def _located(db: Database, file_id: int) -> Located:
    return required(files.located(db, file_id), "The file is no longer on record.")


def plan(db: Database, file_id: int, source_store: Store | None = None, *, sha256: str | None = None) -> Plan:
    """Plan the restore of a file, and refuse what must not be done. Changes nothing.

    ``source_store`` None takes the store with the latest good check. ``sha256`` asks for an earlier content than the
    one on record, as after an unintended edit. Raises NotFound: no such file, or no sound copy. Refused: a store is
    offline, or the file is sound.
    """
    due = required(fixity.due_file(db, file_id), "There is no checksum on record for this file.",
                   "It has never been readable.")
    wanted = sha256 or due.sha256
    store = stores.by_id(db, due.store_id)
    root = locate_store(db, store)
    if root is None:
        raise offline(store)
    target = Path(real_path(root, due.path))
    if link := link_on_the_way(root, due.path):
        raise Refused("A link is in its place; links are not followed.",
                      hint="Put the folder or file itself there, or remove the link; then index the store.",
                      path=root / native_path(link))
    if check(str(target), Expected(target.stat().st_size if target.is_file() else -1, due.mtime_ns, wanted),
             on_read=lambda _: None, cancelled=never_cancelled).result is Result.INTACT:
        raise Refused(IS_SOUND, hint="Audit it to close its findings.", path=target)
    origin_store, source, path = _source(db, wanted, due, source_store, target)
    return Plan(due, store, target, origin_store, source, path, wanted, os.path.lexists(target))


def _source(db: Database, sha256: str, due: Due, asked: Store | None, target: Path) -> tuple[Store, Path, str]:
    """Store, place and path in the store of a sound copy that is another file than the target."""
    offline, unfit = [], []
    for holder in copies.holders(db, sha256):
        if holder.file_id == due.id or (asked is not None and holder.store_id != asked.id):
            continue
        if not holder.intact:
            unfit.append(why_not_intact(db, holder))
            continue
        store = stores.by_id(db, holder.store_id)
        root = locate_store(db, store)
        if root is None:
            offline.append(store.name)
            unfit.append(f"{store.name} is offline")
        elif not same_file(source := Path(real_path(root, holder.path)), target):
            return store, source, holder.path
    searched = f"in {asked.name!r}" if asked else "in any store"
    others = f": {'; '.join(dict.fromkeys(unfit))}" if unfit else ""
    raise NotFound(f"There is no sound copy of this file {searched} to restore it from{others}.",
                   hint=f"Connect {', '.join(sorted(set(offline)))}." if offline else "", path=due.path)


def sources(db: Database, sha256: str, file_id: int) -> list[Holder]:
    """Intact files with these bytes other than this one, sound ones first, latest check first."""
    return [h for h in copies.holders(db, sha256) if h.intact and h.file_id != file_id]


def restore(db: Database, settings: Settings, planned: Plan, *, report: Report = ignore_progress,
            cancelled: Cancelled = never_cancelled) -> Restored:
    """Carry out a plan. Nothing at the target changes until a verified copy is ready.

    Both stores are opened again and everything goes through handles on their folders: a disk disconnected since the
    plan was made is noticed, and no link leads into another store. Copies are counted again at once. Raises StoreAway:
    a store is gone. Refused: the source is the very file to be replaced. Damaged: the source fails its check. NoRoom,
    Busy, CatalogueError, Stopped: as in ``copying``.
    """
    due = planned.due
    with ExitStack() as held:
        root = held.enter_context(opened_store(db, planned.store))
        origin = held.enter_context(opened_store(db, planned.source_store))
        with writing(planned.source):
            source = held.enter_context(open_entry(origin, native_path(planned.source_path)))
        with writing(planned.target):
            target = held.enter_context(open_entry(root, native_path(due.path), create=True))
        try:
            aside = _switch(db, planned, source, target, report, cancelled)
        except (Damaged, NotFound) as error:
            failed = files.by_path(db, planned.source_store.id, planned.source_path)
            if failed is not None and str(error.path) != str(target.path):
                distrust(db, failed.id, planned.source_store.name, planned.source_path, error)
            raise
        if not still_at(root):
            raise StoreAway(f"The store {planned.store.name!r} was disconnected while the file was put back.",
                            hint="Connect it, then look at the file again.", path=root.path)
        with writing(target.path):
            stat = target.stat()
        filesystem, brought = filesystem_id(target.folder.fd), copy_sidecars(source, target)
    try:
        _note(db, settings, planned, stat, filesystem, brought)
    except CatalogueError as error:
        raise CatalogueError(f"The good copy is in place and verified"
                             f"{f', the old file is kept as {aside.name}' if aside else ''}, but the catalogue could"
                             f" not record it: {error.message}", hint="Audit the store; that records it.",
                             path=planned.target) from error
    return Restored(planned.target, aside, planned.sha256, planned.source, tuple(brought.copied), tuple(brought.left))


def _switch(db: Database, planned: Plan, source: Entry, target: Entry, report: Report,
              cancelled: Cancelled) -> Path | None:
    """Put the copy in place; returns the path of the old file."""
    due, aside = planned.due, None
    with staged_copy(source, target, sha256=planned.sha256, report=report, cancelled=cancelled, replace=True) as staged:
        with writing(target.path):
            present = target.exists()
        if present:
            aside = _keep_aside(target)
        try:
            if aside is not None:
                with transaction(db):  # before the switch: a kill after it must not leave an unrecorded aside file
                    events.append(db, "quarantine", "success", store=planned.store.name, path=due.path,
                                  sha256=due.sha256, detail=f"kept as {display_path(escape_path(aside.name))}")
            staged.put(replace=True)
        except CatalogueError as error:
            if aside is not None and not target.exists():
                aside.rename_to(target)  # a disk without hard links: the name was given up for a moment
            elif aside is not None:
                error.hint = " ".join(filter(None, (error.hint, f"The old file has a second name: {aside.name}.")))
            raise
    return aside.path if aside is not None else None


def _note(db: Database, settings: Settings, planned: Plan, stat: os.stat_result, filesystem: str,
          brought: SidecarCopies) -> None:
    due = planned.due
    scan = scans.by_digest(db, planned.sha256)
    with transaction(db):
        run_id = runs.start(db, "restore", planned.store.id)
        file_id = files.save(db, planned.store.id, due.path, stat.st_size, stat.st_mtime_ns,
                             scan.id if scan else due.scan_id, verified=True)
        locations.note_file(db, file_id, filesystem, stat.st_ino)
        fixity.clear_damage(db, due.id)
        findings.resolve(db, f"restored from {planned.source_store.name}", store_id=planned.store.id, path=due.path,
                         kinds=DOUBTS)
        events.append(db, "recovery", "success", store=planned.store.name, path=due.path, sha256=planned.sha256,
                      detail=f"restored from {planned.source_store.name}: "
                             f"{display_path(escape_path(str(planned.source)))}")
        for sidecar in brought.copied:
            note_sidecar(db, planned.store, due.path, sidecar, planned.source_store.name)
        runs.end(db, run_id, "finished", {"bytes": stat.st_size})
        if scan is not None and scan.piece_id is not None:
            pieces.propose_current(db, scan.piece_id)
        review_scans(db, settings, {due.scan_id, scan.id if scan else due.scan_id})


def _keep_aside(target: Entry) -> Entry:
    """Give the file at ``target`` a second name, so that the switch loses nothing; rename it if links are not
    supported."""
    with writing(target.path):
        aside = aside_name(target, now())
        try:
            target.link_to(aside)
        except OSError as error:
            if error.errno not in NO_LINKS:
                raise
            target.rename_to(aside)
        sync(target.folder.fd)
    return aside
