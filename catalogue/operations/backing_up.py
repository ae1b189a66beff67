"""Back up: a checked copy of the catalogue, the ledger as tables, and the checksum manifests."""

from dataclasses import dataclass
from pathlib import Path

from catalogue.fixity import backup, manifest
from catalogue.fixity.backup import Generation
from catalogue.fixity.manifest import Written
from catalogue.operations.wording import counted
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records.database import Database
from catalogue.settings import Home
from catalogue.sheets.tables import write_tables
from catalogue.storage.atomic import write_atomically


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup wrote. ``also``: the folder that got a verified copy of all of it."""

    backup: Generation
    manifests: tuple[Written, ...]
    also: Path | None


def back_up(db: Database, home: Home, *, also: Path | None = None, report: Report = ignore_progress,
            cancelled: Cancelled = never_cancelled) -> BackedUp:
    """Back up the catalogue, check the backup, and refresh everything else it could be restored from.

    Manifests go beside the catalogue and into those online stores that allow it, the ledger beside the catalogue.

    Raises Damaged: the catalogue fails its integrity check. NoRoom, CatalogueError: something cannot be written.
    """
    made = backup.back_up(db, home, also=also, report=report, cancelled=cancelled)
    manifests = manifest.refresh(db, home)
    write_tables(db, home.folder / "ledger")
    if also is not None:
        write_tables(db, also / "ledger")
        for stored_manifest in manifests:
            if stored_manifest.path.parent.parent == home.folder:
                write_atomically(also / "manifests" / stored_manifest.path.name, stored_manifest.path.read_bytes())
    return BackedUp(made, tuple(manifests), also)


def summarize(result: BackedUp) -> list[str]:
    """The paths of the backup and the manifests."""
    lines = [f"Backup {result.backup.number}, checked: {result.backup.path}"]
    if result.also is not None:
        lines.append(f"and a verified copy in {result.also}, with the ledger and the checksums")
    return [*lines,
            *(f"Checksums of {counted(manifest.files, 'file')}: {manifest.path}" for manifest in result.manifests)]
