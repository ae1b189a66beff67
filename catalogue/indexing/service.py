"""One index run: crawl, compare, read, record. Stopped at any point, it leaves the catalogue consistent."""

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from time import monotonic

from catalogue.indexing.comparing import Comparison, compare, within
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.indexing.guessing import guess_new
from catalogue.indexing.locating import is_at, locate_store, record_offline, stand_in_advice
from catalogue.indexing.locations import note_store_location
from catalogue.indexing.previews import keep_preview
from catalogue.indexing.recording import real_path, record
from catalogue.indexing.refiling import adopt_upgraded
from catalogue.indexing.workers import Executors, Job, processes, read_all, worker_count
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.reading.model import Reading
from catalogue.records import files, findings, likenesses, pending, runs
from catalogue.records.database import Database, now, read_only_database, transaction
from catalogue.records.paths import display_path
from catalogue.records.stores import Store
from catalogue.settings import Home

# Findings about folders rather than files: each complete walk of the store opens or closes them.
_CRAWL_KINDS = ("link", "unreadable folder")
# Findings of a file that was there for a moment: closed once it has been read, or is not there at all.
_FLEETING_KINDS = ("vanished", "changing")
COMMIT_FILES = 64
COMMIT_SECONDS = 1.0


@dataclass(slots=True)
class StoreSummary:
    """One store's run. ``outcome``: finished, cancelled, failed (the store was disconnected), offline.

    ``uncompared``: scans in it that were not compared with the others yet.
    """

    store: str
    outcome: str = "finished"
    seen: int = 0
    unchanged: int = 0
    read: int = 0
    bytes: int = 0
    gone: int = 0
    findings: Counter[str] = field(default_factory=Counter)
    uncompared: int = 0
    seconds: float = 0.0


def index(db: Database, home: Home, stores: Sequence[Store], *, workers: int = 0, again: bool = False,
          report: Report = ignore_progress, cancelled: Cancelled = never_cancelled,
          executors: Executors = processes) -> list[StoreSummary]:
    """Bring the catalogue up to date with the stores.

    Files whose size and time are unchanged are not opened unless ``again``. An offline store is left as it was, with
    a finding. Raises Busy when another index run is under way on this catalogue.
    """
    with exclusive_lock(home, "index"):
        adopt_upgraded(db, home)
        read: set[int] = set()
        results = [_index_store(db, home, store, workers, again, report, cancelled, executors, read)
                   for store in stores]
        guess_new(db, home, read, report=report)
        return results


def _index_store(db: Database, home: Home, store: Store, workers: int, again: bool, report: Report,
                 cancelled: Cancelled, executors: Executors, read: set[int]) -> StoreSummary:
    summary = StoreSummary(store.name)
    begun = monotonic()
    root = locate_store(db, store)
    if root is None:
        summary.outcome = "offline"
        advice = stand_in_advice(store)
        if advice or store.kind != "off-site":  # which is where it belongs most of the time
            with transaction(db):
                record_offline(db, store, f"the store was last seen at {store.root}", advice)
            summary.findings["offline"] = 1
        return summary
    moment = now()
    with transaction(db):
        run_id = runs.start(db, "index", store.id)
        note_store_location(db, store, root)
        findings.resolve(db, "seen again", store_id=store.id, path="", kinds=("offline",))
    try:
        _run(db, home, store, root, summary, workers, again, report, cancelled, executors, read)
    except BaseException:
        with transaction(db):
            runs.end(db, run_id, "failed", {"seen": summary.seen, "read": summary.read})
        raise
    with transaction(db):
        if summary.outcome == "failed":
            findings.record(db, "offline", "the store was disconnected during an index run", store_id=store.id,
                            hint="Connect it, then index again.")
        summary.findings.update(findings.seen_since(db, store.id, moment))
        summary.seconds = monotonic() - begun
        runs.end(db, run_id, summary.outcome, {"seen": summary.seen, "read": summary.read, "gone": summary.gone,
                                               "findings": sum(summary.findings.values())})
    summary.uncompared = likenesses.uncompared_in(db, store.id)
    return summary


def _run(db: Database, home: Home, store: Store, root: Path, summary: StoreSummary, workers: int, again: bool,
         report: Report, cancelled: Cancelled, executors: Executors, read: set[int]) -> None:
    with closing(read_only_database(home.database)) as reader:
        comparison = compare(db, reader, store, root, home.settings.ignore, again=again, report=report,
                             cancelled=cancelled)
    summary.seen, summary.unchanged = comparison.seen, comparison.unchanged
    if not is_at(store, root):
        summary.outcome = "failed"
        return
    if not comparison.complete or cancelled():
        summary.outcome = "cancelled"
        return
    absent = _note_whereabouts(db, store, comparison, summary)
    _read_pending(db, home, store, root, summary, worker_count(workers or home.settings.workers), report, cancelled,
                  executors, read)
    _note_missing(db, store, absent)


