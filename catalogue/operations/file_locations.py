"""Where the files of a scan are now, and which can be reached."""

from dataclasses import dataclass
from pathlib import Path

from catalogue.indexing.locating import locate_store
from catalogue.records import files, scans, stores
from catalogue.records.database import Database
from catalogue.records.paths import native_path


@dataclass(frozen=True, slots=True)
class FileLocation:
    """The present location of one file. ``reachable``: its store is connected and the file is there."""

    path: Path
    store: str
    role: str
    reachable: bool


def file_locations(db: Database, sha256: str) -> list[FileLocation]:
    """The locations of a scan's files, reachable ones first."""
    scan = scans.by_digest(db, sha256)
    locations = []
    for file in files.of_scan(db, scan.id) if scan else ():
        root = locate_store(db, stores.by_id(db, file.store_id))
        path = (root or Path(file.root)) / native_path(file.path)
        locations.append(FileLocation(path, file.store, scan.role if scan else "", root is not None and path.is_file()))
    return sorted(locations, key=lambda location: not location.reachable)
