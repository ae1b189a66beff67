"""Store against catalogue, side by side: what is new or changed, what is gone. Opens no file."""

from collections.abc import Iterator
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
    """Counts and ids from one comparison; the paths to read are in the pending table."""

    seen: int = 0
    unchanged: int = 0
    gone: list[int] = field(default_factory=list)
    back: list[int] = field(default_factory=list)
    obstacles: list[Obstacle] = field(default_factory=list)


def compare(db: Database, reader: Database, store: Store, root: Path, ignore: tuple[str, ...], *, again: bool,
            report: Report, cancelled: Cancelled) -> Comparison:
    """Fill the pending table with what must be read, and tell what is gone or back.

    ``reader`` is a second connection, for the known paths are still streaming while pending rows are written.
    With ``again`` every file is read anew.
    """
    result = Comparison()
    batch: list[Seen] = []
    pending.start(db)
    for seen, known in _merged(crawl(root, ignore, result.obstacles.append), files.known(reader, store.id)):
        if seen is None:
            if known is not None and known[3] == "present":
                result.gone.append(known[4])
            continue
        result.seen += 1
        if result.seen % 1000 == 0:
            if cancelled():
                break
            report(Progress(f"Looking through {store.name}", result.seen))
        if known is None or again or known[1] != seen[1] or known[2] != seen[2]:
            batch.append(seen)
            if len(batch) >= BATCH:
                pending.put(db, batch)
                batch.clear()
        else:
            result.unchanged += 1
            if known[3] == "missing":
                result.back.append(known[4])
    pending.put(db, batch)
    return result


Known = tuple[str, int, int, str, int]


def _merged(crawled: Iterator[Seen], known: Iterator[Known]) -> Iterator[tuple[Seen | None, Known | None]]:
    """Both streams by path; each is in binary order of path."""
    seen, row = next(crawled, None), next(known, None)
    while seen is not None or row is not None:
        if row is None or (seen is not None and seen[0] < row[0]):
            assert seen is not None
            yield seen, None
            seen = next(crawled, None)
        elif seen is None or row[0] < seen[0]:
            yield None, row
            row = next(known, None)
        else:
            yield seen, row
            seen, row = next(crawled, None), next(known, None)


def below(path: str, obstacles: list[Obstacle]) -> bool:
    """Whether a path lies in a folder that could not be read, so that its absence means nothing."""
    return any(o.kind == "unreadable folder" and (not o.path or path.startswith(o.path + "/")) for o in obstacles)
