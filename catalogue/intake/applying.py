"""Taking in what was proposed: copied, verified, recorded, file by file; cut short anywhere, the next run goes on."""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged, NotFound, Refused
from catalogue.fixity.copying import Stopped, copy_verified, sync_folder
from catalogue.indexing.recording import keep_preview, record
from catalogue.indexing.stores import is_at, where
from catalogue.intake.naming import free
from catalogue.intake.proposals import Item, Plan, Proposal
from catalogue.progress import Cancelled, Progress, Report, never, unheard
from catalogue.records import events, intake, pieces, runs, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.paths import kept, native, shown
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.untrusted import open_regular


@dataclass(frozen=True, slots=True)
class Taken:
    """One file taken in. ``outcome``: "copied", or "already there" where an earlier run had copied it."""

    source: Path
    store: str
    target: str
    sha256: str
    outcome: str


@dataclass(frozen=True, slots=True)
class Left:
    """One file that was not taken in, or whose source was not removed, and why."""

    path: Path
    why: str


@dataclass(frozen=True, slots=True)
class Outcome:
    taken: tuple[Taken, ...] = ()
    left: tuple[Left, ...] = ()
    removed: tuple[Path, ...] = ()
    kept: tuple[Left, ...] = ()
    stopped: bool = False


def apply(db: Database, home: Home, plan: Plan, *, also: Sequence[Store] = (), delete_sources: bool = False,
          report: Report = unheard, cancelled: Cancelled = never) -> Outcome:
    """Take in every proposal that is ready; the others are left with their questions.

    ``also`` names further stores that get a copy under the same path. Sources are never touched unless
    ``delete_sources``, and then only those that ``Settings.minimum_copies`` stores hold, every copy read and
    compared at that moment.

    Raises:
        CatalogueError: a store is offline. Busy: the catalogue cannot be written.
    """
    places = _places(db, plan, also)
    ready = [p for p in plan.proposals if p.ready]
    left = [Left(i.arrival.path, "; ".join(p.questions or p.reasons) or "not chosen")
            for p in plan.proposals if not p.ready for i in p.items]
    with transaction(db):
        intake.close_left_open(db)
        run_id = runs.start(db, "intake", plan.store_id)
    taken: list[Taken] = []
    stopped = finished = trouble = False
    counted = _Counted(report, sum(p.size for p in ready) * len(places), sum(len(p.items) for p in ready) * len(places))
    try:
        for proposal in ready:
            for item in proposal.items:
                for store, root in places:
                    _still_there(store, root)
                    try:
                        taken.append(_take(db, home, store, root, proposal, item, run_id, counted, cancelled))
                    except (Damaged, NotFound, Refused) as error:  # this file's own trouble; the others go on
                        left.append(Left(item.arrival.path, str(error)))
                        trouble = True
                    counted.next(item.arrival.reading.size)
        finished = True
    except Stopped:
        stopped = True
    except CatalogueError as error:
        left.append(Left(Path(error.path) if error.path else plan.folder, str(error)))
    finally:
        with transaction(db):
            _propose_masters(db, taken)
            runs.end(db, run_id, "finished" if finished and not trouble else "cancelled" if stopped else "failed",
                     {"taken": len(taken), "left": len(left)})
    removed: list[Path] = []
    kept_back: list[Left] = []
    if delete_sources and finished:
        _remove_sources(db, home, plan, taken, removed, kept_back)
    return Outcome(tuple(taken), tuple(left), tuple(removed), tuple(kept_back), stopped)


def _places(db: Database, plan: Plan, also: Sequence[Store]) -> list[tuple[Store, Path]]:
    places: list[tuple[Store, Path]] = []
    for store in (stores.by_id(db, plan.store_id), *also):
        root = where(db, store)
        if root is None:
            raise CatalogueError(f"The store {store.name!r} is offline.", hint=f"Connect it; it was at {store.root}.")
        if store.id not in {s.id for s, _ in places}:
            places.append((store, root))
    return places


def _still_there(store: Store, root: Path) -> None:
    """A share that was unmounted leaves an empty folder in its place: nothing may be put there."""
    if not is_at(store, root):
        raise CatalogueError(f"The store {store.name!r} went away.", hint="Connect it, then take in the rest.",
                             path=root)


class _Counted:
    """Progress of one file added to that of all."""

    def __init__(self, report: Report, total_bytes: int, total: int) -> None:
        self.report, self.total_bytes, self.total = report, total_bytes, total
        self.bytes = self.files = 0

    def __call__(self, progress: Progress) -> None:
        part = progress.bytes_done if progress.stage == "copy" else 0
        self.report(Progress("Taking in", self.files, self.total, self.bytes + part, self.total_bytes, progress.note))

    def next(self, size: int) -> None:
        self.bytes, self.files = self.bytes + size, self.files + 1
        self.report(Progress("Taking in", self.files, self.total, self.bytes, self.total_bytes))


