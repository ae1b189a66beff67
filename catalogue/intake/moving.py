"""Renaming files within a store: checked, never over another file, written down first, and undone the same way."""

import errno
import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from catalogue.errors import CatalogueError, Refused
from catalogue.fixity.copying import copy_verified, sync_folder
from catalogue.indexing.alone import alone
from catalogue.indexing.stores import where
from catalogue.intake.applying import Left, digest_of
from catalogue.intake.naming import same_name
from catalogue.intake.tidy import Move, Tidying, undo_folder
from catalogue.progress import Cancelled, Progress, Report, never, unheard
from catalogue.records import events, files, intake, stores
from catalogue.records.database import Database, now, transaction
from catalogue.records.paths import kept, native, shown, unsafe_kept
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.untrusted import LIST_BYTES, read_regular

_NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EINVAL}


@dataclass(frozen=True, slots=True)
class Tidied:
    """What was moved; ``undo`` is the file that brings it back, None where nothing was moved."""

    moved: tuple[Move, ...]
    left: tuple[Left, ...]
    undo: Path | None
    stopped: bool = False


def apply_tidying(db: Database, home: Home, plan: Tidying, *, report: Report = unheard, cancelled: Cancelled = never
                  ) -> Tidied:
    """Move what the plan says. A file whose bytes are not the recorded ones stays where it is.

    Raises:
        CatalogueError: the store is offline. Busy: an index run is under way.
    """
    store = stores.by_id(db, plan.store_id)
    if not plan.moves:
        return Tidied((), (), None)
    with alone(home, "index"):
        root = _root(db, store)
        passed_over = finish_cut_short(db, home, store, root)
        path = _new_undo_file(home, store)
        with path.open("a", encoding="utf-8") as undo:
            _write(undo, {"store": store.marker, "name": store.name, "at": now()})
            moved, left, stopped = _moved_all(db, store, root, plan.moves, undo, report, cancelled)
            _write(undo, {"end": now()})
    return Tidied(tuple(moved), (*passed_over, *left), path, stopped)


def undo_tidying(db: Database, home: Home, path: Path, *, report: Report = unheard, cancelled: Cancelled = never
                 ) -> Tidied:
    """Bring back what an undo file lists, last first, checked and written down like any move.

    Raises:
        CatalogueError: no undo file of ours, or its store is not known or offline.
    """
    header, entries, _ = read_undo(path)
    store = next((s for s in stores.listed(db) if s.marker == header.get("store")), None)
    if store is None:
        raise CatalogueError("The store of this undo file is not known here.", path=path)
    moves = []
    for entry in reversed(entries):
        file = files.by_path(db, store.id, entry["to"])
        if file:
            moves.append(Move(file.id, entry["to"], entry["from"], entry["sha256"], file.size, "undone"))
    return apply_tidying(db, home, Tidying(store.id, store.name, tuple(moves), 0, ()), report=report,
                         cancelled=cancelled)


