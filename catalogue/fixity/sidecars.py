"""Copying sidecars along with their picture: each verified, and over an older one only when asked."""

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from catalogue.errors import CatalogueError, Refused, StoreAway
from catalogue.fixity.copying import Stopped, copy_verified, staged_copy
from catalogue.fixity.sidecar_audit import look_beside, read_beside
from catalogue.indexing.locating import locate_store, opened_store
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.reading.digests import sha256_of_fd
from catalogue.records import events, files, findings, stores
from catalogue.records import sidecars as rows
from catalogue.records.database import Database, transaction
from catalogue.records.paths import display_path, escape_path, native_path, stored_mtime
from catalogue.records.sidecars import SeenSidecar
from catalogue.records.stores import Store
from catalogue.storage.atomic import aside_name, remove_leftover
from catalogue.storage.folders import Entry, open_entry
from catalogue.storage.identity import is_regular
from catalogue.storage.medium import writing
from catalogue.storage.sidecars import SUFFIXES, name_beside, sidecar_names, sidecars_of

OTHERWISE = "a sidecar there says something else"
NO_FILE = "a folder, link or device there has the sidecar's name; remove it, then copy again"
DIFFERS = f"{OTHERWISE}; compare them, and remove the one that is out of date"


@dataclass(frozen=True, slots=True)
class PictureCopy:
    """A picture beside which a sidecar lies, and a file in ``target`` with the same bytes; paths in stored form.
    ``copy`` is "" where there is none yet."""

    origin: Store
    picture: str
    target: Store
    copy: str


@dataclass(slots=True)
class SidecarCopies:
    """The sidecars copied, by path, those that replaced an older one, and those that did neither, as ``(path, why)``.
    """

    copied: list[Path] = field(default_factory=list)
    replaced: list[Path] = field(default_factory=list)
    left: list[tuple[Path, str]] = field(default_factory=list)


def copy_sidecars(picture: Entry, copy: Entry, *, report: Report = ignore_progress,
                  cancelled: Cancelled = never_cancelled) -> SidecarCopies:
    """Copy a picture's sidecars beside a copy of it. Raises Stopped; other failures are in ``left``."""
    done = SidecarCopies()
    try:
        sidecars = sidecars_of(picture)
    except OSError as error:
        done.left.append((picture.path, f"its sidecars cannot be looked for: {error.strerror}"))
        return done
    for sidecar in sidecars:
        target = copy.folder.entry(name_beside(sidecar.name, picture.name, copy.name))
        try:
            with writing(target.path):
                taken = target.exists()
            if not taken:
                copy_verified(sidecar, target, sha256=None, report=report, cancelled=cancelled)
                done.copied.append(target.path)
            elif not is_regular(target.stat()):
                done.left.append((target.path, NO_FILE))
            elif _digest(target) != _digest(sidecar):
                done.left.append((target.path, DIFFERS))
        except (CatalogueError, OSError) as error:
            done.left.append((sidecar.path, str(error)))
    return done


def _digest(entry: Entry) -> str:
    fd = entry.open(os.O_RDONLY)
    try:
        return sha256_of_fd(fd)[0]
    finally:
        os.close(fd)


def bring_sidecars(db: Database, target: Store, source: Store | None, *, masters_only: bool = False,
                   update: bool = False, report: Report = ignore_progress, cancelled: Cancelled = never_cancelled
                   ) -> SidecarCopies:
    """Copy what sidecars of pictures in the primary stores, or in ``source``, their copies in ``target`` lack.

    Also such as came beside a picture after it was copied. With ``update`` older ones there are replaced, and kept
    under another name. Raises Stopped; StoreAway.
    """
    done = SidecarCopies()
    for pair in _pairs(db, target, source, masters_only=masters_only, report=report, cancelled=cancelled):
        try:
            with _opened(db, pair) as (picture, copy):
                if not copy.exists():
                    continue
                brought = copy_sidecars(picture, copy, report=report, cancelled=cancelled)
                if brought.left:
                    _replace_older(db, pair, picture, copy, brought, update=update, report=report,
                                   cancelled=cancelled)
        except StoreAway:
            raise
        except (CatalogueError, OSError) as error:
            done.left.append((Path(pair.origin.root) / native_path(pair.picture), str(error)))
            continue
        done.copied += brought.copied
        done.replaced += brought.replaced
        done.left += brought.left
        # an earlier run may have been killed before it noted what it had replaced
        noted_late = update and findings.open_at(db, target.id, pair.copy, (rows.DIFFERS,))
        if brought.copied or brought.replaced or noted_late:
            with transaction(db):
                _note_beside(db, pair.origin, pair.picture, picture.path)
                _note_beside(db, target, pair.copy, copy.path)
                for path in brought.copied:
                    note_sidecar(db, target, pair.copy, path, pair.origin.name)
                for path in brought.replaced:
                    _log(db, target, pair.copy, path, f"replaced by the newer one from {pair.origin.name}")
    return done


