"""Store against catalogue, side by side: what is new or changed, what is gone. Opens no file."""

from dataclasses import dataclass, field
from pathlib import Path

from catalogue.indexing.crawl import Obstacle, Seen, crawl
from catalogue.progress import Cancelled, Progress, Report
from catalogue.records import files, pending
from catalogue.records.database import Database
from catalogue.records.stores import Store

BATCH = 2000
Known = tuple[str, int, int, str, int]  # path, size, mtime in ns, state, id


@dataclass(slots=True)
class Comparison:
    """Counts from one comparison, and ``(file id, path)`` of what is gone or back.

    The paths to read are in the pending table.
    """

    seen: int = 0
    unchanged: int = 0
    gone: list[tuple[int, str]] = field(default_factory=list)
    back: list[tuple[int, str]] = field(default_factory=list)
    obstacles: list[Obstacle] = field(default_factory=list)

    def miss(self, row: Known) -> None:
        """Note a file on record that the crawl did not meet."""
        if row[3] == "present":
            self.gone.append((row[4], row[0]))


def compare(db: Database, reader: Database, store: Store, root: Path, ignore: tuple[str, ...], *, again: bool,
            report: Report, cancelled: Cancelled) -> Comparison:
    """Fill the pending table with what must be read, and tell what is gone or back.

    ``reader`` is a second connection, for the known paths are still streaming while pending rows are written.
    With ``again`` every file is read anew.
    """
    result = Comparison()
    batch: list[Seen] = []
    pending.start(db)
    rows = files.known(reader, store.id)  # in the order of the crawl: both are merged in one pass
    row = next(rows, None)
    for path, size, mtime_ns in crawl(root, ignore, result.obstacles.append):
        while row is not None and row[0] < path:
            result.miss(row)
            row = next(rows, None)
        result.seen += 1
        if result.seen % 1000 == 0:
            if cancelled():
                break
            report(Progress(f"Looking through {store.name}", result.seen))
        held = row is not None and row[0] == path
        if row is not None and held and not again and row[1] == size and row[2] == mtime_ns:
            result.unchanged += 1
            if row[3] == "missing":
                result.back.append((row[4], path))
        else:
            batch.append((path, size, mtime_ns))
            if len(batch) >= BATCH:
                pending.put(db, batch)
                batch.clear()
        if held:
            row = next(rows, None)
    else:
        while row is not None:
            result.miss(row)
            row = next(rows, None)
    pending.put(db, batch)
    return result


def below(path: str, folders: list[str]) -> bool:
    """Whether a path lies in one of these folders, "" being the root: what could not be read says nothing of it."""
    return any(not folder or path.startswith(folder + "/") for folder in folders)
