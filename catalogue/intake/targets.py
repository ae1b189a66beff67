"""Where new scans go: the naming rule over a whole intake, so that no two files want one name."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.intake.arrivals import Arrival
from catalogue.intake.naming import Facts, free, same_name, shortened
from catalogue.records import intake
from catalogue.records.database import Database
from catalogue.records.paths import native


@dataclass(frozen=True, slots=True)
class Wanted:
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


def placed(db: Database, rule: str, store_id: int, root: Path, wanted: Sequence[Wanted]) -> dict[Path, str]:
    """A free path in the store for each file, by its source. Where an intake was cut short its names are kept."""
    given: set[str] = set()
    names: dict[Path, str] = {}

    def taken(path: str) -> bool:
        return same_name(path) in given or intake.path_taken(db, store_id, path) or os.path.lexists(
            root / native(path))

    for one in wanted:
        kept = intake.planned_target(db, store_id, one.arrival.reading.sha256)
        ruled = shortened(rule, one.facts())
        own = kept is not None and kept.rpartition("/")[0] == ruled.rpartition("/")[0] and same_name(kept) not in given
        target = kept if own and kept else free(ruled, taken)
        given.add(same_name(target))
        names[one.arrival.path] = target
    return names
