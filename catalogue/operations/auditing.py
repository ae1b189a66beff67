"""Audit: read files, compare their bytes with what is on record, back the catalogue up once a day."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from catalogue.fixity import audit, log, manifest
from catalogue.fixity.audit import Budget, StoreAudit
from catalogue.fixity.copies import ALL_ON_ONE_DISK, ANOTHER_DISK, NO_OFF_SITE, SINGLE, all_on_one_disk
from catalogue.fixity.log import LogCheck
from catalogue.operations.stores import selected_stores
from catalogue.operations.upkeep import back_up_once_a_day
from catalogue.operations.wording import counted, kind_counts, number
from catalogue.progress import Cancelled, Report, data_size, ignore_progress, never_cancelled
from catalogue.records import findings
from catalogue.records.database import Database, transaction
from catalogue.settings import Home

NO_LIMIT = Budget()
MOST_SHOWN, MOST_BROKEN = 50, 20
OUTCOMES = {"finished": "everything due has been checked", "budget": "limit reached", "cancelled": "stopped",
            "failed": "the store was disconnected", "offline": "offline, nothing checked"}


@dataclass(frozen=True, slots=True)
class Audited:
    """What an audit did, store by store.

    ``copies``: open findings about copies, in words by kind. ``trouble``: why today has no backup, or "". ``one_disk``:
    all stores are on one disk, and the settings do not count that as two places.
    """

    stores: tuple[StoreAudit, ...]
    copies: dict[str, str]
    trouble: str = ""
    one_disk: bool = False

    @property
    def clean(self) -> bool:
        """Whether nothing was found, no master lacks a copy, and today has its backup."""
        return not (self.copies or self.trouble) and not any(store_audit.findings for store_audit in self.stores)


def audit_stores(db: Database, home: Home, names: Sequence[str] = (), *, budget: Budget = NO_LIMIT,
                 report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Audited:
    """Check the files of the named stores, or of all, oldest check first; then back up if today has no backup yet.

    One that is stopped is not followed by a backup: the next audit carries on, and backs up.

    Raises NotFound: no such store, or none at all. Busy: another audit is under way.
    """
    audits = audit.audit(db, home, selected_stores(db, names), budget=budget, report=report, cancelled=cancelled)
    trouble = back_up_once_a_day(db, home, report=report, cancelled=cancelled)
    open_copies = {kind: words for kind in (SINGLE, NO_OFF_SITE) if (words := _open_copies(db, kind))}
    return Audited(tuple(audits), open_copies, trouble, all_on_one_disk(db, home.settings))


def _open_copies(db: Database, kind: str) -> str:
    """How many masters have an open finding of a kind; where one finding speaks for all, its words."""
    first = findings.list_open(db, kind=kind, limit=1)
    if not first:
        return ""
    return first[0].detail if first[0].scan_id is None else counted(findings.by_kind(db).get(kind, 0), "master")


def summarize(result: Audited) -> list[str]:
    """What became of each store, what was found, and which copies are lacking."""
    lines = []
    for store in result.stores:
        rate = f" at {data_size(store.bytes / store.seconds)}/s" if store.seconds > 0 and store.bytes else ""
        lines.append(f"{store.store}: {OUTCOMES[store.outcome]}; {counted(store.checked, 'file')} checked "
                     f"({data_size(store.bytes)}{rate}), {number(store.intact)} intact, {number(store.remaining)} left")
        if store.carried_on:
            lines.append(f"  continued from an interrupted audit: "
                         f"{counted(store.carried_on, 'file')} checked then")
        if any(store.findings.values()):
            lines.append(f"  {kind_counts(store.findings)}")
    if result.one_disk:
        lines.append(f"{ALL_ON_ONE_DISK}. {ANOTHER_DISK}")
    return [*lines, *(f"{kind}: {words}" for kind, words in result.copies.items()), *filter(None, [result.trouble])]


def check_log(db: Database, home: Home) -> LogCheck:
    """Check the event log's chain, and what was stated against it; that someone looked is noted in the log.

    A store's manifest that cannot be read is a finding, and passed over.
    """
    with transaction(db):
        passed_over = tuple(words for store, listed in manifest.in_stores(db)
                            if (words := manifest.note_unreadable(db, store, listed)))
    return replace(log.review(db, home, tuple(manifest.heads(db))), passed_over=passed_over)


def summarize_log(checked: LogCheck) -> list[str]:
    """Whether the log holds, and every way in which it does not; long lists are cut."""
    lines = [f"{counted(checked.events, 'event')}, last at {checked.head.at or 'no time'}",
             "The log is intact: no event was altered or removed." if checked.unbroken else
             "The event log was altered, or part of it is missing:"]
    lines += [f"  event {event.id} of {event.at} does not follow from the one before"
              for event in checked.broken[:MOST_BROKEN]]
    if checked.lost:
        lines.append(f"  {checked.lost}")
    if checked.backwards:
        lines.append(f"The clock was set back between events {counted(checked.backwards, 'time')}.")
    if checked.differences:
        lines.append(f"{counted(len(checked.differences), 'row')} not matching the log:")
        lines += [f"  {words}" for words in checked.differences[:MOST_SHOWN]]
    if len(checked.differences) > MOST_SHOWN:
        lines.append(f"  and {number(len(checked.differences) - MOST_SHOWN)} more; all of them with --json")
    if checked.journal:
        lines.append("The journal beside the catalogue does not agree with the log:")
        lines += [f"  {words}" for words in checked.journal[:MOST_SHOWN]]
    if checked.unbroken and not checked.differences:
        lines.append("Orders, editions and all other records agree with the log.")
    return [*lines, *checked.passed_over]
