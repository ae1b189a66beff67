"""The rolling audit: every file's bytes against its digest, oldest check first, within a budget, resumable.

Reader threads check files and know no database; only this thread records. A store disconnected mid-run ends its own
part, because an unreadable file then says nothing about the file.
"""

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event as Flag
from threading import Lock
from time import monotonic

from catalogue.dates import shown_day
from catalogue.fixity import copies, log, verdicts
from catalogue.fixity.checking import Checked, Expected, Result
from catalogue.fixity.copying import Stopped
from catalogue.fixity.sidecar_audit import review_sidecars
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.indexing.locating import is_at, locate_store, record_offline, stand_in_advice
from catalogue.indexing.locations import note_store_location
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.records import events, findings, fixity, runs
from catalogue.records.database import Database, transaction
from catalogue.records.fixity import Due
from catalogue.records.stores import Store
from catalogue.settings import Home

COMMIT_FILES = 200
COMMIT_SECONDS = 1.0
READERS = 2   # for a store not on a spinning disk: one digests while the other waits for the disk


@dataclass(frozen=True, slots=True)
class Budget:
    """When an audit stops: after seconds, bytes, or a random share (0 to 1) of the files. None means no limit.

    The file being read when the time is up is finished. At least one file is checked, however small the budget.
    """

    seconds: float | None = None
    bytes: int | None = None
    share: float | None = None


@dataclass(frozen=True, slots=True)
class StoreAudit:
    """The result of auditing one store.

    ``outcome``: ``finished`` (all that was due), ``budget`` (the limit is reached), ``cancelled``, ``failed`` (the
    store was disconnected), ``offline``. ``carried_on`` counts files checked earlier by an audit that was stopped.
    """

    store: str
    outcome: str
    checked: int = 0
    bytes: int = 0
    intact: int = 0
    remaining: int = 0
    carried_on: int = 0
    findings: dict[str, int] = field(default_factory=dict)
    seconds: float = 0.0


@dataclass(slots=True)
class _StoreRun:
    """One store's share of a running audit."""

    store: Store
    root: Path
    run_id: int
    turn: int
    ids: Iterator[int]
    due: int
    due_bytes: int
    carried_on: int
    pool: ThreadPoolExecutor
    readers: int
    begun: float
    outcome: str = ""
    checked: int = 0
    bytes: int = 0
    intact: int = 0
    findings: Counter[str] = field(default_factory=Counter)
    results: list[tuple[Due, Checked]] = field(default_factory=list)
    missing: list[Due] = field(default_factory=list)
    pending: dict["Future[Checked]", Due] = field(default_factory=dict)


class _Meter:
    """Bytes read by all threads together."""

    def __init__(self) -> None:
        self.bytes = 0
        self._lock = Lock()

    def add(self, count: int) -> None:
        with self._lock:
            self.bytes += count


