"""Renaming files within a store: checked, never over another file, listed first, and undone the same way."""

from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from catalogue.errors import CatalogueError, NotFound, Refused, StoreAway
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.indexing.locating import opened_store
from catalogue.intake.removing import Skipped, digest_of
from catalogue.intake.renaming import (
    SidecarMove,
    Stems,
    drop_empty_folders,
    drop_old_name,
    rename,
    sidecar_moves,
    two_names,
)
from catalogue.intake.tidy import Move, Tidying
from catalogue.intake.undo_lists import (
    TIDYING,
    UndoList,
    appending,
    new_list,
    read_list,
    store_of,
    undo_folder,
    write_line,
)
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.records import events, files, findings, intake, stores
from catalogue.records.database import Database, now, transaction
from catalogue.records.paths import display_path, escape_path, native_path
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.folders import Entry, OpenFolder, open_entry
from catalogue.storage.identity import FileId
from catalogue.storage.medium import write_all, writing


class _Stopped(CatalogueError):
    """The catalogue or the undo file cannot be written: no more files are moved."""


@dataclass(frozen=True, slots=True)
class Tidied:
    """What was moved; ``undo`` is the file that brings it back, None if nothing was moved."""

    moved: tuple[Move, ...]
    skipped: tuple[Skipped, ...]
    undo: Path | None
    stopped: bool = False


def apply_tidying(db: Database, home: Home, plan: Tidying, *, report: Report = ignore_progress,
                  cancelled: Cancelled = never_cancelled
                  ) -> Tidied:
    """Move what the plan says. A file whose bytes are not the recorded ones stays where it is.

    The undo file gets its "end" only when no file was left under two names; without it the next run completes what
    this one began. Where the catalogue or the undo file cannot be written, the rest is left as it was.

    Raises:
        StoreAway: the store is offline. Busy: an index run is under way. CatalogueError: no undo file can be made.
    """
    store = stores.by_id(db, plan.store_id)
    if not plan.moves and not cut_short(home, store):
        return Tidied((), (), None)
    with exclusive_lock(home, "index"):
        with opened_store(db, store) as root:
            known = root.id
        passed_over = finish_cut_short(db, home, store)
        if not plan.moves:
            return Tidied((), tuple(passed_over), None)
        with new_list(home, store, TIDYING) as (path, undo):
            run = _Run(db, store, known, path)
            _move_all(run, plan.moves, undo, report, cancelled)
            if not run.unsettled:
                with suppress(OSError):  # without it the next run looks and finds nothing left to do
                    write_line(undo, {"end": now()})
        needed = bool(run.moved) or run.unsettled
        if not needed:
            path.unlink()
    return Tidied(tuple(run.moved), (*passed_over, *run.skipped), path if needed else None, run.stopped)


def undo_tidying(db: Database, home: Home, path: Path, *, report: Report = ignore_progress,
                 cancelled: Cancelled = never_cancelled
                 ) -> Tidied:
    """Bring back what an undo file lists, last first, checked and written down like any move.

    Raises:
        CatalogueError: no undo file of ours, or its store is not known or offline.
    """
    undo = read_list(path)
    if undo.kind != TIDYING:
        raise CatalogueError("This is not an undo file of catalogue tidy.", hint="See: catalogue doubles --undo.",
                             path=path)
    store = store_of(db, undo)
    if store is None:
        raise CatalogueError("The store of this undo file is not known here.", path=path)
    moves, gone = [], []
    for entry in reversed(undo.entries):
        file = files.by_path(db, store.id, entry["to"])
        if files.by_path(db, store.id, entry["from"]) is not None and (
                file is None or files.sha256_of(db, file.id) != entry["sha256"]):
            continue  # this move was written down and refused
        if file:
            moves.append(Move(file.id, entry["to"], entry["from"], entry["sha256"], file.size, "undone"))
        else:
            gone.append(Skipped(Path(store.root) / native_path(entry["to"]), "it is no longer there"))
    tidied = apply_tidying(db, home, Tidying(store.id, store.name, tuple(moves), 0, ()), report=report,
                         cancelled=cancelled)
    return Tidied(tidied.moved, (*tidied.skipped, *gone), tidied.undo, tidied.stopped)


def cut_short(home: Home, store: Store) -> bool:
    """Whether an earlier tidying of the store did not come to its end."""
    for path in undo_folder(home.folder).glob("*.jsonl"):
        with suppress(CatalogueError):  # not one that can be finished
            if _is_cut_short(read_list(path), store):
                return True
    return False


def _is_cut_short(listed: UndoList, store: Store) -> bool:
    return listed.kind == TIDYING and not listed.ended and listed.store == store.marker


def finish_cut_short(db: Database, home: Home, store: Store) -> list[Skipped]:
    """Complete moves of a tidying that was killed: a file that stands under both names loses the old one.

    Returns the undo files that could not be read; one that was begun and never written to says nothing.
    """
    passed_over = []
    for path in sorted(undo_folder(home.folder).glob("*.jsonl")):
        try:
            if path.stat().st_size == 0:
                continue
            listed = read_list(path)
        except (CatalogueError, OSError) as error:
            passed_over.append(Skipped(path, f"skipped: {error}"))
            continue
        if not _is_cut_short(listed, store):
            continue
        with opened_store(db, store) as root:
            for entry in listed.entries:
                _finish(db, store, root, entry)
        with writing(path), appending(path) as undo:
            write_all(undo, memoryview(b"\n"))  # the last line may have been cut short
            write_line(undo, {"end": now()})
    return passed_over