def _take(db: Database, home: Home, store: Store, root: Path, proposal: Proposal, item: Item, run_id: int,
          report: Report, cancelled: Cancelled) -> Taken:
    reading, source = item.arrival.reading, item.arrival.path
    target = kept(item.target)
    with transaction(db):
        intake.plan(db, run_id, store.id, kept(str(source)), reading.size, reading.sha256, target)
    outcome = "copied"
    try:
        copy_verified(source, root / native(target), sha256=reading.sha256, report=report, cancelled=cancelled)
    except Refused:
        if digest_of(root / native(target), cancelled) == reading.sha256:
            outcome = "already there"
        elif (root / native(target)).exists():
            # someone has put another file there since the plan was shown: step aside, never over it
            target = free(target, lambda path: (root / native(path)).exists())
            with transaction(db):
                intake.plan(db, run_id, store.id, kept(str(source)), reading.size, reading.sha256, target)
            copy_verified(source, root / native(target), sha256=reading.sha256, report=report, cancelled=cancelled)
        else:
            raise
    keep_preview(home, reading)
    stat = (root / native(target)).stat()
    own = replace(reading, path=str(root / native(target)), size=stat.st_size, mtime_ns=stat.st_mtime_ns)
    with transaction(db):
        piece_id = _piece(db, proposal)
        record(db, home, store, target, own, role=item.role, piece_id=piece_id)
        scan = scans.by_digest(db, reading.sha256)
        if scan:
            _describe(db, proposal, item, scan.id, piece_id)
        events.append(db, "ingestion", "success", store=store.name, path=target, sha256=reading.sha256,
                      detail=f"from {shown(kept(str(source)))}, read back and compared")
        intake.settle(db, store.id, target, reading.sha256, "recorded")
    return Taken(source, store.name, target, reading.sha256, outcome)


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


def _propose_masters(db: Database, taken: Sequence[Taken]) -> None:
    touched = {scan.piece_id for t in taken if (scan := scans.by_digest(db, t.sha256)) and scan.piece_id is not None}
    for piece_id in touched:
        pieces.propose_current(db, piece_id)


def digest_of(path: Path, cancelled: Cancelled = never) -> str:
    """SHA-256 of a file's bytes, or "" where it cannot be read. Raises Stopped."""
    try:
        with open_regular(path, follow=True) as file:
            sha = hashlib.sha256()
            while block := file.read(1 << 21):
                if cancelled():
                    raise Stopped
                sha.update(block)
            return sha.hexdigest()
    except OSError:
        return ""


def _remove_sources(db: Database, home: Home, plan: Plan, taken: Sequence[Taken], removed: list[Path],
                    kept_back: list[Left]) -> None:
    """Remove what was taken in now, and what was held before, once enough verified copies stand."""
    from catalogue.intake.proposals import Kind

    sources = {t.source: t.sha256 for t in taken}
    sources |= {i.arrival.path: i.arrival.reading.sha256 for p in plan.proposals if p.kind is Kind.HELD
                for i in p.items}
    for source, sha256 in sources.items():
        why = _missing_safety(db, source, sha256, home.settings.minimum_copies)
        if why:
            kept_back.append(Left(source, why))
            continue
        try:
            source.unlink()
            sync_folder(source.parent)
        except OSError as error:
            kept_back.append(Left(source, f"the system refused: {error.strerror}"))
            continue
        removed.append(source)
        with transaction(db):
            events.append(db, "deletion", "success", path=kept(str(source)), sha256=sha256,
                          detail=f"source of an intake, after {home.settings.minimum_copies} stores were verified")
            for t in taken:
                if t.source == source:
                    store = stores.by_name(db, t.store)
                    intake.settle(db, store.id, t.target, sha256, "source removed")


def _missing_safety(db: Database, source: Path, sha256: str, needed: int,
                    digest: Callable[[Path], str] = digest_of) -> str:
    """Why a source may not be removed yet; empty where it may."""
    if digest(source) != sha256:
        return "it has changed since it was taken in"
    good: set[int] = set()
    for copy in intake.copies(db, sha256):
        store = stores.by_id(db, copy.store_id)
        root = where(db, store)
        place = root / native(copy.path) if root else None
        if place and not _same_file(place, source) and digest(place) == sha256:
            good.add(copy.store_id)
    if len(good) < needed:
        return f"{len(good)} of the {needed} stores the settings demand hold a verified copy"
    return ""


def _same_file(one: Path, two: Path) -> bool:
    try:
        return one.samefile(two)
    except OSError:
        return False