def read_undo(path: Path) -> tuple[dict[str, str], list[dict[str, str]], bool]:
    """Header, moves and whether the tidying came to its end. A last line cut short is left out.

    Raises:
        CatalogueError: it cannot be read, or is no undo file.
    """
    try:
        lines = read_regular(path, LIST_BYTES, follow=True).decode("utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise CatalogueError("The undo file cannot be read.", path=path) from error
    entries = []
    for number, line in enumerate(lines, 1):
        try:
            entries.append((number, json.loads(line)))
        except (ValueError, RecursionError):  # killed while it wrote this line: nothing was moved for it
            continue
    header = entries[0][1] if entries else None
    if not isinstance(header, dict) or not isinstance(header.get("store"), str):
        raise CatalogueError("This is no undo file.", path=path)
    moves = [entry for number, entry in entries[1:] if _is_move(number, entry, path)]
    return header, moves, any("end" in entry for _, entry in entries[1:])


def _is_move(number: int, entry: object, path: Path) -> bool:
    """Whether a line of an undo file is a move. Raises Refused for one that leads out of the store."""
    if not isinstance(entry, dict):
        raise CatalogueError("This is no undo file.", path=path)
    if "to" not in entry:
        return False
    values = [entry.get(key) for key in ("from", "to", "sha256")]
    if not all(isinstance(value, str) for value in values):
        raise Refused(f"Nothing was moved: line {number} of the undo file is no move.", path=path)
    for place in values[:2]:
        if reason := unsafe_kept(str(place)):
            raise Refused(f"Nothing was moved: line {number} of the undo file is refused: {reason}.", path=path)
    return True


def finish_cut_short(db: Database, home: Home, store: Store, root: Path) -> list[Left]:
    """Complete moves of a tidying that was killed: a file that stands under both names loses the old one.

    Gives the undo files that could not be read; one that was begun and never written to says nothing.
    """
    passed_over = []
    for path in sorted(undo_folder(home.folder).glob("*.jsonl")):
        try:
            if path.stat().st_size == 0:
                continue
            header, entries, ended = read_undo(path)
        except (CatalogueError, OSError) as error:
            passed_over.append(Left(path, f"passed over: {error}"))
            continue
        if ended or header["store"] != store.marker:
            continue
        for entry in entries:
            old, new = root / native(entry["from"]), root / native(entry["to"])
            if _twice(old, new, entry["sha256"]):
                _record(db, store, entry["from"], entry["to"], entry["sha256"])
                old.unlink()
                sync_folder(old.parent)
        with path.open("a", encoding="utf-8") as undo:
            _write(undo, {"end": now()})
    return passed_over


def _twice(old: Path, new: Path, sha256: str) -> bool:
    if old.name not in _names(old.parent) or new.name not in _names(new.parent):
        return False
    return digest_of(old) == digest_of(new) == sha256


def _names(folder: Path) -> set[str]:
    try:
        return {entry.name for entry in folder.iterdir()}
    except OSError:
        return set()


def _root(db: Database, store: Store) -> Path:
    root = where(db, store)
    if root is None:
        raise CatalogueError(f"The store {store.name!r} is offline.", hint=f"Connect it; it was at {store.root}.")
    return root


def _new_undo_file(home: Home, store: Store) -> Path:
    folder = undo_folder(home.folder)
    folder.mkdir(parents=True, exist_ok=True)
    moment = "".join(c for c in now()[:23] if c.isalnum())
    return folder / f"tidy-{store.id}-{moment}.jsonl"


def _write(undo: IO[str], entry: dict[str, str]) -> None:
    undo.write(json.dumps(entry, ensure_ascii=True) + "\n")
    undo.flush()
    os.fsync(undo.fileno())


def _moved_all(db: Database, store: Store, root: Path, moves: tuple[Move, ...], undo: IO[str], report: Report,
               cancelled: Cancelled) -> tuple[list[Move], list[Left], bool]:
    moved: list[Move] = []
    left: list[Left] = []
    total, done = sum(m.size for m in moves), 0
    for number, move in enumerate(moves):
        if cancelled():
            return moved, left, True
        report(Progress("Tidying", number, len(moves), done, total, shown(move.source)))
        file = files.by_id(db, move.file_id)
        if file is None or file.path != move.source:
            continue  # the end of a tidying cut short has moved it already
        try:
            _move(db, store, root, move, undo)
            moved.append(move)
        except CatalogueError as error:
            left.append(Left(root / native(move.source), str(error)))
        except OSError as error:
            left.append(Left(root / native(move.source), f"the system refused: {error.strerror}"))
        done += move.size
    report(Progress("Tidying", len(moves), len(moves), done, total))
    return moved, left, False


def _move(db: Database, store: Store, root: Path, move: Move, undo: IO[str]) -> None:
    old, new = root / native(move.source), root / native(move.target)
    if digest_of(old) != move.sha256:
        raise Refused("Its bytes are not the recorded ones.", hint="Audit the store first.", path=old)
    _write(undo, {"from": move.source, "to": move.target, "sha256": move.sha256})
    rename(old, new, move.sha256)
    for sidecar, its_target in sidecars_of(old, new):
        if not os.path.lexists(its_target):
            rename(sidecar, its_target, digest_of(sidecar))
            _unlink(sidecar, its_target)
    _record(db, store, move.source, move.target, move.sha256)
    _unlink(old, new)
    _drop_empty(old.parent, root)


def rename(old: Path, new: Path, sha256: str) -> None:
    """Give a file its second name, or on a disk that knows none a verified copy; the old name stays for now."""
    new.parent.mkdir(parents=True, exist_ok=True)
    if new.name in _names(new.parent):
        if _twice(old, new, sha256):
            return  # a move cut short by a kill
        raise Refused("A file with this name is already there; it is not overwritten.", path=new)
    if same_name(str(old)) == same_name(str(new)) and os.path.lexists(new):
        old.rename(new)  # one file under a name that differs in capitals or accents' form alone
    else:
        try:
            os.link(old, new, follow_symlinks=False)
        except FileExistsError as error:
            raise Refused("A file with this name is already there; it is not overwritten.", path=new) from error
        except OSError as error:
            if error.errno not in _NO_LINKS:
                raise
            copy_verified(old, new, sha256=sha256, report=unheard, cancelled=never)
    sync_folder(new.parent)


def _unlink(old: Path, new: Path) -> None:
    """Drop the old name, if the file has another."""
    if old.name in _names(old.parent) and new.name in _names(new.parent):
        old.unlink()
        sync_folder(old.parent)


def sidecars_of(old: Path, new: Path) -> list[tuple[Path, Path]]:
    """Sidecar files that go with a file: ``name.xmp`` and ``name.tif.xmp``, with where they go."""
    pairs = [(old.with_name(old.name + ".xmp"), new.with_name(new.name + ".xmp"))]
    alone = [n for n in _names(old.parent) if Path(n).stem == old.stem and not n.lower().endswith(".xmp")]
    if alone == [old.name]:  # another picture of the same stem may own it
        pairs.append((old.with_suffix(".xmp"), new.with_suffix(".xmp")))
    return [(a, b) for a, b in pairs if a.is_file()]


def _record(db: Database, store: Store, source: str, target: str, sha256: str) -> None:
    with transaction(db):
        file = files.by_path(db, store.id, source)
        if file:
            intake.moved(db, file.id, target)
        events.append(db, "filename change", "success", store=store.name, path=target, sha256=sha256,
                      detail=f"was {shown(kept(source))}")


def _drop_empty(folder: Path, root: Path) -> None:
    """Folders that a move has emptied go; one that still holds anything stays."""
    while folder != root and folder.is_relative_to(root):
        try:
            folder.rmdir()
        except OSError:  # not empty, or not ours: it stays
            return
        folder = folder.parent