def _finish(db: Database, store: Store, root: OpenFolder, entry: dict[str, str]) -> None:
    with ExitStack() as held:
        try:
            old = held.enter_context(open_entry(root, native_path(entry["from"])))
            new = held.enter_context(open_entry(root, native_path(entry["to"])))
        except (NotFound, Refused):
            return  # the folder of one of the names is missing, so the file has one name only
        with writing(new.path):
            if two_names(old, new, entry["sha256"]):
                _record(db, store, entry["from"], entry["to"], entry["sha256"])
                for pair in _sidecars_left(old, new):
                    rename(pair.old, pair.new, pair.sha256, copied=pair.shared)
                    if not pair.shared:
                        drop_old_name(pair.old, pair.new, pair.sha256)
                drop_old_name(old, new, entry["sha256"])


def _sidecars_left(old: Entry, new: Entry) -> list[SidecarMove]:
    """Sidecars that a tidying cut short left beside the old name; where another has the new name they stay there."""
    with suppress(Refused):
        return sidecar_moves(Stems(), old, new)
    return []


@dataclass(slots=True)
class _Run:
    """One run: what was moved, what was left and why, and whether a file may stand under two names."""

    db: Database
    store: Store
    known: FileId
    path: Path
    moved: list[Move] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    stopped: bool = False
    unsettled: bool = False
    stems: Stems = field(default_factory=Stems)


def _move_all(run: _Run, moves: tuple[Move, ...], undo: int, report: Report, cancelled: Cancelled) -> None:
    total, bytes_moved = sum(m.size for m in moves), 0
    for number, move in enumerate(moves):
        if cancelled():
            run.stopped = True
            return
        report(Progress("Tidying", number, len(moves), bytes_moved, total, display_path(move.source)))
        file = files.by_id(run.db, move.file_id)
        if file is None or file.path != move.source:
            continue  # the end of a tidying cut short has moved it already
        source = Path(run.store.root) / native_path(move.source)
        try:
            _move(run, move, undo)
        except (_Stopped, StoreAway) as error:
            run.skipped.append(Skipped(source, str(error)))
            run.skipped += [Skipped(Path(run.store.root) / native_path(m.source), "not attempted")
                         for m in moves[number + 1:]]
            return
        except CatalogueError as error:
            run.skipped.append(Skipped(source, str(error)))
        except OSError as error:
            run.skipped.append(Skipped(source, f"the system refused: {error.strerror}"))
        bytes_moved += move.size
    report(Progress("Tidying", len(moves), len(moves), bytes_moved, total))


def _move(run: _Run, move: Move, undo: int) -> None:
    with (opened_store(run.db, run.store, known=run.known) as root,
          open_entry(root, native_path(move.source)) as old,
          open_entry(root, native_path(move.target), create=True) as new):
        if digest_of(old) != move.sha256:
            raise Refused("Its bytes are not the recorded ones.", hint="Audit the store first.", path=old.path)
        pairs = [SidecarMove(old, new, move.sha256, shared=False), *sidecar_moves(run.stems, old, new)]
        try:
            write_line(undo, {"from": move.source, "to": move.target, "sha256": move.sha256})
        except OSError as error:
            raise _Stopped(f"The undo file cannot be written: {error.strerror}. This file was not moved.",
                           hint="Free some space, then tidy again.", path=run.path) from error
        with _new_names(run) as given:
            for pair in pairs:
                existed = pair.new.exists()
                try:
                    if rename(pair.old, pair.new, pair.sha256, copied=pair.shared):
                        given.append(pair)
                except (OSError, CatalogueError) as error:
                    if not (existed or isinstance(error, Refused)):  # the disk failed, perhaps once it had its name
                        given.append(pair)
                    raise
            try:
                _record(run.db, run.store, move.source, move.target, move.sha256)
            except CatalogueError as error:
                raise _Stopped(f"The catalogue cannot be written: {error.message} This file was not moved.",
                               hint="Free some space, then tidy again.", path=run.path) from error
        run.moved.append(move)
        run.stems.moved(old, new)
        try:
            for pair in reversed(pairs):  # the picture's last: by its two names the next run knows what is to be done
                if not pair.shared:
                    drop_old_name(pair.old, pair.new, pair.sha256)
        except OSError as error:
            run.unsettled = True
            raise CatalogueError(f"It has its new name, {display_path(move.target)}, but the old one cannot be removed:"
                                 f" {error.strerror}.", hint="Tidy again; that removes it.", path=old.path) from error
        drop_empty_folders(root, move.source)


@contextmanager
def _new_names(run: _Run) -> Iterator[list[SidecarMove]]:
    """New names given within the block; removed again unless all succeed, so that no file is left under two names."""
    given: list[SidecarMove] = []
    try:
        yield given
    except BaseException:
        for pair in reversed(given):
            try:
                if pair.old.exists():
                    drop_old_name(pair.new, pair.old, pair.sha256)
                else:
                    pair.new.rename_to(pair.old)
            except OSError:
                run.unsettled = True  # the undo file stays without its end: the next run completes the move
        raise


def _record(db: Database, store: Store, source: str, target: str, sha256: str) -> None:
    with transaction(db):
        file = files.by_path(db, store.id, source)
        if file:
            intake.moved(db, file.id, target)
            findings.rename(db, store.id, source, target)
        events.append(db, "filename change", "success", store=store.name, path=target, sha256=sha256,
                      detail=f"was {display_path(escape_path(source))}")
