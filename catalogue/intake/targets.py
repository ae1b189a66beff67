"""Choosing target paths for a whole intake by the naming rule, so that no two files get one name."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from catalogue.intake.arrivals import Arrival
from catalogue.intake.naming import Facts, free_path, same_name, shortened
from catalogue.records import files, intake
from catalogue.records.database import Database
from catalogue.records.paths import escape_path, native_path
from catalogue.storage.identity import identity

FOLDERS_KEPT = 500


@dataclass(frozen=True, slots=True)
class FileNaming:
    """One file to be named."""

    arrival: Arrival
    artist: str
    piece: str
    year: str
    role: str
    number: int

    def facts(self) -> Facts:
        """What the rule may name."""
        moment = self.arrival.moment
        return Facts(self.artist, self.piece, self.role, self.arrival.path.suffix.lower(),
                     moment.date().isoformat(), self.year or str(moment.year), self.number)


class Names:
    """Which paths of a store are taken, capitals and accents' form aside: on the disk, in the catalogue, or given.

    ``root`` is None while the store is offline; then the catalogue alone is asked.
    """

    def __init__(self, db: Database, store_id: int, root: Path | None) -> None:
        self._db, self._store_id, self._root = db, store_id, root
        self._names = lru_cache(FOLDERS_KEPT)(self._names_in)
        self._given: set[str] = set()
        self._highest: dict[str, int] = {}

    def taken(self, path: str) -> bool:
        """Whether a path (in stored form) cannot be given."""
        folder, _, leaf = path.rpartition("/")
        return same_name(path) in self._given or same_name(leaf) in self._names(folder)

    def given(self, path: str) -> bool:
        """Whether this plan has already given the path away."""
        return same_name(path) in self._given

    def held_by_another(self, path: str, own: str) -> bool:
        """Whether another file than the one at ``own`` is at a path that differs in capitals or accents' form alone,
        as disks allow that compare names byte by byte."""
        if files.by_path(self._db, self._store_id, path) is not None:
            return True
        standing = None if self._root is None else identity(self._root / native_path(path), follow=False)
        return standing is not None and self._root is not None and standing != identity(
            self._root / native_path(own), follow=False)

    def free(self, path: str) -> str:
        """The path, or the first numbered one that can be given; each number is tried once, however many ask."""
        wanted, number = same_name(path), 0

        def taken(candidate: str) -> bool:
            nonlocal number
            number += 1
            return self.taken(candidate)

        before = self._highest.get(wanted, 1)
        name = free_path(path, taken, tried=before)
        if number > 1:
            self._highest[wanted] = before + number - 1
        return name

    def give(self, path: str) -> None:
        """Record that a path is given away."""
        self._given.add(same_name(path))

    def _names_in(self, folder: str) -> set[str]:
        names = {same_name(name) for name in intake.names_in(self._db, self._store_id, folder)}
        if self._root is not None:
            names |= {same_name(escape_path(name)) for name in _listed(self._root / native_path(folder))}
        return names


def _listed(folder: Path) -> list[str]:
    try:
        return [entry.name for entry in folder.iterdir()]
    except OSError:  # not there yet, or no folder: then it holds no names
        return []


def choose_targets(db: Database, rule: str, store_id: int, root: Path, wanted: Sequence[FileNaming]) -> dict[Path, str]:
    """A free path in the store for each file, by its source. Where an intake was cut short its names are kept."""
    names, targets = Names(db, store_id, root), {}
    for item in wanted:
        before = intake.planned_target(db, store_id, item.arrival.reading.sha256)
        ruled = shortened(rule, item.facts())
        own = before is not None and before.rpartition("/")[0] == ruled.rpartition("/")[0] and not names.given(before)
        target = before if own and before else names.free(ruled)
        names.give(target)
        targets[item.arrival.path] = target
    return targets
