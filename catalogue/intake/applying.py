"""Importing a proposal: copied, verified, recorded, file by file; after an interruption the next run continues."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged, NotFound, Refused, StoreAway
from catalogue.fixity.copying import Stopped, copy_verified
from catalogue.fixity.sidecars import SidecarCopies, copy_sidecars, note_sidecar
from catalogue.indexing.locating import opened_store, overlapping_store
from catalogue.indexing.previews import keep_preview
from catalogue.indexing.recording import record
from catalogue.intake.naming import free_path, same_name
from catalogue.intake.proposals import Item, Kind, Plan, Proposal, apart_from_stores
from catalogue.intake.removing import Skipped, Taken, digest_of, remove_sources
from catalogue.progress import Cancelled, OfMany, Report, ignore_progress, never_cancelled
from catalogue.records import copies, events, files, intake, locations, pieces, runs, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.paths import display_path, escape_path, native_path
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.atomic import remove_leftover
from catalogue.storage.folders import Entry, OpenFolder, open_entry, open_folder, still_at
from catalogue.storage.identity import FileId, filesystem_id
from catalogue.storage.medium import writing

NOT_COMPLETED = "the intake was not completed, so nothing was removed"


@dataclass(frozen=True, slots=True)
class Outcome:
    taken: tuple[Taken, ...] = ()
    skipped: tuple[Skipped, ...] = ()
    removed: tuple[Path, ...] = ()
    not_removed: tuple[Skipped, ...] = ()
    stopped: bool = False
    trouble: str = ""   # what was done and could not be recorded


def apply(db: Database, home: Home, plan: Plan, *, also: Sequence[Store] = (), delete_sources: bool = False,
          report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Outcome:
    """Import every proposal that is ready; the others are left with their questions.

    ``also`` names further stores that get a copy under the same path. Sources are never touched unless
    ``delete_sources``, and then only after a run without trouble, and as :mod:`catalogue.intake.removing` allows.

    Raises:
        StoreAway: a store is offline. Refused: two stores are one folder. CatalogueError: the folder lies in a store.
        Busy: the catalogue cannot be written.
    """
    apart_from_stores(db, plan.folder)
    destinations = _destinations(db, plan, also)
    ready = [p for p in plan.proposals if p.ready]
    skipped = [Skipped(i.arrival.path, "; ".join(p.questions or p.reasons) or "not chosen")
            for p in plan.proposals if not (p.ready or p.kind is Kind.HELD) for i in p.items]
    with transaction(db):
        intake.end_killed_runs(db)
        run_id = runs.start(db, "intake", plan.store_id)
    taken: list[Taken] = []
    unrecorded: list[str] = []
    stopped = finished = trouble = False
    counted = OfMany(report, "Importing", sum(len(p.items) for p in ready) * len(destinations),
                     sum(p.size for p in ready) * len(destinations))
    try:
        for proposal in ready:
            for item in proposal.items:
                held = {h.store_id for h in copies.holders(db, item.arrival.reading.sha256) if h.sound}
                for store, known in destinations:
                    if store.id in held - {plan.store_id}:      # a further store needs no second copy
                        counted.next(item.arrival.reading.size)
                        continue
                    try:
                        taken.append(_take(db, home, store, known, proposal, item, run_id, skipped, counted, cancelled))
                    except (Damaged, NotFound, Refused) as error:  # this file's own trouble; the others go on
                        skipped.append(Skipped(item.arrival.path, str(error)))
                        trouble = True
                    counted.next(item.arrival.reading.size)
        finished = True
    except Stopped:
        stopped = True
    except CatalogueError as error:
        skipped.append(Skipped(Path(error.path) if error.path else plan.folder, str(error)))
    finally:
        outcome = "finished" if finished and not trouble else "cancelled" if stopped else "failed"
        try:
            with transaction(db):
                added = [scan for t in taken if (scan := scans.by_digest(db, t.sha256))]
                for piece_id in {scan.piece_id for scan in added if scan.piece_id is not None}:
                    pieces.propose_current(db, piece_id)
                runs.end(db, run_id, outcome, {"taken": len(taken), "left": len(skipped)})
        except CatalogueError as error:  # must not hide what was imported
            unrecorded.append(f"The end of this intake could not be recorded. {error}")
            trouble = True
    removed: list[Path] = []
    kept_back: list[Skipped] = []
    if delete_sources and finished and not trouble:
        unrecorded += remove_sources(db, home, plan, taken, removed, kept_back)
    elif delete_sources:
        kept_back += [Skipped(source, NOT_COMPLETED)
                      for source in sorted({t.source for t in taken})]
    return Outcome(tuple(taken), tuple(skipped), tuple(removed), tuple(kept_back), stopped,
                   " ".join(unrecorded))


def _destinations(db: Database, plan: Plan, also: Sequence[Store]) -> list[tuple[Store, FileId]]:
    """The stores to copy to, each once, with their present root."""
    destinations: dict[int, tuple[Store, FileId]] = {}
    for store in (stores.by_id(db, plan.store_id), *also):
        with opened_store(db, store) as root:
            other = overlapping_store(db, root.path, but=store.id)
            if other is not None:
                raise Refused(f"The stores {store.name!r} and {other.name!r} are one folder, or overlap.",
                              hint="Retire one of them: catalogue store retire.", path=root.path)
            destinations.setdefault(store.id, (store, root.id))
    return list(destinations.values())


def _take(db: Database, home: Home, store: Store, known: FileId, proposal: Proposal, item: Item, run_id: int,
          skipped: list[Skipped], report: Report, cancelled: Cancelled) -> Taken:
    reading, source = item.arrival.reading, item.arrival.path
    with opened_store(db, store, known=known) as root:
        target, outcome, stat, filesystem = _copy(db, store, root, source, item, run_id, report, cancelled)
        with open_entry(root, native_path(target)) as entry:
            brought = _bring_sidecars(source, entry, cancelled)
        if not still_at(root):
            raise StoreAway(f"The store {store.name!r} was disconnected while a file was being copied to it.",
                            hint="Connect it, then import the rest.", path=root.path)
    keep_preview(home, reading)
    own = replace(reading, path=str(root.path / native_path(target)), size=stat.st_size, mtime_ns=stat.st_mtime_ns)
    with transaction(db, f"{display_path(target)} imported as {proposal.artist.value}: {proposal.piece.value}"):
        piece_id = _piece(db, proposal)
        record(db, home, store, target, own, role=item.role, piece_id=piece_id)
        file = files.by_path(db, store.id, target)
        if file:
            locations.note_file(db, file.id, filesystem, stat.st_ino)
        scan = scans.by_digest(db, reading.sha256)
        if scan:
            _describe(db, proposal, item, scan.id, piece_id)
        events.append(db, "ingestion", "success", store=store.name, path=target, sha256=reading.sha256,
                      detail=f"from {display_path(escape_path(str(source)))}, read back and compared")
        for sidecar in brought.copied:
            note_sidecar(db, store, target, sidecar, display_path(escape_path(str(source.parent))))
        intake.set_state(db, store.id, target, reading.sha256, "recorded")
    skipped += [Skipped(path, why) for path, why in brought.left]
    return Taken(source, store.name, target, reading.sha256, outcome, len(brought.copied), len(brought.left))


def _bring_sidecars(source: Path, entry: Entry, cancelled: Cancelled) -> SidecarCopies:
    try:
        with open_folder(source.parent) as folder:
            return copy_sidecars(folder.entry(source.name), entry, cancelled=cancelled)
    except OSError as error:  # the card was pulled out: the picture is copied all the same
        return SidecarCopies(left=[(source, f"imported, but its sidecars cannot be looked for: {error.strerror}")])


def _copy(db: Database, store: Store, root: OpenFolder, source: Path, item: Item, run_id: int, report: Report,
            cancelled: Cancelled) -> tuple[str, str, os.stat_result, str]:
    """Copy one file in; returns where it lies, the outcome, and what the system says of it and of its disk.

    A file put there since the plan was shown is never overwritten; another name is chosen.
    """
    sha256, target = item.arrival.reading.sha256, escape_path(item.target)
    while True:
        with transaction(db):
            intake.plan(db, run_id, store.id, escape_path(str(source)), item.arrival.reading.size, sha256, target)
        with writing(root.path / native_path(target)), open_entry(root, native_path(target), create=True) as entry:
            if not entry.exists():
                copy_verified(source, entry, sha256=sha256, report=report, cancelled=cancelled)
                return target, "copied", entry.stat(), filesystem_id(entry.folder.fd)
            if digest_of(entry, cancelled) == sha256:
                remove_leftover(entry)  # a kill between the two names of a whole copy leaves both
                return target, "already there", entry.stat(), filesystem_id(entry.folder.fd)
            names = {same_name(escape_path(name)) for name in entry.folder.names()}
        target = free_path(target,
                           lambda path: same_name(path.rpartition("/")[2]) in names)  # noqa: B023 - used at once


def _piece(db: Database, proposal: Proposal) -> int:
    if proposal.piece_id is not None:
        return proposal.piece_id
    artist = pieces.artist_called(db, proposal.artist.value)
    return pieces.piece_called(db, artist.id, proposal.piece.value, proposal.year)


def _describe(db: Database, proposal: Proposal, item: Item, scan_id: int, piece_id: int) -> None:
    scans.set_role(db, scan_id, item.role)
    scans.set_piece(db, scan_id, piece_id)
    notes = {name: value for name, value in proposal.capture if value}
    if notes and item.role in ("master", "tile"):
        scans.set_capture(db, scan_id, notes)
    try:
        intake.set_relief(db, piece_id, float(notes.get("relief mm", "")))
    except ValueError:
        return  # none given, or in words: it stays in the notes as typed