def audit(db: Database, home: Home, stores: Sequence[Store], *, budget: Budget = Budget(),
          report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> list[StoreAudit]:
    """Check the stores' files, all stores at once, one reader each on spinning disks.

    Findings are opened and closed as the files show, events appended, and ``single copy`` and ``no off-site copy``
    brought up to date. After an audit that was stopped or killed the next one takes up what was left.

    Raises Busy: another audit is under way on this catalogue.
    """
    with exclusive_lock(home, "audit"):
        audits: list[StoreAudit] = []
        with ExitStack() as stack:
            parts: list[_StoreRun] = []
            for store in stores:
                root = locate_store(db, store)
                if root is None:
                    audits.append(_offline(db, home, store))
                else:
                    parts.append(_start(db, store, root, budget, stack))
            _run(db, parts, budget, report, cancelled)
        beside = review_sidecars(db, home.settings.dates)
        for part in parts:
            part.findings += beside.get(part.store.id, Counter())
        audits.extend(_finish(db, home, part, report, cancelled) for part in parts)
        copies.review(db, home.settings)
        log.keep_head(db, home)
    order = {store.name: n for n, store in enumerate(stores)}
    return sorted(audits, key=lambda d: order[d.store])


def _offline(db: Database, home: Home, store: Store) -> StoreAudit:
    """Record a finding that the store is offline, except for an off-site store audited recently, which is normally
    away."""
    last = fixity.last_audit(db, store.id)
    due = (datetime.now(UTC) - timedelta(days=home.settings.audit_days)).isoformat()
    advice = stand_in_advice(store)
    if store.kind == "off-site" and last > due and not advice:
        return StoreAudit(store.name, "offline")
    audited = f"last audited on {shown_day(last, home.settings.dates)}" if last else "never audited"
    with transaction(db):
        record_offline(db, store, f"the store was last seen at {store.root}, and {audited}", advice)
    return StoreAudit(store.name, "offline", findings={"offline": 1})


def _start(db: Database, store: Store, root: Path, budget: Budget, stack: ExitStack) -> _StoreRun:
    with transaction(db):
        findings.resolve(db, "seen again", store_id=store.id, path="", kinds=("offline",))
        note_store_location(db, store, root)
        run_id = runs.start(db, "audit" if budget.share is None else "spot check", store.id)
        turn = fixity.first_turn(db, store.id) if budget.share is None else run_id
        ids, size = (fixity.due(db, store.id, turn) if budget.share is None
                     else fixity.sample(db, store.id, budget.share))
        carried_on = fixity.checkable(db, store.id) - len(ids) if turn < run_id else 0
    readers = 1 if store.one_reader else READERS
    pool = stack.enter_context(ThreadPoolExecutor(readers, thread_name_prefix=f"audit {store.name}"))
    return _StoreRun(store, root, run_id, turn, iter(ids), len(ids), size, carried_on, pool, readers, monotonic())


def _run(db: Database, parts: list[_StoreRun], budget: Budget, report: Report, cancelled: Cancelled) -> None:
    meter, abandon, begun, committed = _Meter(), Flag(), monotonic(), monotonic()
    promised = 0
    total = sum(part.due for part in parts)
    total_bytes = min(sum(part.due_bytes for part in parts), budget.bytes or sys.maxsize)
    try:
        while True:
            late = budget.seconds is not None and promised > 0 and monotonic() - begun >= budget.seconds
            for part in parts:
                if late or cancelled():
                    part.outcome = part.outcome or ("cancelled" if cancelled() else "budget")
                promised = _submit(db, part, budget, promised, meter, abandon)
            waiting = [future for part in parts for future in part.pending]
            if not waiting:
                break
            finished, _ = wait(waiting, timeout=0.25, return_when=FIRST_COMPLETED)
            for part in parts:
                _gather(part, finished)
            if monotonic() - committed > COMMIT_SECONDS or any(len(p.results) >= COMMIT_FILES for p in parts):
                _commit(db, parts, abandon.is_set)
                committed = monotonic()
            report(Progress("Audit", sum(p.checked for p in parts), total, meter.bytes, total_bytes,
                            estimate=_time_left(meter.bytes, total_bytes, monotonic() - begun, budget)))
        _commit(db, parts, never_cancelled)
    finally:
        abandon.set()
        _commit(db, parts, abandon.is_set)


def _submit(db: Database, part: _StoreRun, budget: Budget, promised: int, meter: _Meter, abandon: Flag) -> int:
    """Submit files until every reader has one waiting; returns the bytes submitted so far for all stores."""
    while not part.outcome and len(part.pending) < 2 * part.readers:
        file_id = next(part.ids, None)
        due = None if file_id is None else fixity.due_file(db, file_id)
        if due is None:
            if file_id is None:
                part.outcome = "finished"
            continue
        if budget.bytes is not None and promised and promised + due.size > budget.bytes:
            part.outcome = "budget"
            break
        promised += max(due.size, 1)
        expected = Expected(due.size, due.mtime_ns, due.sha256)
        future = part.pool.submit(verdicts.check_below, part.root, due.path, expected, on_read=meter.add,
                                  cancelled=abandon.is_set)
        part.pending[future] = due
    if part.outcome in ("cancelled", "failed"):
        for future in [f for f in part.pending if f.cancel()]:
            del part.pending[future]
    return promised


def _gather(part: _StoreRun, finished: "set[Future[Checked]]") -> None:
    for future in [f for f in part.pending if f in finished]:
        due = part.pending.pop(future)
        try:
            checked = future.result()
        except Stopped:
            continue
        if checked.result in (Result.MISSING, Result.UNREADABLE) and not is_at(part.store, part.root):
            part.outcome = "failed"
            continue
        part.checked += 1
        part.bytes += checked.size if checked.sha256 else 0
        part.results.append((due, checked))


def _commit(db: Database, parts: list[_StoreRun], cancelled: Cancelled) -> None:
    for part in parts:
        results, part.results = part.results, []
        if not results:
            continue
        judged = [verdicts.judge(db, part.root, due, checked, cancelled) for due, checked in results]
        with transaction(db):
            for verdict in judged:
                verdicts.record(db, part.store, part.root, verdict)
                fixity.set_turn(db, verdict.due.id, part.turn)
        for verdict in judged:
            if verdict.result is Result.INTACT:
                part.intact += 1
            else:
                part.findings[verdict.result.value] += 1
            if verdict.result is Result.MISSING:
                part.missing.append(verdict.due)


def _finish(db: Database, home: Home, part: _StoreRun, report: Report, cancelled: Cancelled) -> StoreAudit:
    if part.missing and part.outcome in ("finished", "budget"):
        moved = verdicts.find_moved(db, home, part.store, part.root, part.missing, report, cancelled)
        part.findings["missing"] -= moved
        part.findings["moved"] += moved
    open_counts = {kind: count for kind, count in part.findings.items() if count}
    remaining = part.due - part.checked
    with transaction(db):
        if part.outcome == "failed":
            findings.record(db, "offline", "the store was disconnected during an audit", store_id=part.store.id,
                            hint="Connect it, then audit it again.")
            open_counts["offline"] = 1
        counts = {"checked": part.checked, "intact": part.intact, "bytes": part.bytes, "left": remaining,
                  "findings": sum(open_counts.values())}
        outcome = "finished" if part.outcome == "budget" else part.outcome
        runs.end(db, part.run_id, outcome, counts)
        events.append(db, "validation", "success" if not open_counts and outcome == "finished" else "warning",
                      store=part.store.name, detail=f"audit {part.outcome}: {part.checked} files checked,"
                      f" {part.intact} intact, {remaining} left"
                      + "".join(f", {n} {k}" for k, n in sorted(open_counts.items())))
    return StoreAudit(part.store.name, part.outcome, part.checked, part.bytes, part.intact, remaining, part.carried_on,
                      open_counts, monotonic() - part.begun)


def _time_left(bytes_read: int, total: int, spent: float, budget: Budget) -> str:
    rate = bytes_read / max(spent, 1e-3)
    estimates = [budget.seconds - spent] if budget.seconds is not None else []
    if rate > 0:
        estimates.append((total - bytes_read) / rate)
    words = f"{rate / 1e6:,.0f} MB/s"
    if estimates and spent > 1:
        minutes, seconds = divmod(max(0, round(min(estimates))), 60)
        words += f", {minutes // 60}:{minutes % 60:02}:{seconds:02} left"
    return words
