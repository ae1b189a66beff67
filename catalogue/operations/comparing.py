"""Compare: which scans show the same artwork."""

from catalogue.likeness import updating
from catalogue.likeness.updating import Updated
from catalogue.operations.wording import counted
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records.database import Database
from catalogue.settings import Home

MOST_NAMED = 20


def compare_scans(db: Database, home: Home, *, again: bool = False, report: Report = ignore_progress,
                  cancelled: Cancelled = never_cancelled) -> Updated:
    """Compare scans not compared yet with all others; ``again``: all of them again, verdicts stay.

    Raises Busy when another comparison is under way.
    """
    return updating.update(db, home, report=report, cancelled=cancelled, again=again)


def summarize(result: Updated) -> list[str]:
    """How many were compared, what was found, and whose preview cannot be used."""
    lines = [f"{counted(result.compared, 'scan')} compared, {counted(result.found, 'likeness', 'likenesses')} found."]
    lines += [f"The preview of {sha[:12]} cannot be used: run catalogue index --again."
              for sha in result.unreadable[:MOST_NAMED]]
    if len(result.unreadable) > MOST_NAMED:
        lines.append(f"and {counted(len(result.unreadable) - MOST_NAMED, 'more preview')}.")
    return lines
