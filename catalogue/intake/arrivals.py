"""New files: found in a folder, read, and sorted by when they were scanned."""

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.indexing.crawl import Obstacle, crawl
from catalogue.indexing.workers import read_all, read_one, worker_count
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.reading.model import Fault, Reading
from catalogue.records.paths import native_path
from catalogue.records.pieces import folded

GAP = timedelta(minutes=45)  # a pause after which the next original lies on the bed; common practice, no source
INLINE_BYTES = 100_000_000     # starting processes costs more than reading so much
UNFIT = frozenset({Fault.UNREADABLE, Fault.TRUNCATED, Fault.DAMAGED, Fault.NOT_A_PICTURE, Fault.EMPTY,
                   Fault.VANISHED, Fault.CHANGING, Fault.CRASHED})
# "scan_0007", "scan 7 of 12", "scan r2c3": what a scanner or a person counts by
_NUMBER = re.compile(r"^(.*?)[\s_.\-(]*(\d{1,6}\s*of\s*\d{1,6}|r\d+c\d+|\d{1,6})\)?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Arrival:
    """One new file: where it lies, its path below the folder imported, what reading it told, when it was scanned."""

    path: Path
    inside: str
    reading: Reading
    moment: datetime

    @property
    def faults(self) -> list[str]:
        """Why it cannot be imported; empty if it can."""
        return [f.detail for f in self.reading.faults if f.kind in UNFIT]


def find_files(folder: Path, ignore: tuple[str, ...]) -> tuple[list[tuple[Path, str]], list[Obstacle]]:
    """Picture files below ``folder`` with their relative names, and what was in the way.

    Raises:
        CatalogueError: no such folder.
    """
    if not folder.is_dir():
        raise CatalogueError("There is no such folder.", hint="Is the card or USB stick connected?", path=folder)
    obstacles: list[Obstacle] = []
    files = [(folder / native_path(path), path) for path, _, _ in crawl(folder, ignore, obstacles.append)]
    return files, obstacles


def read_arrivals(files: Iterable[tuple[Path, str]], report: Report = ignore_progress,
                  cancelled: Cancelled = never_cancelled, *,
           known: Mapping[Path, Reading] | None = None, inline_bytes: int = INLINE_BYTES) -> list[Arrival]:
    """Every file read, in the order of scanning. A file that cannot be read is there with its faults.

    ``known`` are readings made before; they stand where size and time of the file are still theirs. Up to
    ``inline_bytes`` bytes are read in this process; more by the reading processes, side by side, where a file that
    kills its reader costs one finding.
    """
    listed = list(files)
    before = {inside: reading for path, inside in listed
              if known and (reading := known.get(path)) and _unchanged(path, reading)}
    stand = (Arrival(path, inside, before[inside], moment_of(before[inside])) for path, inside in listed
             if inside in before)
    return in_order([*stand, *_read([f for f in listed if f[1] not in before], report, cancelled, inline_bytes)])


def _unchanged(path: Path, reading: Reading) -> bool:
    try:
        stat = path.stat()
    except OSError:
        return False
    return (stat.st_size, stat.st_mtime_ns) == (reading.size, reading.mtime_ns)


def _read(files: list[tuple[Path, str]], report: Report, cancelled: Cancelled, inline_bytes: int) -> Iterator[Arrival]:
    size = sum(_size(path) for path, _ in files)
    paths = {inside: path for path, inside in files}
    bytes_read = 0
    readings = (read_all(((inside, str(path)) for path, inside in files), worker_count(0), cancelled)
                if size > inline_bytes else _one_by_one(files, cancelled))
    for number, (inside, reading) in enumerate(readings):
        bytes_read += reading.size
        report(Progress("Reading new scans", number + 1, len(files), bytes_read, size, paths[inside].name))
        yield Arrival(paths[inside], inside, reading, moment_of(reading))


def _one_by_one(files: list[tuple[Path, str]], cancelled: Cancelled) -> Iterator[tuple[str, Reading]]:
    for path, inside in files:
        if cancelled():
            return
        yield inside, read_one(str(path))


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def moment_of(reading: Reading) -> datetime:
    """When it was scanned: as its tags say, else the file's own time. Without a zone, as the clock on the wall."""
    stated = reading.metadata.captured or reading.metadata.modified  # many scanners state only the latter
    written = datetime.fromtimestamp(reading.mtime_ns / 1e9, UTC).astimezone().replace(tzinfo=None)
    try:
        moment = datetime.fromisoformat(stated)
    except ValueError:
        return written
    return moment.astimezone().replace(tzinfo=None) if moment.tzinfo else moment


def in_order(arrivals: Iterable[Arrival]) -> list[Arrival]:
    """By time of scanning, then by name as people count: ``scan 2`` before ``scan 10``."""
    return sorted(arrivals, key=lambda a: (a.moment, name_counters(a.inside)))


def name_counters(name: str) -> list[tuple[int, int, str]]:
    """A sort key that compares numbers within a name by value."""
    parts = re.split(r"(\d+)", name.casefold())
    return [(1, int(p), "") if p.isdecimal() and p.isascii() else (0, 0, p) for p in parts]


def stem_of(inside: str) -> tuple[str, str]:
    """Folder and name without its running number, folded: what files of one run have in common."""
    folder, _, leaf = inside.rpartition("/")
    stem = os.path.splitext(leaf)[0]  # noqa: PTH122 - a name, not a path
    numbered = _NUMBER.match(stem)
    return folder, folded(numbered[1]) if numbered and numbered[1].strip(" _-.(") else ""


def runs(arrivals: list[Arrival]) -> list[list[Arrival]]:
    """Arrivals that may belong together: one folder and stem, no long pause between two. In order of scanning."""
    open_runs: dict[tuple[str, str], list[Arrival]] = {}
    made: list[list[Arrival]] = []
    for arrival in in_order(arrivals):
        folder, stem = stem_of(arrival.inside)
        run = open_runs.get((folder, stem))
        if run and arrival.moment - run[-1].moment <= GAP and (stem or _numbered(arrival)):
            run.append(arrival)
        else:
            made.append([arrival])
            open_runs[folder, stem] = made[-1]
    return made


def _numbered(arrival: Arrival) -> bool:
    return bool(_NUMBER.match(Path(arrival.inside).stem))
