"""Watching a folder while the scanner writes to it: each new scan is examined as soon as it is complete.

A faulty tile is reported while the original is still on the bed, when scanning it again costs a minute.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from time import monotonic

from catalogue.errors import CatalogueError
from catalogue.intake.arrivals import GAP, Arrival, find_files, moment_of, name_counters
from catalogue.intake.grouping import WINDOW, advice, sides
from catalogue.intake.mosaic import TileMap, mosaic
from catalogue.intake.overlap import Arrangement, Overlap, View, overlap, view
from catalogue.likeness.tiles import TilePosition
from catalogue.progress import Cancelled, never_cancelled
from catalogue.reading.file import read_file
from catalogue.reading.model import Fault, Reading
from catalogue.records.paths import display_path

SETTLE = 2.0   # seconds without change after which a file counts as complete
PATIENCE = 60  # seconds after which an incomplete file is reported
_UNFINISHED = frozenset({Fault.TRUNCATED, Fault.EMPTY, Fault.CHANGING, Fault.VANISHED})


@dataclass(frozen=True, slots=True)
class News:
    """One thing to tell. ``kind``: "arrived"; "alone", it lies on no earlier scan; "joined", one told as alone on
    which a later one lies; "complete", a stitched master that
    holds earlier ones; "warning", of a scan told just before; "unfit"; "gone", removed from the folder; "away" and
    "back", of the folder. ``map`` is where the scan's original has tiles by now."""

    kind: str
    path: Path
    text: str
    arrival: Arrival | None = None
    map: TileMap | None = None


@dataclass(slots=True)
class _Seen:
    size: int
    mtime_ns: int
    since: float
    reported: bool = False
    unmatched: bool = False


