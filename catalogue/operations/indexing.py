"""Index: read what is new or changed, count copies, back the catalogue up once a day."""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.fixity.copies import ALL_ON_ONE_DISK, ANOTHER_DISK, all_on_one_disk
from catalogue.indexing import service
from catalogue.indexing.service import StoreSummary
from catalogue.indexing.workers import Executors, processes
from catalogue.operations.stores import selected_stores
from catalogue.operations.upkeep import count_and_back_up
from catalogue.operations.wording import counted, kind_counts, masters_lacking, number
from catalogue.progress import Cancelled, Report, data_size, ignore_progress, never_cancelled
from catalogue.records import likenesses, scans
from catalogue.records.database import Database
from catalogue.settings import Home

OUTCOMES = {"cancelled": "stopped", "failed": "the store was disconnected", "offline": "offline, left as it was"}


@dataclass(frozen=True, slots=True)
class Indexed:
    """What an index run did, store by store.

    ``lacking``: masters without enough copies, by kind of finding. ``trouble``: why today has no backup, or "".
    ``uncompared``: scans of any store that were not compared with the others yet; ``unfiled``: those of no piece.
    ``one_disk``: all stores are on one disk, which the settings do not take for two places.
    """

    stores: tuple[StoreSummary, ...]
    lacking: dict[str, int]
    trouble: str = ""
    uncompared: int = 0
    unfiled: int = 0
    one_disk: bool = False

    @property
    def clean(self) -> bool:
        """Whether everything was read, nothing is wrong with it, and today has its backup."""
        return not self.trouble and all(store.outcome == "finished" and not store.findings for store in self.stores)


def index_stores(db: Database, home: Home, names: Sequence[str] = (), *, workers: int = 0, again: bool = False,
                 executors: Executors = processes, report: Report = ignore_progress,
                 cancelled: Cancelled = never_cancelled) -> Indexed:
    """Bring the catalogue up to date with the named stores, or all; then do what follows every index run.

    Raises NotFound: no such store, or none at all. Busy: another index run is under way.
    """
    summaries = service.index(db, home, selected_stores(db, names), workers=workers, again=again, report=report,
                              cancelled=cancelled, executors=executors)
    after = count_and_back_up(db, home, report=report, cancelled=cancelled)
    return Indexed(tuple(summaries), after.lacking, after.trouble, len(likenesses.uncompared(db)),
                   len(scans.without_piece(db)), all_on_one_disk(db, home.settings))


def summarize(result: Indexed) -> list[str]:
    """What became of each store, what was found, which copies are lacking, and what was not compared yet."""
    lines = []
    for store in result.stores:
        lines.append(f"{store.store}: {OUTCOMES.get(store.outcome, store.outcome)}; "
                     f"{counted(store.seen, 'file')} seen, {number(store.read)} read ({data_size(store.bytes)}), "
                     f"{number(store.unchanged)} unchanged, {number(store.gone)} gone; {store.seconds:.1f} s")
        if any(store.findings.values()):
            lines.append(f"  {kind_counts(store.findings)}")
    if result.one_disk:
        lines.append(f"{ALL_ON_ONE_DISK}. {ANOTHER_DISK}")
    lines += [*masters_lacking(result.lacking), *filter(None, [result.trouble])]
    if result.uncompared:
        lines.append(f"{counted(result.uncompared, 'new scan')} not compared yet: catalogue alike")
    if result.unfiled:
        lines.append(f"{counted(result.unfiled, 'scan')} not filed under a piece: catalogue scan list")
    return lines
