"""The long jobs the screens can start, each with the words for its result."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from catalogue.progress import data_size
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.screens.newscans import links_words
from catalogue.screens.wording import counted, safe

if TYPE_CHECKING:
    from catalogue.fixity.audit import Budget
    from catalogue.intake.applying import Outcome
    from catalogue.intake.proposals import Plan
    from catalogue.progress import Cancelled, Report
    from catalogue.reading.model import Reading
    from catalogue.screens.app import CatalogueApp


def chosen(db: Database, names: Sequence[str]) -> list[stores.Store]:
    """The stores of these names, or all."""
    return [stores.by_name(db, name) for name in names] if names else stores.listed(db)


def kinds_words(kinds: "Counter[str] | dict[str, int]") -> str:
    """``2 × truncated, 1 × missing``."""
    return ", ".join(f"{count} × {kind}" for kind, count in sorted(kinds.items(), key=lambda pair: -pair[1]) if count)


def start_index(shop: "CatalogueApp", names: Sequence[str] = ()) -> bool:
    """Read what is new or changed in some stores, or in all."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> Any:
        from catalogue.fixity.upkeep import after_indexing
        from catalogue.indexing.service import index

        summaries = index(db, home, chosen(db, names), report=report, cancelled=cancelled)
        if not cancelled():
            after_indexing(db, home, report=report)
        return summaries

    def told(summaries: Any) -> str:
        return "\n".join(f"{safe(s.store)}: {ending(s.outcome)}{counted(s.seen, 'file')} seen, {s.read} read "
                         f"({data_size(s.bytes)}). " + kinds_words(s.findings) for s in summaries)

    return shop.begin("Indexing", job, told)


def start_audit(shop: "CatalogueApp", names: Sequence[str], budget: "Budget") -> bool:
    """Check the stores' files against their digests."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> Any:
        from catalogue.fixity.audit import audit

        return audit(db, home, chosen(db, names), budget=budget, report=report, cancelled=cancelled)

    def told(audits: Any) -> str:
        return "\n".join(f"{safe(a.store)}: {ending(a.outcome)}{counted(a.checked, 'file')} checked "
                         f"({data_size(a.bytes)}), {a.intact} intact, {a.left} left. " + kinds_words(a.findings)
                         for a in audits)

    return shop.begin("Audit", job, told)


def start_copy(shop: "CatalogueApp", target: str, source: str = "") -> bool:
    """Bring a store up to date with what the primary stores, or another one, hold."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> Any:
        from catalogue.fixity.copies import copy_to, plan

        store = stores.by_name(db, target)
        wanted = plan(db, store, stores.by_name(db, source) if source else None)
        return copy_to(db, home, store, wanted, report=report, cancelled=cancelled)

    def told(done: Any) -> str:
        missed = f", {len(done.not_copied)} not copied: {done.not_copied[0].reason}" if done.not_copied else ""
        return f"{safe(done.store)}: {ending(done.outcome)}{counted(done.copied, 'file')} copied and verified " \
               f"({data_size(done.bytes)}){missed}."

    return shop.begin(f"Copying to {target}", job, told)


def start_restore(shop: "CatalogueApp", file_id: int, source: str, sha256: str = "") -> bool:
    """Put a good copy back: copied, verified, then switched; what stood there is kept aside.

    ``sha256`` names the content to bring back where it is not the one on record now.
    """
    settings = shop.home.settings

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> Any:
        from catalogue.fixity.restore import plan, restore

        wanted = plan(db, file_id, stores.by_name(db, source), sha256=sha256 or None)
        return restore(db, settings, wanted, report=report, cancelled=cancelled)

    def told(done: Any) -> str:
        return f"{done.path.name} is whole again." + (f" The former file is kept as {done.aside.name}."
                                                      if done.aside else "")

    return shop.begin("Restore", job, told)


