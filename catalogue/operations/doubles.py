"""Doubles: files of one store with the same bytes, freed where enough copies stay, and brought back."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.fixity.copies import review_scans
from catalogue.fixity.set_aside import SetAsideFile, set_aside_files
from catalogue.indexing.locating import locate_store
from catalogue.intake.doubles import Doubles, find_doubles, total
from catalogue.intake.doubles import bring_back as _bring_back
from catalogue.intake.doubles import free_doubles as _free_doubles
from catalogue.intake.freeing import Freed
from catalogue.operations.wording import counted
from catalogue.progress import Cancelled, Report, data_size, ignore_progress, never_cancelled
from catalogue.records import stores
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Store
from catalogue.settings import Home

__all__ = ["Doubles", "Freed", "StoreDoubles", "bring_back_doubles", "free_doubles", "list_doubles", "summarize",
           "summarize_brought_back", "summarize_set_aside", "total"]


@dataclass(frozen=True, slots=True)
class StoreDoubles:
    """The doubles of one store, as last seen; ``set_aside``: replaced files kept there."""

    store: Store
    groups: tuple[Doubles, ...]
    set_aside: tuple[SetAsideFile, ...] = ()


def list_doubles(db: Database, name: str = "") -> list[StoreDoubles]:
    """Doubles in one store, or in each. Raises NotFound for an unknown store."""
    chosen = [stores.by_name(db, name)] if name else stores.listed(db)
    return [StoreDoubles(store, tuple(find_doubles(db, store)), set_aside_files(db, store, locate_store(db, store)))
            for store in chosen]


def summarize_set_aside(files: Sequence[SetAsideFile]) -> str:
    """How many replaced files were kept, their size, and what to do with them."""
    return (f"{counted(len(files), 'file')} replaced and kept under another name,"
            f" {data_size(sum(file.size for file in files))}."
            " Delete by hand what nobody needs any more.")


def free_doubles(db: Database, home: Home, store: Store, groups: Sequence[Doubles], *, report: Report = ignore_progress,
                 cancelled: Cancelled = never_cancelled) -> Freed:
    """Remove doubles where that is safe; copies are counted again.

    Raises StoreAway: the store is offline. Busy: an index run is under way. CatalogueError: the list cannot be written.
    """
    freed = _free_doubles(db, home, store, groups, report=report, cancelled=cancelled)
    with transaction(db):
        review_scans(db, home.settings, {file.scan_id for file in freed.removed})
    return freed


def bring_back_doubles(db: Database, home: Home, path: Path, *, report: Report = ignore_progress,
                       cancelled: Cancelled = never_cancelled
                       ) -> Freed:
    """Copy freed doubles back from the files that were kept, by the list that was written then."""
    brought_back = _bring_back(db, home, path, report=report, cancelled=cancelled)
    with transaction(db):
        review_scans(db, home.settings, {file.scan_id for file in brought_back.removed if file.scan_id})
    return brought_back


def summarize(freed: Freed) -> list[str]:
    """What was freed, what was left and why, and how to bring it back."""
    lines = [f"{counted(len(freed.removed), 'double')} removed, {data_size(freed.bytes)} freed.", *skipped_lines(freed)]
    return [*lines, f"To bring them back: catalogue doubles --undo {freed.undo}"] if freed.undo else lines


def summarize_brought_back(brought_back: Freed) -> list[str]:
    """What is back, copied now or before, and what is not and why."""
    count = len(brought_back.removed)
    return [f"{counted(count, 'file')} {'is' if count == 1 else 'are'} back and verified.",
            *skipped_lines(brought_back)]


def skipped_lines(freed: Freed) -> list[str]:
    """What was skipped, a line each, and why."""
    return [f"  skipped: {item}" for item in freed.skipped]
