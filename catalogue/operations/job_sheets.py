"""Job sheets: write those of some order lines."""

from collections.abc import Sequence
from pathlib import Path

from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records.database import Database
from catalogue.settings import Home
from catalogue.sheets.job import Written, write_job


def write_job_sheets(db: Database, home: Home, line_ids: Sequence[int], *, folder: Path | None = None,
                     copy_master: bool = False, pdf: bool = False, check: bool = False,
                     report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> tuple[Written, ...]:
    """Write the sheets of some order lines, one after the other, with a verified copy of each master if asked.

    Raises: as :func:`catalogue.sheets.job.write_job`.
    """
    return tuple(write_job(db, home, line_id, folder=folder, copy_master=copy_master, pdf=pdf, check=check,
                           report=report, cancelled=cancelled) for line_id in line_ids)


def summarize(sheets: Sequence[Written]) -> list[str]:
    """The files that were written, one a line."""
    return [str(path) for sheet in sheets for path in sheet.files]
