"""The long jobs the screens can start: each an operation in the work thread, with its summary as the notice."""

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from catalogue.errors import Gone
from catalogue.records.database import Database
from catalogue.screens.background.work import Job
from catalogue.screens.texts.formats import counted, safe

if TYPE_CHECKING:
    from catalogue.fixity.audit import Budget
    from catalogue.intake.proposals import Plan
    from catalogue.operations.intake import ImportedScans
    from catalogue.operations.print_files import PrintFilesMade
    from catalogue.operations.print_recipes import RecipeProposal
    from catalogue.progress import Cancelled, Report
    from catalogue.reading.model import Reading
    from catalogue.screens.app import CatalogueApp
    from catalogue.sheets.job import Written


MOST_LINES = 10


def panel_text(lines: Sequence[str]) -> str:
    """An operation's complete summary, for a scrolling panel."""
    return "\n".join(safe(line) for line in lines)


def notice(lines: Sequence[str]) -> str:
    """An operation's summary at the edge of the screen, shortened to what can be read at a glance."""
    if len(lines) <= MOST_LINES:
        return panel_text(lines)
    return panel_text([*lines[:MOST_LINES - 1], f"… and {counted(len(lines) - MOST_LINES + 1, 'more line')}"])


def _begin(shop: "CatalogueApp", name: str, job: Job, operation: str,
           then: Callable[[Any], object] | None = None) -> bool:
    """Start a job whose result the module ``operation`` of ``catalogue.operations`` words."""
    module = f"catalogue.operations.{operation}"
    return shop.begin(name, job, lambda done: notice(import_module(module).summarize(done)), then)


def _call(shop: "CatalogueApp", operation: str, function: str, *given: object, **named: object) -> Job:
    """A job that is one function of the module ``operation``, which is loaded when the job begins."""
    def job(db: Database, report: "Report", cancelled: "Cancelled") -> object:
        return getattr(import_module(f"catalogue.operations.{operation}"), function)(
            db, shop.home, *given, **named, report=report, cancelled=cancelled)

    return job


def start_index(shop: "CatalogueApp", names: Sequence[str] = ()) -> bool:
    """Read what is new or changed in some stores, or in all."""
    return _begin(shop, "Indexing", _call(shop, "indexing", "index_stores", names), "indexing")


def start_audit(shop: "CatalogueApp", names: Sequence[str], budget: "Budget") -> bool:
    """Check the stores' files against their digests."""
    return _begin(shop, "Audit", _call(shop, "auditing", "audit_stores", names, budget=budget), "auditing")


def start_copy(shop: "CatalogueApp", target: str, source: str = "") -> bool:
    """Bring a store up to date with what the primary stores, or another one, hold."""
    def job(db: Database, report: "Report", cancelled: "Cancelled") -> object:
        from catalogue.operations.copying import copy_to_store, plan_copy

        plan = plan_copy(db, target, source, report=report)
        return copy_to_store(db, shop.home, plan, report=report, cancelled=cancelled)

    return _begin(shop, f"Copying to {target}", job, "copying")


def start_restore(shop: "CatalogueApp", file_id: int, source: str, sha256: str = "") -> bool:
    """Put a good copy back: copied, verified, then switched; what stood there is kept aside.

    ``sha256`` names the content to bring back where it is not the one on record now.
    """
    def job(db: Database, report: "Report", cancelled: "Cancelled") -> object:
        from catalogue.operations.restoring import plan_restore, restore_file

        return restore_file(db, shop.home, plan_restore(db, file_id, source, sha256), report=report,
                            cancelled=cancelled)

    return _begin(shop, "Restore", job, "restoring")


