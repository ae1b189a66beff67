"""Replaced files, kept beside what replaced them, that still exist: damaged ones and former sidecars."""

import os
import re
from dataclasses import dataclass
from pathlib import Path

from catalogue.indexing.recording import real_path
from catalogue.records import events
from catalogue.records.database import Database
from catalogue.records.paths import escape_path
from catalogue.records.stores import Store

_KEPT = re.compile(r"\.(damaged|former)-\d{8}T\d{6}(-\d+)?$")  # as storage.atomic.aside_name makes them


@dataclass(frozen=True, slots=True)
class SetAsideFile:
    """A replaced file kept under another name; ``path`` within its store, ``size`` in bytes."""

    path: str
    size: int


def set_aside_files(db: Database, store: Store, root: Path | None) -> tuple[SetAsideFile, ...]:
    """Replaced files kept in a store at ``root``, by path; none while it is offline.

    Every folder in which a file was replaced is searched.
    """
    if root is None:
        return ()
    listed = []
    for folder in sorted({path.rpartition("/")[0] for path in events.paths_set_aside(db, store.name)}):
        try:
            with os.scandir(real_path(root, folder)) as entries:
                listed += [SetAsideFile(f"{folder}/{escape_path(entry.name)}".lstrip("/"), entry.stat().st_size)
                           for entry in entries if _KEPT.search(entry.name) and entry.is_file(follow_symlinks=False)]
        except OSError:  # the folder was renamed, or has gone: so have the files kept in it
            continue
    return tuple(sorted(listed, key=lambda file: file.path))
