"""The long jobs the screens can start: each an operation in the work thread, and its words as the notice."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from catalogue.errors import NotFound
from catalogue.records.database import Database
from catalogue.screens.texts.formats import counted, safe

if TYPE_CHECKING:
    from catalogue.fixity.audit import Budget
    from catalogue.fixity.copies import CopySummary
    from catalogue.fixity.restore import Restored
    from catalogue.intake.proposals import Plan
    from catalogue.likeness.updating import Updated
    from catalogue.operations.auditing import Audited
    from catalogue.operations.backing_up import BackedUp
    from catalogue.operations.indexing import Indexed
    from catalogue.operations.intake import ImportedScans
    from catalogue.operations.print_files import PrintFilesMade
    from catalogue.operations.print_recipes import RecipeProposal
    from catalogue.progress import Cancelled, Report
    from catalogue.reading.model import Reading
    from catalogue.screens.app import CatalogueApp
    from catalogue.sheets.job import Written


MOST_LINES = 10


def panel_text(lines: Sequence[str]) -> str:
    """All of an operation's summary, for a panel that scrolls."""
    return "\n".join(safe(line) for line in lines)


def notice(lines: Sequence[str]) -> str:
    """An operation's summary at the edge of the screen: as many lines as a person reads in passing."""
    if len(lines) <= MOST_LINES:
        return panel_text(lines)
    return panel_text([*lines[:MOST_LINES - 1], f"… and {counted(len(lines) - MOST_LINES + 1, 'more line')}"])


def start_index(shop: "CatalogueApp", names: Sequence[str] = ()) -> bool:
    """Read what is new or changed in some stores, or in all."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "Indexed":
        from catalogue.operations.indexing import index_stores

        return index_stores(db, home, names, report=report, cancelled=cancelled)

    def summary(done: "Indexed") -> str:
        from catalogue.operations.indexing import summarize

        return notice(summarize(done))

    return shop.begin("Indexing", job, summary)


def start_audit(shop: "CatalogueApp", names: Sequence[str], budget: "Budget") -> bool:
    """Check the stores' files against their digests."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "Audited":
        from catalogue.operations.auditing import audit_stores

        return audit_stores(db, home, names, budget=budget, report=report, cancelled=cancelled)

    def summary(done: "Audited") -> str:
        from catalogue.operations.auditing import summarize

        return notice(summarize(done))

    return shop.begin("Audit", job, summary)


def start_copy(shop: "CatalogueApp", target: str, source: str = "") -> bool:
    """Bring a store up to date with what the primary stores, or another one, hold."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "CopySummary":
        from catalogue.operations.copying import copy_to_store, plan_copy

        return copy_to_store(db, home, plan_copy(db, target, source), report=report, cancelled=cancelled)

    def summary(done: "CopySummary") -> str:
        from catalogue.operations.copying import summarize

        return notice(summarize(done))

    return shop.begin(f"Copying to {target}", job, summary)


def start_restore(shop: "CatalogueApp", file_id: int, source: str, sha256: str = "") -> bool:
    """Put a good copy back: copied, verified, then switched; what stood there is kept aside.

    ``sha256`` names the content to bring back where it is not the one on record now.
    """
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "Restored":
        from catalogue.operations.restoring import plan_restore, restore_file

        return restore_file(db, home, plan_restore(db, file_id, source, sha256), report=report, cancelled=cancelled)

    def summary(done: "Restored") -> str:
        from catalogue.operations.restoring import summarize

        return notice(summarize(done))

    return shop.begin("Restore", job, summary)


def start_proposing(shop: "CatalogueApp", folder: Path, store: str, known: "Mapping[Path, Reading]",
                    then: "Callable[[Plan], object]") -> bool:
    """Look at a folder of new scans, of which some were read before; ``then`` gets the plan."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "Plan":
        from catalogue.operations.intake import look_at_folder

        # no file is read in this process: some codecs write to standard error, which is the screen
        return look_at_folder(db, home, folder, store, known=known, inline_bytes=0, report=report, cancelled=cancelled)

    def summary(plan: "Plan") -> str:
        passed = f" Skipped: {safe('; '.join(plan.obstacles[:3]))}" if plan.obstacles else ""
        return f"{counted(len(plan.proposals), 'original')} found.{passed}"

    return shop.begin("Looking at new scans", job, summary, then)


