"""Recording the locations (file system and inode) of stores and files when they are seen."""

import sys
from pathlib import Path

from catalogue.records import files, locations
from catalogue.records.database import Database
from catalogue.records.paths import UnusablePath, native_path
from catalogue.records.stores import Store
from catalogue.storage.devices import device_of, is_other_disk
from catalogue.storage.identity import filesystem_id, identity


def note_store_location(db: Database, store: Store, root: Path, *, look: bool = False) -> int:
    """Record the location of the store's root. Within a transaction.

    If it differs from before, as after a disk was replaced (or with ``look``), the locations of its files are recorded
    again. Files that are not the ones that were read do not count as copies until they are read; returns how many.
    """
    root_id = identity(root)
    if root_id is None:
        return 0
    before, device = locations.store_location(db, store.id), device_of(root)
    locations.note_store(db, store.id, device, root_id.inode)
    if before is None:
        return 0
    former, filesystem = before.device.filesystem, device.filesystem
    copied = is_other_disk(before.device, device) or (
        former != filesystem and _names_a_volume(former) and _names_a_volume(filesystem))
    if former == filesystem and before.inode == root_id.inode and not copied and not look:
        return 0
    others = []
    for file_id, path, inode in locations.inodes_of_store(db, store.id):
        try:
            file = root / native_path(path)
        except UnusablePath:
            continue
        standing = identity(file, follow=False)
        if standing is None:
            locations.forget_file(db, file_id)
        else:
            locations.note_file(db, file_id, filesystem_id(file), standing.inode)
        if standing is None or copied or standing.inode != inode:
            others.append(file_id)
    files.mark_not_read_here(db, others)
    return len(others)


def _names_a_volume(filesystem: str) -> bool:
    """Whether the id differs from disk to disk and for no other reason: a share has several names, and macOS
    renumbers disks when they are connected. In those cases the files' inodes decide."""
    return filesystem.startswith("volume ") or (filesystem.startswith("id ") and sys.platform == "linux")


def note_file_location(db: Database, file_id: int, path: str) -> None:
    """Record the location of the file at a path. Within a transaction."""
    file_identity = identity(path)
    if file_identity is not None:
        locations.note_file(db, file_id, filesystem_id(path), file_identity.inode)