def start_proposing(shop: "CatalogueApp", folder: Path, store: str, known: "Mapping[Path, Reading]",
                    then: "Callable[[Plan], object]") -> bool:
    """Look at a folder of new scans, of which some were read before; ``then`` gets the plan."""
    def job(db: Database, report: "Report", cancelled: "Cancelled") -> object:
        from catalogue.operations.intake import look_at_folder

        # no file is read in this process: some codecs write to standard error, which is the screen
        return look_at_folder(db, shop.home, folder, store, known=known, inline_bytes=0, report=report,
                              cancelled=cancelled)

    def summary(plan: "Plan") -> str:
        passed = f" Skipped: {safe('; '.join(plan.obstacles[:3]))}" if plan.obstacles else ""
        return f"{counted(len(plan.proposals), 'original')} found.{passed}"

    return shop.begin("Looking at new scans", job, summary, then)


def start_taking_in(shop: "CatalogueApp", plan: "Plan", also: Sequence[str], remove: bool,
                    then: "Callable[[ImportedScans], object]") -> bool:
    """Copy, verify and record what is ready. With ``remove`` the folder's files go once they are held safely.

    ``then`` gets what became of them.
    """
    def job(db: Database, report: "Report", cancelled: "Cancelled") -> object:
        from catalogue.operations.intake import import_scans

        return import_scans(db, shop.home, plan, also=also, remove_sources=remove, report=report, cancelled=cancelled)

    def summary(done: "ImportedScans") -> str:
        from catalogue.operations.intake import summarize

        return notice([*summarize(done), *after_taking_in(done)])

    return shop.begin("Importing", job, summary, then)


def after_taking_in(done: "ImportedScans") -> list[str]:
    """The key that leads to the likenesses of the new scans."""
    if done.likenesses is None:
        return ["Press 3, then i, when you have time."]
    return ["Press 3 to see them."] if done.likenesses else []


def start_backup(shop: "CatalogueApp") -> bool:
    """Back the catalogue up, with the ledger as tables and the checksum manifests."""
    return _begin(shop, "Backup", _call(shop, "backing_up", "back_up"), "backing_up")


def start_comparing(shop: "CatalogueApp") -> bool:
    """Compare new scans with all others."""
    return _begin(shop, "Comparing", _call(shop, "comparing", "compare_scans"), "comparing")


def start_job_sheet(shop: "CatalogueApp", line_id: int, copy: bool,
                    then: "Callable[[Sequence[Written]], object]") -> bool:
    """Write a line's job sheet, with a verified copy of its scan if asked; ``then`` gets what was written."""
    return _begin(shop, "Job sheet", _call(shop, "job_sheets", "write_job_sheets", [line_id], copy_master=copy),
                  "job_sheets", then)


def start_print_files(shop: "CatalogueApp", line_ids: Sequence[int],
                      then: "Callable[[PrintFilesMade], object] | None" = None) -> bool:
    """Make the print files of some lines in the folder of the settings; ``then`` gets what came of them."""
    def job(db: Database, report: "Report", cancelled: "Cancelled") -> object:
        from catalogue.operations.print_files import chosen_lines, make_prints, print_folder

        folder = print_folder(db, shop.home, None)
        return make_prints(db, shop.home, chosen_lines(db, line_ids), {}, folder, report=report, cancelled=cancelled)

    def summary(done: "PrintFilesMade") -> str:
        from catalogue.operations.print_files import summarize

        return notice(summarize(done, shop.home.settings.dates))

    return shop.begin("Print file" if len(line_ids) == 1 else "Print files", job, summary, then)


def start_recipe(shop: "CatalogueApp", sha256: str, then: "Callable[[RecipeProposal], object]") -> bool:
    """Find the recipe of an old print file; ``then`` gets the proposal."""
    def job(db: Database, report: "Report", cancelled: "Cancelled") -> object:
        from catalogue.operations.print_recipes import propose_recipe
        from catalogue.records.scans import by_digest

        scan = by_digest(db, sha256)
        if scan is None:
            raise Gone("This scan")
        return propose_recipe(db, shop.home, scan, report=report, cancelled=cancelled)

    return shop.begin("Finding the recipe", job, lambda _: "", then)
