"""What follows every run that reads or imports files: counting copies, and the daily backup."""

from dataclasses import dataclass

from catalogue.errors import CatalogueError
from catalogue.fixity import backup, copies
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.records import search
from catalogue.records.database import Database, transaction
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Upkeep:
    """``lacking``: masters without enough copies, by kind of finding; ``trouble``: what failed, and why, or ""."""

    lacking: dict[str, int]
    trouble: str = ""


def count_and_back_up(db: Database, home: Home, *, report: Report = ignore_progress,
                      cancelled: Cancelled = never_cancelled) -> Upkeep:
    """Count the copies of every master again, then back up as :func:`back_up_once_a_day`.

    Trouble with either is reported, not raised: it must not hide what was done before.
    """
    report(Progress("Counting copies"))
    try:
        lacking = copies.review(db, home.settings)
    except CatalogueError as error:
        return Upkeep({}, f"Copies could not be recounted. {error}")
    return Upkeep(lacking, back_up_once_a_day(db, home, report=report, cancelled=cancelled))


def rebuild_search_indexes(db: Database) -> None:
    """Make the search indexes again from what they index. Raises Busy: the catalogue cannot be written."""
    with transaction(db):
        search.rebuild_search(db)


def back_up_once_a_day(db: Database, home: Home, *, report: Report = ignore_progress,
                       cancelled: Cancelled = never_cancelled) -> str:
    """Back the catalogue up unless today has a backup, or the work is to stop; returns why there is none, or "".

    A backup that fails must not hide what was done before it: that is on record, and its result is still to be told.
    """
    if cancelled():
        return ""
    try:
        backup.back_up_if_due(db, home, report=report)
    except (CatalogueError, OSError) as error:
        return f"Today's backup could not be made. {error}"
    return ""
