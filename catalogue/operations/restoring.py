"""Restore: put a good copy back in a file's place, the old file kept aside."""

from catalogue.fixity import restore
from catalogue.fixity.restore import Plan, Restored
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import stores
from catalogue.records.database import Database
from catalogue.settings import Home


def plan_restore(db: Database, file_id: int, source: str = "", sha256: str = "") -> Plan:
    """What a restore would do. Changes nothing.

    ``source`` names the store to take the copy from, else the one with the latest good check; ``sha256`` the content
    to bring back where it is not the one on record.

    Raises NotFound: no such file or store, or no sound copy. Refused: a store is offline, or the file is sound.
    """
    return restore.plan(db, file_id, stores.by_name(db, source) if source else None, sha256=sha256 or None)


def restore_file(db: Database, home: Home, plan: Plan, *, report: Report = ignore_progress,
                 cancelled: Cancelled = never_cancelled) -> Restored:
    """Copy beside the file, verify, then switch; its findings are closed and its copies counted again.

    Raises: as :func:`catalogue.fixity.restore.restore`.
    """
    return restore.restore(db, home.settings, plan, report=report, cancelled=cancelled)


def summarize(restored: Restored) -> list[str]:
    """What was restored, and where the old file is."""
    lines = [f"Restored and verified: {restored.path}"]
    lines += [f"The old file: {restored.aside}"] if restored.aside else []
    lines += [f"Sidecar restored too: {sidecar}" for sidecar in restored.sidecars]
    return [*lines, *(f"Sidecar not restored: {sidecar}: {why}" for sidecar, why in restored.left)]
