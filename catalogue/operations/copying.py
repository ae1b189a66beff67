"""Copy: bring a store up to date with what the primary stores, or another one, hold."""

from dataclasses import dataclass

from catalogue.errors import StoreAway
from catalogue.fixity import copies
from catalogue.fixity.copies import CopySummary, NotCopied
from catalogue.fixity.sidecar_audit import review_sidecars
from catalogue.fixity.sidecars import bring_sidecars, count_sidecars
from catalogue.operations.wording import counted, number
from catalogue.progress import Cancelled, Report, Stopped, data_size, ignore_progress, never_cancelled
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.records.fixity import Wanted, wanted_by, without_source
from catalogue.records.paths import display_path, escape_path
from catalogue.records.stores import Store
from catalogue.settings import Home

NEVER_READ = "it could never be read"
NO_INTACT_COPY = "no intact copy is on record: deal with its finding first (catalogue findings)"
OUTCOMES = {"finished": "up to date", "incomplete": "not all could be copied", "cancelled": "stopped",
            "full": "the disk is full", "failed": "the store was disconnected"}


@dataclass(frozen=True, slots=True)
class CopyPlan:
    """What a store lacks. ``source`` None: all primary stores; ``sidecars``: how many pictures have some that it lacks.
    With ``update_sidecars`` it gets newer ones in place of ``older`` ones."""

    target: Store
    source: Store | None
    masters_only: bool
    wanted: tuple[Wanted, ...]
    sidecars: int
    older: int
    update_sidecars: bool

    @property
    def bytes(self) -> int:
        """The number of bytes to copy."""
        return sum(item.size for item in self.wanted)


def plan_copy(db: Database, target: str, source: str = "", *, masters_only: bool = False,
              update_sidecars: bool = False, report: Report = ignore_progress) -> CopyPlan:
    """What would be copied to the store ``target``. Changes nothing. Raises NotFound for an unknown store."""
    into, origin = stores.by_name(db, target), stores.by_name(db, source) if source else None
    # first, because it looks at the disks: another than before may lie in a store's place
    lacking, older = count_sidecars(db, into, origin, masters_only=masters_only, update=update_sidecars, report=report)
    return CopyPlan(into, origin, masters_only, tuple(wanted_by(db, into, origin, masters_only=masters_only)),
                    lacking, older, update_sidecars)


def copy_to_store(db: Database, home: Home, plan: CopyPlan, *, report: Report = ignore_progress,
                  cancelled: Cancelled = never_cancelled) -> CopySummary:
    """Copy what was planned, each file verified; copies are counted again. Then the sidecars of all that it holds.

    What the store lacks and no store could give is among ``not_copied`` too.

    Raises StoreAway: the store is offline. Refused: it is another store too. Busy: another copy run is under way.
    """
    summary = copies.copy_to(db, home, plan.target, plan.wanted, report=report, cancelled=cancelled)
    known = {item.path for item in summary.not_copied}
    summary.not_copied += [
        NotCopied(path, NO_INTACT_COPY if readable else NEVER_READ)
        for path, readable in without_source(db, plan.target, plan.source, masters_only=plan.masters_only)
        if path not in known]
    summary.one_disk = copies.all_on_one_disk(db, home.settings)
    if summary.outcome == "finished":
        _bring_sidecars(db, plan, summary, report, cancelled)
        if plan.update_sidecars:
            review_sidecars(db, home.settings.dates)
    return summary


def _bring_sidecars(db: Database, plan: CopyPlan, summary: CopySummary, report: Report, cancelled: Cancelled) -> None:
    try:
        brought = bring_sidecars(db, plan.target, plan.source, masters_only=plan.masters_only,
                                 update=plan.update_sidecars, report=report, cancelled=cancelled)
    except Stopped:
        summary.outcome = "cancelled"
    except StoreAway as error:
        summary.outcome, summary.trouble = "failed", str(error)
    else:
        summary.sidecars, summary.sidecars_replaced = len(brought.copied), len(brought.replaced)
        summary.not_copied += [NotCopied(escape_path(str(path)), why) for path, why in brought.left]


def complete(summary: CopySummary) -> bool:
    """Whether the store now holds everything it should have got."""
    return summary.outcome == "finished" and not (summary.not_copied or summary.trouble)


def summarize(result: CopySummary) -> list[str]:
    """How it ended, what was copied, and every file that was not, with the reason."""
    outcome = "incomplete" if result.outcome == "finished" and result.not_copied else result.outcome
    lines = [f"{result.store}: {OUTCOMES[outcome]}; "
             f"{number(result.copied)} copied and verified ({data_size(result.bytes)})"]
    if result.trouble:
        lines.append(f"  {result.trouble}")
    if result.sidecars:
        lines.append(f"  {counted(result.sidecars, 'sidecar')} copied")
    if result.sidecars_replaced:
        lines.append(f"  {counted(result.sidecars_replaced, 'older sidecar')} replaced and kept beside the newer")
    if result.adopted:
        lines.append(f"  {counted(result.adopted, 'file')} already there, now on record")
    if result.renamed:
        lines.append(f"  {counted(result.renamed, 'file')} copied with checksum digits added to the name: another"
                     " file has the name itself")
    if result.one_disk:
        lines.append(f"  {copies.ALL_ON_ONE_DISK}")
    return [*lines, *(f"  not copied: {display_path(item.path)}: {item.reason}" for item in result.not_copied)]
