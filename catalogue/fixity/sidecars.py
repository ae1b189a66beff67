"""Copying sidecars along with their picture: each verified, and never over another."""

import os
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from catalogue.errors import CatalogueError, StoreAway
from catalogue.fixity.copying import Stopped, copy_verified
from catalogue.fixity.sidecar_audit import look_beside
from catalogue.indexing.locating import locate_store, opened_store
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.reading.digests import sha256_of_fd
from catalogue.records import events, files, findings, stores
from catalogue.records import sidecars as rows
from catalogue.records.database import Database, transaction
from catalogue.records.paths import display_path, escape_path, native_path
from catalogue.records.stores import Store
from catalogue.storage.folders import Entry, open_entry
from catalogue.storage.medium import writing
from catalogue.storage.sidecars import SUFFIXES, name_beside, sidecars_of

DIFFERS = "a sidecar there says something else; compare them, and remove the one that is out of date"


@dataclass(slots=True)
class SidecarCopies:
    """The sidecars copied, by path, and those that were not, as ``(path, why)``."""

    copied: list[Path] = field(default_factory=list)
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
                   report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> SidecarCopies:
    """Copy what sidecars of pictures in the primary stores, or in ``source``, their copies in ``target`` lack.

    Also such as came beside a picture after it was copied. Raises Stopped; StoreAway.
    """
    done = SidecarCopies()
    for origin, picture, copy in _pairs(db, target, source, masters_only=masters_only, report=report,
                                        cancelled=cancelled):
        try:
            with (opened_store(db, origin) as root, open_entry(root, native_path(picture)) as entry,
                  opened_store(db, target) as into, open_entry(into, native_path(copy)) as beside):
                if not beside.exists():
                    continue
                copied = copy_sidecars(entry, beside, report=report, cancelled=cancelled)
        except StoreAway:
            raise
        except (CatalogueError, OSError) as error:
            done.left.append((Path(origin.root) / native_path(picture), str(error)))
            continue
        done.copied += copied.copied
        done.left += copied.left
        if copied.copied:
            with transaction(db):
                for path in copied.copied:
                    note_sidecar(db, target, copy, path, origin.name)
    return done


def note_sidecar(db: Database, store: Store, picture: str, sidecar: Path, origin: str) -> None:
    """Note and log that a sidecar is beside a picture (a path in stored form). Within a transaction."""
    file = files.by_path(db, store.id, picture)
    seen = look_beside(sidecar.parent / native_path(picture).rpartition("/")[2])
    if file is not None and seen is not None:
        rows.note(db, file.id, seen)
        if not rows.any_gone(db, file.id):
            findings.resolve(db, f"copied from {origin}", store_id=store.id, path=picture, kinds=(rows.MISSING,))
    events.append(db, "replication", "success", store=store.name, path=picture,
                  detail=f"its sidecar {display_path(escape_path(sidecar.name))} copied from {origin}")


def count_lacking(db: Database, target: Store, source: Store | None, *, masters_only: bool = False,
                  report: Report = ignore_progress) -> int:
    """How many pictures have sidecars that their copies in ``target``, or those to come, lack. Changes nothing."""
    root = locate_store(db, target)
    if root is None:
        return 0
    lacking = set()
    for origin, picture, copy in _pairs(db, target, source, masters_only=masters_only, to_come=True,
                                        report=report):
        with suppress(CatalogueError, OSError), opened_store(db, origin) as held, open_entry(
                held, native_path(picture)) as entry:
            names = [name_beside(sidecar.name, entry.name, native_path(copy).rpartition("/")[2])
                     for sidecar in sidecars_of(entry)]
            folder = (root / native_path(copy)).parent
            if not copy or not all(os.path.lexists(folder / name) for name in names):
                lacking.add((origin.id, picture))
    return len(lacking)


def _pairs(db: Database, target: Store, source: Store | None, *, masters_only: bool, to_come: bool = False,
           report: Report = ignore_progress, cancelled: Cancelled = never_cancelled
           ) -> Iterator[tuple[Store, str, str]]:
    """A store, a picture in it beside which a sidecar lies, and a file in ``target`` with the same bytes; "" if
    there is none yet, ``to_come``."""
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
                    yield origin, file.path, copy


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
