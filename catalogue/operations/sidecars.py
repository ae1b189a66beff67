"""Sidecars: write a piece's details beside its scans or into new copies of them."""

from collections.abc import Sequence
from pathlib import Path

from catalogue.intake import sidecars
from catalogue.intake.packets import Description
from catalogue.intake.sidecars import Written
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records.database import Database
from catalogue.records.files import Located


def write_descriptions(db: Database, targets: Sequence[tuple[Located, str]], description: Description,
                       folder: Path | None = None, *, report: Report = ignore_progress,
                       cancelled: Cancelled = never_cancelled) -> list[Written]:
    """Write sidecars beside the scans, or with ``folder`` described copies into it. The scans are never changed."""
    if folder is None:
        return sidecars.write_sidecars(db, targets, description)
    return sidecars.write_described_copies(db, targets, description, folder, report=report, cancelled=cancelled)


def summarize(written: Sequence[Written]) -> list[str]:
    """What was written, or why a scan has no description."""
    return [f"{sidecar.of}: {sidecar.trouble}" if sidecar.trouble else str(sidecar.path) for sidecar in written]