def ending(outcome: str) -> str:
    """How one store's part ended, where it is worth saying."""
    return {"offline": "offline, left as it was; ", "failed": "the store went away; ", "cancelled": "stopped; ",
            "budget": "budget spent; ", "full": "the store is full; "}.get(outcome, "")


def start_proposing(shop: "CatalogueApp", folder: Path, store: str, known: "Mapping[Path, Reading]",
                    then: "Callable[[Plan], object]") -> bool:
    """Look at a folder of new scans, of which some were read before; ``then`` gets the plan."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "Plan":
        from catalogue.intake.kinship import likeness_of
        from catalogue.intake.proposals import propose

        # no file is read in this process: some codecs write to standard error, which is the screen
        return propose(db, home, folder, stores.by_name(db, store), likeness=likeness_of(db, home), known=known,
                       here=0, report=report, cancelled=cancelled)

    def told(plan: "Plan") -> str:
        passed = f" Passed over: {safe('; '.join(plan.obstacles[:3]))}" if plan.obstacles else ""
        return f"{counted(len(plan.proposals), 'original')} found.{passed}"

    return shop.begin("Looking at new scans", job, told, then)


def start_taking_in(shop: "CatalogueApp", plan: "Plan", also: Sequence[str], remove: bool,
                    then: "Callable[[Outcome, int | None], object]") -> bool:
    """Copy, verify and record what is ready. With ``remove`` the folder's files go once they are held safely.

    ``then`` gets the outcome, and how many likenesses were found; None where many scans wait to be compared.
    """
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "tuple[Outcome, int | None]":
        from catalogue.intake.applying import apply
        from catalogue.intake.kinship import keep_links

        done = apply(db, home, plan, also=chosen(db, also) if also else (), delete_sources=remove, report=report,
                     cancelled=cancelled)
        return done, keep_links(db, home, done.taken, report, cancelled)

    def told(found: "tuple[Outcome, int | None]") -> str:
        done, links = found
        left = f" {len(done.left)} left: {safe(done.left[0].path.name)}: {done.left[0].why}." if done.left else ""
        gone = f" {len(done.removed)} removed from the folder, {len(done.kept)} kept there." if remove else ""
        files = counted(len({t.source for t in done.taken}), "file")
        return f"{files} taken in, each read back and compared.{left}{gone} {links_words(links)}".rstrip()

    return shop.begin("Taking in", job, told, lambda found: then(*found))


def start_backup(shop: "CatalogueApp") -> bool:
    """Back the catalogue up, with the ledger as tables and the checksum lists, as the command does."""
    home = shop.home

    def job(db: Database, report: "Report", _: "Cancelled") -> Any:
        from catalogue.fixity.backup import back_up
        from catalogue.fixity.manifest import refresh
        from catalogue.sheets.tables import write_tables

        made = back_up(db, home, report=report)
        refresh(db, home)
        write_tables(db, home.folder / "ledger")
        return made

    return shop.begin("Backup", job, lambda made: f"Kept as {made.path.name}, checked.")


def start_comparing(shop: "CatalogueApp") -> bool:
    """Compare scans not compared yet with all others."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> Any:
        from catalogue.likeness.updating import update

        return update(db, home, report=report, cancelled=cancelled)

    def told(done: Any) -> str:
        lost = f" {counted(len(done.unreadable), 'preview')} could not be used." if done.unreadable else ""
        return f"{counted(done.compared, 'scan')} compared, {counted(done.found, 'pair')} found.{lost}"

    return shop.begin("Comparing", job, told)


def start_job_sheet(shop: "CatalogueApp", line_id: int, copy: bool, then: "Callable[[list[Path]], object]") -> bool:
    """Write a line's job sheet, with a verified copy of its scan if asked; ``then`` gets the files."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> list[Path]:
        from catalogue.sheets.job import write_job

        return list(write_job(db, home, line_id, copy_master=copy, report=report, cancelled=cancelled).files)

    return shop.begin("Job sheet", job, lambda files: f"{counted(len(files), 'file')} written.", then)
