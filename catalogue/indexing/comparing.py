"""Compare a store with the catalogue: what is new or changed, what is missing. Opens no file."""

from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path

from catalogue.indexing.crawl import Obstacle, Seen, crawl
from catalogue.progress import Cancelled, Progress, Report
from catalogue.records import files, pending
from catalogue.records.database import Database
from catalogue.records.stores import Store

BATCH = 2000


@dataclass(slots=True)
class Comparison:
    """Counts from one comparison, and ``(file id, path)`` of what is absent or back.

    ``complete`` tells whether the whole store was looked through: if not, nothing is known about files that were not
    found. ``absent`` are files on record that were not found; ``back`` such as were missing and are found again as they
    were; ``altered`` are ids of files found with another size or time than their known content has, missing before or
    not, and of missing ones whose last look failed. The paths to read are in the pending table.
    """

    seen: int = 0
    unchanged: int = 0
    complete: bool = False
    absent: list[tuple[int, str]] = field(default_factory=list)
    back: list[tuple[int, str]] = field(default_factory=list)
    altered: list[int] = field(default_factory=list)
    obstacles: list[Obstacle] = field(default_factory=list)


def compare(db: Database, reader: Database, store: Store, root: Path, ignore: tuple[str, ...], *, again: bool,
            report: Report, cancelled: Cancelled) -> Comparison:
    """Fill the pending table with what must be read, and report what is absent or back.

    ``reader`` is a second connection, for the known paths are still streaming while pending rows are written. Read is
    what is new, what has another size or time than its known content, and what the last look did not give. With
    ``again`` every file is read again.
    """
    result = Comparison()
    batch: list[Seen] = []
    pending.create(db)
    rows = files.known(reader, store.id)  # in the order of the crawl: both are merged in one pass
    row = next(rows, None)
    for path, size, mtime_ns in crawl(root, ignore, result.obstacles.append):
        while row is not None and row[0] < path:
            result.absent.append((row[4], row[0]))
            row = next(rows, None)
        result.seen += 1
        if result.seen % 1000 == 0:
            if cancelled():
                break
            report(Progress(f"Looking through {store.name}", result.seen))
        held = row is not None and row[0] == path
        if row is not None and held and not again and row[1] == size and row[2] == mtime_ns and not row[5]:
            result.unchanged += 1
            if row[3] == "missing":
                result.back.append((row[4], path))
        else:
            if row is not None and held and (row[3] == "missing" or (row[1], row[2]) != (size, mtime_ns)):
                result.altered.append(row[4])
            batch.append((path, size, mtime_ns))
            if len(batch) >= BATCH:
                pending.add(db, batch)
                batch.clear()
        if held:
            row = next(rows, None)
    else:
        while row is not None:
            result.absent.append((row[4], row[0]))
            row = next(rows, None)
        result.complete = True
    pending.add(db, batch)
    return result


def within(path: str, hidden: Collection[str]) -> bool:
    """Whether a path is, or is in, something that could not be looked at ("" is the root), so nothing is known about
    it."""
    if not hidden:
        return False
    parts = path.split("/")
    return "" in hidden or any("/".join(parts[:depth]) in hidden for depth in range(1, len(parts) + 1))
