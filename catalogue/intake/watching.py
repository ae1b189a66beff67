"""Watching a folder while the scanner writes to it: each new scan is looked at as soon as it is whole.

What is wrong with a tile is told while the original still lies on the bed, when another scan costs a minute.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from time import monotonic

from catalogue.errors import CatalogueError
from catalogue.intake.arrivals import GAP, Arrival, counted, found_in, moment_of
from catalogue.intake.grouping import WINDOW, advice
from catalogue.intake.overlap import Overlap, View, overlap, view
from catalogue.reading.file import read_file
from catalogue.reading.model import Fault
from catalogue.records.paths import shown

SETTLE = 2.0   # seconds without change after which a file is taken for whole
PATIENCE = 60  # seconds after which a file that is still not whole is told
_UNFINISHED = frozenset({Fault.TRUNCATED, Fault.EMPTY, Fault.CHANGING, Fault.VANISHED})


@dataclass(frozen=True, slots=True)
class News:
    """One thing to tell: ``kind`` is "arrived", "warning" or "unfit"."""

    kind: str
    path: Path
    text: str


@dataclass(slots=True)
class _Seen:
    size: int
    mtime_ns: int
    since: float
    done: bool = False


@dataclass(slots=True)
class Watch:
    """A folder under watch. :meth:`poll` looks once; call it every second or so. ``clock`` counts seconds."""

    folder: Path
    ignore: tuple[str, ...]
    wished_overlap: float
    settle: float = SETTLE
    clock: Callable[[], float] = monotonic
    _seen: dict[str, _Seen] = field(default_factory=dict)
    _recent: deque[tuple[Arrival, View | None]] = field(default_factory=lambda: deque(maxlen=WINDOW))
    _away: bool = False

    def poll(self) -> list[News]:
        """What is new since the last look. A folder that is away for a while (a key pulled) is told once."""
        try:
            files, _ = found_in(self.folder, self.ignore)
        except CatalogueError as error:
            told = [] if self._away else [News("unfit", self.folder, str(error))]
            self._away = True
            return told
        self._away = False
        news: list[News] = []
        whole = [(path, inside) for path, inside in sorted(files, key=lambda f: counted(f[1]))
                 if self._settled(path, inside)]
        for path, inside in whole:
            news.extend(self._look(path, inside))
        return news

    def _settled(self, path: Path, inside: str) -> bool:
        try:
            stat = path.stat()
        except OSError:
            return False
        known, now = self._seen.get(inside), self.clock()
        if known is None or (known.size, known.mtime_ns) != (stat.st_size, stat.st_mtime_ns):
            self._seen[inside] = _Seen(stat.st_size, stat.st_mtime_ns, now)
            return False
        return not known.done and now - known.since >= self.settle

    def _look(self, path: Path, inside: str) -> list[News]:
        known = self._seen[inside]
        reading = read_file(path)
        unfinished = any(f.kind in _UNFINISHED for f in reading.faults)
        if unfinished and self.clock() - known.since < PATIENCE:
            return []  # some programs write the picture, rest, and then its end
        known.done = True
        arrival = Arrival(path, inside, reading, moment_of(reading))
        if arrival.faults:
            return [News("unfit", path, f"{shown(inside)}: {'; '.join(arrival.faults)}")]
        return self._compare(arrival)

    def _compare(self, arrival: Arrival) -> list[News]:
        seen = view(arrival)
        laid: dict[tuple[int, int], Overlap] = {}
        earlier = [(a, v) for a, v in self._recent if _near(a.moment, arrival.moment)]
        for number, (_, other) in enumerate(earlier):
            if seen and other and (found := overlap(other, seen)):
                laid[number, len(earlier)] = found
        names = [a.path.name for a, _ in earlier] + [arrival.path.name]
        self._recent.append((arrival, seen))
        where = ", ".join(names[i] for i, _ in laid)
        text = f"{shown(arrival.inside)}: lies on {where or 'no earlier scan'}"
        if earlier and not laid:
            text += "; another original, or the overlap is too thin to see"
        warnings = [w for w in advice(names, laid, self.wished_overlap) if arrival.path.name in w]
        return [News("arrived", arrival.path, text), *(News("warning", arrival.path, w) for w in warnings)]


def _near(one: datetime, two: datetime) -> bool:
    return abs(two - one) <= GAP