@contextmanager
def _opened(db: Database, pair: PictureCopy) -> Iterator[tuple[Entry, Entry]]:
    """The picture and its copy, both stores held open. Raises StoreAway, Refused, OSError."""
    with (opened_store(db, pair.origin) as origin, open_entry(origin, native_path(pair.picture)) as picture,
          opened_store(db, pair.target) as target, open_entry(target, native_path(pair.copy)) as copy):
        yield picture, copy


def _replace_older(db: Database, pair: PictureCopy, picture: Entry, copy: Entry, brought: SidecarCopies, *,
                   update: bool, report: Report, cancelled: Cancelled) -> None:
    """Replace, of the sidecars ``left`` because they differ, the older ones; say of the others why not."""
    left = dict(brought.left)
    for newer, former, reason in _differing(db, pair, picture, copy):
        name = sidecar_names(picture.name)[newer.beside]
        target = copy.folder.entry(name_beside(name, picture.name, copy.name))
        if left.get(target.path) != DIFFERS:
            continue
        if reason or not update:
            left[target.path] = OTHERWISE + (reason or f" and is older than the one in {pair.origin.name};"
                                             " --update-sidecars replaces it, and keeps it beside the newer")
            continue
        try:
            _replace(db, pair, picture.folder.entry(name), target, newer, former, report, cancelled)
        except (CatalogueError, OSError) as error:
            left[target.path] = str(error)
        else:
            del left[target.path]
            brought.replaced.append(target.path)
    brought.left = list(left.items())


def _differing(db: Database, pair: PictureCopy, picture: Entry, copy: Entry
               ) -> Iterator[tuple[SeenSidecar, SeenSidecar, str]]:
    """Sidecars of a picture, those of its copy that differ from them, and why these must not be replaced; "" if they
    may. Raises ``OSError``."""
    present = {sidecar.beside: sidecar for sidecar in read_beside(copy) or ()}
    for sidecar in read_beside(picture) or ():
        other = present.get(sidecar.beside) or present.get(sidecar.beside ^ 1)  # a disk may ignore capitals
        if other is not None and other.sha256 != sidecar.sha256:
            yield sidecar, other, _why_kept(db, pair, sidecar, other)


def _why_kept(db: Database, pair: PictureCopy, sidecar: SeenSidecar, other: SeenSidecar) -> str:
    origin = pair.origin.name
    if sidecar.fault:
        return f"; the one in {origin} {sidecar.fault}"
    if not other.sha256:
        return f"; it {other.fault}"
    if other.mtime_ns > sidecar.mtime_ns:
        return f" and is newer than the one in {origin}"
    if other.mtime_ns == sidecar.mtime_ns:
        return f" and has the same time as the one in {origin}; compare them, and remove the one that is out of date"
    there = _sharing(db, pair.target, pair.copy, other.beside)
    if not there <= _sharing(db, pair.origin, pair.picture, sidecar.beside):
        return f", is older than the one in {origin}, and belongs to another picture there too"
    return ""


def _sharing(db: Database, store: Store, picture: str, beside: int) -> set[int | None]:
    """The scans that a sidecar beside a picture belongs to."""
    folder, slash, name = native_path(picture).rpartition("/")
    named = escape_path(folder + slash + sidecar_names(name)[beside][:-4])
    return {file.scan_id for file in files.pictures_called(db, store.id, named)}


def _replace(db: Database, pair: PictureCopy, source: Entry, target: Entry, newer: SeenSidecar, former: SeenSidecar,
             report: Report, cancelled: Cancelled) -> None:
    """Put a sidecar in the place of a former one, of which a verified copy stays beside it.

    Both are copied before the one rename that switches them. Raises as ``copy_verified``.
    """
    with staged_copy(source, target, sha256=newer.sha256, report=report, cancelled=cancelled, replace=True) as staged:
        aside = aside_name(target, datetime.fromtimestamp(former.mtime_ns / 1e9, UTC).isoformat(), "former",
                           lambda entry: _digest(entry) == former.sha256)
        if aside.exists():
            remove_leftover(aside)  # of a run that was killed before it switched
        else:
            copy_verified(target, aside, sha256=former.sha256, report=report, cancelled=cancelled)
        with transaction(db):  # before the switch: a kill after it must not leave an unrecorded aside file
            _log(db, pair.target, pair.copy, target.path, f"kept as {display_path(escape_path(aside.name))}",
                 "quarantine")
        if stored_mtime(target.stat().st_mtime_ns) != former.mtime_ns:
            raise Refused("It was changed meanwhile.", hint="Run this again.", path=target.path)
        staged.put(replace=True)


