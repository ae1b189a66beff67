"""Put a good copy back in a file's place: copy, verify, then switch; the bad file is kept aside."""

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import Ambiguous, NotFound, Refused
from catalogue.fixity.checking import Expected, Result, check
from catalogue.fixity.copies import review_scans
from catalogue.fixity.copying import staged_copy
from catalogue.fixity.parts import NO_LINKS, aside_name, sync_folder
from catalogue.indexing.recording import real_path
from catalogue.indexing.stores import where
from catalogue.progress import Cancelled, Report, never, unheard
from catalogue.records import copies, events, files, findings, fixity, pieces, runs, scans, stores
from catalogue.records.copies import DOUBTS, Holder
from catalogue.records.database import Database, now, transaction
from catalogue.records.files import Located
from catalogue.records.fixity import Due
from catalogue.records.paths import kept, shown
from catalogue.records.stores import Store
from catalogue.settings import Settings


@dataclass(frozen=True, slots=True)
class Plan:
    """What a restore would do. ``present`` tells whether anything stands at the target now, to be kept aside."""

    due: Due
    store: Store
    target: Path
    source_store: Store
    source: Path
    sha256: str
    present: bool


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did; ``aside`` is where the former file lies, None where there was none."""

    path: Path
    aside: Path | None
    sha256: str
    source: Path


def file_called(db: Database, words: str) -> Located:
    """The file a person means: a path on disk, ``STORE:path``, a path within a store, or its last parts.

    Of several that are called so, the one that is damaged or lost is meant.

    Raises:
        NotFound, Ambiguous.
    """
    for store in stores.listed(db):
        with suppress(ValueError):
            inside = kept(Path(words).expanduser().absolute().relative_to(store.root).as_posix())
            file = files.by_path(db, store.id, inside)
            if file is not None:
                return _located(db, file.id)
        if words.startswith(f"{store.name}:"):
            file = files.by_path(db, store.id, kept(words[len(store.name) + 1:]))
            if file is not None:
                return _located(db, file.id)
    found = fixity.ending_with(db, kept(words))
    if not found:
        raise NotFound("No file on record is called so.", hint="Give its path, or STORE:path.", path=words)
    broken = [f for f in found if not copies.is_sound(db, f.id)]
    if len(broken) == 1:
        return broken[0]
    if len(found) > 1:
        raise Ambiguous("Several files are called so.",
                        hint="Say which: " + ", ".join(f"{f.store}:{shown(f.path)}" for f in found[:5]) + ".")
    return found[0]


def _located(db: Database, file_id: int) -> Located:
    located = files.located(db, file_id)
    if located is None:
        raise NotFound("The file is no longer on record.")
    return located


def plan(db: Database, file_id: int, source_store: Store | None = None, *, sha256: str | None = None) -> Plan:
    """Find what is needed to restore a file, and refuse what must not be done. Changes nothing.

    ``source_store`` None takes the store with the latest good check. ``sha256`` asks for an earlier content than the
    one on record, as after an edit nobody meant.

    Raises:
        NotFound: no such file, or no sound copy. Refused: a store is offline, or the file is sound.
    """
    due = fixity.due_file(db, file_id)
    if due is None:
        raise NotFound("There is no digest on record for this file.", hint="It never could be read.")
    wanted = sha256 or due.sha256
    store = stores.by_id(db, due.store_id)
    root = where(db, store)
    if root is None:
        raise Refused(f"The store {store.name!r} is offline.", hint="Connect it first.", path=store.root)
    target = Path(real_path(root, due.path))
    if check(str(target), Expected(target.stat().st_size if target.is_file() else -1, due.mtime_ns, wanted),
             tell=lambda _: None, cancelled=never).result is Result.INTACT:
        raise Refused("The file is sound: there is nothing to restore.", hint="Audit it to close its findings.",
                      path=target)
    origin_store, source = _source(db, wanted, due, source_store)
    return Plan(due, store, target, origin_store, source, wanted, os.path.lexists(target))


def _source(db: Database, sha256: str, due: Due, asked: Store | None) -> tuple[Store, Path]:
    offline = []
    for holder in sources(db, sha256, due.id):
        if asked is not None and holder.store_id != asked.id:
            continue
        store = stores.by_id(db, holder.store_id)
        root = where(db, store)
        if root is None:
            offline.append(store.name)
        else:
            return store, Path(real_path(root, holder.path))
    place = f"in {asked.name!r}" if asked else "in any store"
    raise NotFound(f"There is no sound copy of this file {place} to restore it from.",
                   hint=f"Connect {', '.join(sorted(set(offline)))}." if offline else "", path=due.path)


def sources(db: Database, sha256: str, file_id: int) -> list[Holder]:
    """Intact files with these bytes other than this one, sound ones first, latest check first."""
    return [h for h in copies.holders(db, sha256) if h.intact and h.file_id != file_id]


def restore(db: Database, settings: Settings, planned: Plan, *, report: Report = unheard,
            cancelled: Cancelled = never) -> Restored:
    """Carry a plan out. Until the verified copy stands ready nothing at the target changes.

    Copies are counted anew at once.

    Raises:
        Damaged: the source fails its check. NoRoom, Busy, CatalogueError, Stopped: as in ``copying``.
    """
    due, target = planned.due, planned.target
    with staged_copy(planned.source, target, sha256=planned.sha256, report=report, cancelled=cancelled,
                     replace=True) as staged:
        aside = _kept_aside(target) if os.path.lexists(target) else None
        if aside is not None:
            with transaction(db):  # before the switch: a kill after it must not leave the aside file unexplained
                events.append(db, "quarantine", "success", store=planned.store.name, path=due.path,
                              sha256=due.sha256, detail=f"kept aside as {shown(kept(aside.name))}")
        staged.put(replace=True)
    stat = target.stat()
    scan = scans.by_digest(db, planned.sha256)
    with transaction(db):
        run_id = runs.start(db, "restore", planned.store.id)
        files.save(db, planned.store.id, due.path, stat.st_size, stat.st_mtime_ns, scan.id if scan else due.scan_id,
                   verified=True)
        fixity.clear_damage(db, due.id)
        findings.resolve(db, f"restored from {planned.source_store.name}", store_id=planned.store.id, path=due.path,
                         kinds=DOUBTS)
        events.append(db, "recovery", "success", store=planned.store.name, path=due.path, sha256=planned.sha256,
                      detail=f"restored from {planned.source_store.name}: {shown(kept(str(planned.source)))}")
        runs.end(db, run_id, "finished", {"bytes": stat.st_size})
        if scan is not None and scan.piece_id is not None:
            pieces.propose_current(db, scan.piece_id)
        review_scans(db, settings, {due.scan_id, scan.id if scan else due.scan_id})
    return Restored(target, aside, planned.sha256, planned.source)


def _kept_aside(target: Path) -> Path:
    """Give what stands at ``target`` a second name, so that the switch loses nothing; a rename where links fail."""
    aside = aside_name(target, now())
    try:
        os.link(target, aside, follow_symlinks=False)
    except OSError as error:
        if error.errno not in NO_LINKS:
            raise
        target.rename(aside)
    sync_folder(target.parent)
    return aside