def start_taking_in(shop: "CatalogueApp", plan: "Plan", also: Sequence[str], remove: bool,
                    then: "Callable[[ImportedScans], object]") -> bool:
    """Copy, verify and record what is ready. With ``remove`` the folder's files go once they are held safely.

    ``then`` gets what became of them.
    """
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "ImportedScans":
        from catalogue.operations.intake import import_scans

        return import_scans(db, home, plan, also=also, remove_sources=remove, report=report, cancelled=cancelled)

    def summary(done: "ImportedScans") -> str:
        from catalogue.operations.intake import summarize

        return notice([*summarize(done), *after_taking_in(done)])

    return shop.begin("Importing", job, summary, then)


def after_taking_in(done: "ImportedScans") -> list[str]:
    """Which key leads on to the likenesses of the new scans."""
    if done.likenesses is None:
        return ["Press 3, then i, when you have time."]
    return ["Press 3 to see them."] if done.likenesses else []


def start_backup(shop: "CatalogueApp") -> bool:
    """Back the catalogue up, with the ledger as tables and the checksum manifests."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "BackedUp":
        from catalogue.operations.backing_up import back_up

        return back_up(db, home, report=report, cancelled=cancelled)

    def summary(done: "BackedUp") -> str:
        from catalogue.operations.backing_up import summarize

        return notice(summarize(done))

    return shop.begin("Backup", job, summary)


def start_comparing(shop: "CatalogueApp") -> bool:
    """Compare new scans with all others."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "Updated":
        from catalogue.operations.comparing import compare_scans

        return compare_scans(db, home, report=report, cancelled=cancelled)

    def summary(done: "Updated") -> str:
        from catalogue.operations.comparing import summarize

        return notice(summarize(done))

    return shop.begin("Comparing", job, summary)


def start_job_sheet(shop: "CatalogueApp", line_id: int, copy: bool,
                    then: "Callable[[Sequence[Written]], object]") -> bool:
    """Write a line's job sheet, with a verified copy of its scan if asked; ``then`` gets what was written."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "Sequence[Written]":
        from catalogue.operations.job_sheets import write_job_sheets

        return write_job_sheets(db, home, [line_id], copy_master=copy, report=report, cancelled=cancelled)

    def summary(done: "Sequence[Written]") -> str:
        from catalogue.operations.job_sheets import summarize

        return notice(summarize(done))

    return shop.begin("Job sheet", job, summary, then)


def start_print_files(shop: "CatalogueApp", line_ids: Sequence[int],
                      then: "Callable[[PrintFilesMade], object] | None" = None) -> bool:
    """Make the print files of some lines in the folder of the settings; ``then`` gets what came of them."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "PrintFilesMade":
        from catalogue.operations.print_files import chosen_lines, make_prints, print_folder

        folder = print_folder(db, home, None)
        return make_prints(db, home, chosen_lines(db, line_ids), {}, folder, report=report, cancelled=cancelled)

    def summary(done: "PrintFilesMade") -> str:
        from catalogue.operations.print_files import summarize

        return notice(summarize(done, home.settings.dates))

    return shop.begin("Print file" if len(line_ids) == 1 else "Print files", job, summary, then)


def start_recipe(shop: "CatalogueApp", sha256: str, then: "Callable[[RecipeProposal], object]") -> bool:
    """Find the recipe of an old print file; ``then`` gets the proposal."""
    home = shop.home

    def job(db: Database, report: "Report", cancelled: "Cancelled") -> "RecipeProposal":
        from catalogue.operations.print_recipes import propose_recipe
        from catalogue.records.scans import by_digest

        scan = by_digest(db, sha256)
        if scan is None:
            raise NotFound("This scan is no longer in the catalogue.")
        return propose_recipe(db, home, scan, report=report, cancelled=cancelled)

    return shop.begin("Finding the recipe", job, lambda _: "", then)