def note_sidecar(db: Database, store: Store, picture: str, sidecar: Path, origin: str) -> None:
    """Note and log that a sidecar is beside a picture (a path in stored form). Within a transaction."""
    file_id = _note_beside(db, store, picture, sidecar.parent / native_path(picture).rpartition("/")[2])
    if file_id is not None and not rows.any_gone(db, file_id):
        findings.resolve(db, f"copied from {origin}", store_id=store.id, path=picture, kinds=(rows.MISSING,))
    _log(db, store, picture, sidecar, f"copied from {origin}")


def _note_beside(db: Database, store: Store, picture: str, path: Path) -> int | None:
    """Note what lies beside a picture; returns the id of its file, None if nothing could be noted."""
    file, seen = files.by_path(db, store.id, picture), look_beside(path)
    if file is None or seen is None:
        return None
    rows.note(db, file.id, seen)
    return file.id


def _log(db: Database, store: Store, picture: str, sidecar: Path, detail: str, type_: str = "replication") -> None:
    events.append(db, type_, "success", store=store.name, path=picture,
                  detail=f"its sidecar {display_path(escape_path(sidecar.name))} {detail}")


def count_sidecars(db: Database, target: Store, source: Store | None, *, masters_only: bool = False,
                   update: bool = False, report: Report = ignore_progress) -> tuple[int, int]:
    """How many pictures have sidecars that their copies in ``target``, or those to come, lack; and how many older
    sidecars ``update`` would replace. Changes nothing."""
    root = locate_store(db, target)
    if root is None:
        return 0, 0
    lacking, older = set(), set()
    for pair in _pairs(db, target, source, masters_only=masters_only, to_come=True, report=report):
        with suppress(CatalogueError, OSError), opened_store(db, pair.origin) as held, open_entry(
                held, native_path(pair.picture)) as entry:
            names = [name_beside(sidecar.name, entry.name, native_path(pair.copy).rpartition("/")[2])
                     for sidecar in sidecars_of(entry)]
            folder = (root / native_path(pair.copy)).parent
            if not pair.copy or not all(os.path.lexists(folder / name) for name in names):
                lacking.add((pair.origin.id, pair.picture))
        if update and pair.copy:
            with suppress(CatalogueError, OSError), _opened(db, pair) as (picture, copy):
                older |= {(pair.copy, other.beside) for _, other, reason in _differing(db, pair, picture, copy)
                          if not reason}
    return len(lacking), len(older)


def _pairs(db: Database, target: Store, source: Store | None, *, masters_only: bool, to_come: bool = False,
           report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Iterator[PictureCopy]:
    """Pictures beside which sidecars lie, with each of their copies in ``target``, or those ``to_come``."""
    origins: Sequence[Store] = [source] if source else [s for s in stores.listed(db) if s.kind == "primary"]
    for origin in origins:
        root = locate_store(db, origin) if origin.id != target.id else None
        if root is None:
            continue
        seen: set[str] = set()
        for named in _sidecar_stems(root, f"Looking for sidecars in {origin.name}", report, cancelled):
            for file in files.pictures_called(db, origin.id, named, masters_only=masters_only):
                if file.path in seen or file.scan_id is None:
                    continue
                seen.add(file.path)
                copies = files.paths_of_scan(db, target.id, file.scan_id)
                for copy in copies or ([""] if to_come else []):
                    yield PictureCopy(origin, file.path, target, copy)


def _sidecar_stems(root: Path, step: str, report: Report, cancelled: Cancelled) -> Iterator[str]:
    """The path, in stored form, of every sidecar below a root without its suffix. Links are not followed. Raises
    Stopped."""
    for number, (folder, folders, names) in enumerate(os.walk(root)):
        report(Progress(step, number))
        if cancelled():
            raise Stopped
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if name.endswith(SUFFIXES) and not name.startswith("."):
                yield escape_path(os.path.relpath(os.path.join(folder, name[:-4]), root))  # noqa: PTH118