@dataclass(slots=True)
class Watch:
    """A folder under watch. :meth:`poll` looks once; call it every second or so. ``clock`` counts seconds; ``read``
    gives None if it was stopped."""

    folder: Path
    ignore: tuple[str, ...]
    wished_overlap: float
    settle_seconds: float = SETTLE
    clock: Callable[[], float] = monotonic
    read: Callable[[Path], Reading | None] = read_file
    cancelled: Cancelled = never_cancelled
    arrivals: dict[str, Arrival] = field(default_factory=dict)  # sound ones, by name below the folder, as they came
    _seen: dict[str, _Seen] = field(default_factory=dict)
    _views: dict[str, View | None] = field(default_factory=dict)  # of the last WINDOW
    _laid: dict[tuple[str, str], Overlap] = field(default_factory=dict)
    _away: bool = False

    @property
    def readings(self) -> dict[Path, Reading]:
        """What was read, for the plan that follows."""
        return {a.path: a.reading for a in list(self.arrivals.values())}

    def poll(self) -> list[News]:
        """The news since the last look."""
        return list(self.look())

    def look(self) -> Iterator[News]:
        """One by one. A folder that is away meanwhile (a key pulled) is reported once, and once it is back."""
        try:
            files, _ = find_files(self.folder, self.ignore)
            gone = sorted(set(self.arrivals) - {inside for _, inside in files})
            if gone and not files:  # a key pulled may leave an empty folder in its place
                raise CatalogueError("The scans that were in this folder are gone.",
                                     hint="Is the card or USB stick connected?")
        except CatalogueError as error:
            if not self._away:
                self._away = True
                yield News("away", self.folder, f"{error.message} {error.hint}".strip())
            return
        if self._away:
            self._away = False
            yield News("back", self.folder, "The folder is back.")
        for inside in gone:
            yield self._forget(inside)
        for path, inside in self._settled(files):
            if self.cancelled():
                return
            yield from self._look(path, inside)

    def _forget(self, inside: str) -> News:
        arrival = self.arrivals.pop(inside)
        self._seen.pop(inside, None)
        self._views.pop(inside, None)
        self._laid = {pair: pair_overlap for pair, pair_overlap in self._laid.items() if inside not in pair}
        return News("gone", arrival.path, f"{display_path(inside)}: removed from the folder")

    def _settled(self, files: Sequence[tuple[Path, str]]) -> list[tuple[Path, str]]:
        """Unreported files that have not changed for long enough, in the order they were made.

        Files first seen in one look are reported in one look, however long it takes, so that a stitched master is not
        read before its tiles.
        """
        before, stats = self.clock(), {}
        for path, inside in files:
            with suppress(OSError):     # gone again: the next look says so
                stats[inside] = path.stat()
        now, settled = self.clock(), []
        for path, inside in files:
            stat, known = stats.get(inside), self._seen.get(inside)
            if stat is None:
                continue
            if known is None or (known.size, known.mtime_ns) != (stat.st_size, stat.st_mtime_ns):
                self._seen[inside] = _Seen(stat.st_size, stat.st_mtime_ns, now)
            elif not known.reported and before - known.since >= self.settle_seconds:
                settled.append((path, inside))
        return sorted(settled, key=lambda file: (self._seen[file[1]].mtime_ns, name_counters(file[1])))

    def _look(self, path: Path, inside: str) -> Iterator[News]:
        known = self._seen[inside]
        reading = self.read(path)
        if reading is None:
            return
        if any(f.kind in _UNFINISHED for f in reading.faults) and self.clock() - known.since < PATIENCE:
            return  # some programs write the picture, rest, and then its end
        if inside in self.arrivals:  # scanned again under the same name
            self._forget(inside)
            self._seen[inside] = known
        known.reported = True
        arrival = Arrival(path, inside, reading, moment_of(reading))
        if arrival.faults:
            yield News("unfit", path, f"{display_path(inside)}: {'; '.join(arrival.faults)}", arrival)
        else:
            yield from self._compare(arrival)

    def _compare(self, arrival: Arrival) -> Iterator[News]:
        seen, new = view(arrival), arrival.inside
        earlier = [self.arrivals[n] for n in self._views if _near(self.arrivals[n].moment, arrival.moment)]
        laid: dict[tuple[int, int], Overlap] = {}
        for number, previous in enumerate(earlier):
            other = self._views[previous.inside]
            if seen and other and (pair_overlap := overlap(other, seen)):
                laid[number, len(earlier)] = pair_overlap
                self._laid[previous.inside, new] = pair_overlap
        self.arrivals[new] = arrival
        self._views[new] = seen
        if len(self._views) > WINDOW:
            del self._views[next(iter(self._views))]
        names = [a.path.name for a in (*earlier, arrival)]
        parts = {i: each for (i, _), each in laid.items() if each.arrangement is Arrangement.WITHIN}
        if len(parts) >= 2 and (picture := arrival.reading.picture):
            positions = tuple(TilePosition(names[i], part.corners, part.rotation) for i, part in parts.items())
            yield News("complete", arrival.path,
                       f"{display_path(new)}: a stitched master of {len(parts)} of these tiles",
                       arrival, TileMap(positions, picture.width / picture.height))
            yield from self._joined([earlier[i] for i in parts], new)
            return
        on = ", ".join(names[i] for i, _ in laid)
        text = f"{display_path(new)}: overlaps {on or 'no earlier scan'}"
        if earlier and not laid:
            text += "; another original, or the overlap is too narrow to see"
        self._seen[new].unmatched = bool(earlier) and not laid
        yield News("alone" if earlier and not laid else "arrived", arrival.path, text, arrival, self._map(new))
        yield from self._joined([earlier[i] for i, _ in laid], new)
        for warning in advice(names, laid, self.wished_overlap):
            if arrival.path.name in warning:
                yield News("warning", arrival.path, warning, arrival)

    def _joined(self, below: Sequence[Arrival], new: str) -> Iterator[News]:
        """Scans reported as alone that ``new`` overlaps."""
        for arrival in below:
            if self._seen[arrival.inside].unmatched:
                self._seen[arrival.inside].unmatched = False
                yield News("joined", arrival.path, f"{display_path(arrival.inside)}: {display_path(new)} overlaps it",
                           arrival, self._map(arrival.inside))

    def _map(self, new: str) -> TileMap | None:
        """The tiles that hang together with this one, its number the last."""
        held = list(self.arrivals.values())
        index = {a.inside: number for number, a in enumerate(held)}
        laid = {(index[a], index[b]): pair_overlap for (a, b), pair_overlap in self._laid.items()}
        return mosaic([a.path.name for a in held], [sides(a) for a in held], laid, index[new])


def _near(first: datetime, second: datetime) -> bool:
    return abs(second - first) <= GAP