def _note_whereabouts(db: Database, store: Store, comparison: Comparison, summary: StoreSummary) -> list[int]:
    """Record what a look through the whole store showed; returns the ids of files that are not there.

    Nothing is said of what could not be entered or asked.
    """
    hidden = {o.path for o in comparison.obstacles if o.kind == "unreadable folder"}
    absent = [(file_id, path) for file_id, path in comparison.absent if not within(path, hidden)]
    known = findings.open_at(db, store.id, kinds=(*_CRAWL_KINDS, *_FLEETING_KINDS))
    if not (comparison.obstacles or absent or comparison.back or comparison.altered or known):
        return []  # a transaction more would wait for the disk once more
    met = {(o.kind, o.path) for o in comparison.obstacles}
    gone = {path for _, path in absent}
    with transaction(db):
        for obstacle in comparison.obstacles:
            findings.record(db, obstacle.kind, obstacle.detail, store_id=store.id, path=obstacle.path,
                            hint=obstacle.hint)
        for finding in known:
            if within(finding.path, hidden):
                continue
            if finding.kind in _CRAWL_KINDS:
                if (finding.kind, finding.path) not in met:
                    findings.resolve_by_id(db, finding.id, "not so any more")
            elif finding.path in gone or not (finding.file_id or pending.contains(db, finding.path)):
                findings.resolve_by_id(db, finding.id, "it is not there")
        summary.gone = files.mark_missing(db, (file_id for file_id, _ in absent))
        files.mark_present(db, (file_id for file_id, _ in comparison.back))
        files.mark_unread(db, comparison.altered)  # there, so nothing has moved from here; what it holds is read below
        for _, path in comparison.back:
            findings.resolve(db, "found again", store_id=store.id, path=path, kinds=("missing", "moved", "vanished"))
    return [file_id for file_id, _ in absent]


def _read_pending(db: Database, home: Home, store: Store, root: Path, summary: StoreSummary,
                  workers: int, report: Report, cancelled: Cancelled, executors: Executors, read: set[int]) -> None:
    total, total_bytes = pending.total(db)
    if not total:
        return
    lost = False
    batch: list[tuple[str, Reading]] = []
    last = monotonic()

    def stop() -> bool:
        return lost or cancelled()

    report(Progress(f"Reading {store.name}", 0, total, 0, total_bytes))
    for path, reading in read_all(_jobs(db, root), workers, stop, executors=executors):
        if reading.faults and not reading.sha256 and not is_at(store, root):
            lost = True  # the disk went away: what cannot be read now says nothing about the files
            continue
        keep_preview(home, reading)
        batch.append((path, reading))
        summary.read += 1
        summary.bytes += reading.size
        if len(batch) >= COMMIT_FILES or monotonic() - last > COMMIT_SECONDS:
            _commit(db, home, store, batch, read)
            last = monotonic()
        report(Progress(f"Reading {store.name}", summary.read, total, summary.bytes, total_bytes, display_path(path)))
    _commit(db, home, store, batch, read)
    if lost:
        summary.outcome = "failed"
    elif cancelled() and summary.read < total:
        summary.outcome = "cancelled"


def _jobs(db: Database, root: Path) -> Iterator[Job]:
    after = 0
    while rows := pending.take(db, after, 256):
        for row_id, path, _, _ in rows:
            yield path, real_path(root, path)
            after = row_id


def _commit(db: Database, home: Home, store: Store, batch: list[tuple[str, Reading]], read: set[int]) -> None:
    """Record a batch of readings and empty it; the scans they are of go into ``read``."""
    with transaction(db):
        scan_ids = [record(db, home, store, path, reading) for path, reading in batch]
    read.update(scan_id for scan_id in scan_ids if scan_id is not None)
    batch.clear()


def _note_missing(db: Database, store: Store, absent: Sequence[int]) -> None:
    """Record findings for what this run did not find; moved files are already on record at their new path."""
    if not absent:
        return
    with transaction(db):
        for file_id in absent:
            file = files.by_id(db, file_id)
            if file is not None and file.state == "missing":
                findings.record(db, "missing", "it was here on an earlier run and is gone now", store_id=store.id,
                                path=file.path, file_id=file.id, scan_id=file.scan_id,
                                hint="Unless it was moved on purpose, restore it from a copy.")
