"""Where the stores are now: the marker by which one is known again, and its root held open."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import combinations
from pathlib import Path

from catalogue.errors import Busy, Refused, StoreAway
from catalogue.indexing import mount_points
from catalogue.indexing.locations import note_store_location
from catalogue.records import findings, locations, stores
from catalogue.records.database import Database, transaction
from catalogue.records.locations import SharedDevice, StoreLocation
from catalogue.records.stores import Store
from catalogue.storage.devices import device_of, is_other_disk, numbered_disks, shares_device
from catalogue.storage.folders import MARKER, OpenFolder, marker_facts_in, open_folder, open_root
from catalogue.storage.identity import FileId, filesystem_id, identity, inside, overlapping
from catalogue.storage.mounts import server_name
from catalogue.untrusted import shell_word

UNMARKED = "unmarked:"


def read_marker(root: Path) -> str | None:
    """The id in the marker at ``root``, or None if there is none that can be read."""
    return marker_facts(root).get("store")


def marker_facts(root: Path) -> dict[str, str]:
    """``store`` (the id) and ``name`` from the marker at ``root``, as far as a small file there says them."""
    try:
        with open_folder(root) as folder:
            return marker_facts_in(folder)
    except OSError:
        return {}


def overlapping_store(db: Database, folder: Path, *, but: int = 0) -> Store | None:
    """A store in use that is this folder, is in it or holds it, by whatever path; ``but`` is left out."""
    return next((store for store in stores.listed(db)
                 if store.id != but and overlapping(folder, Path(store.root))), None)


def store_holding(db: Database, path: Path) -> Store | None:
    """The store in use in which a path lies, by whatever links and mounts it is reached."""
    return next((store for store in stores.listed(db) if inside(path, Path(store.root))), None)


def marker_advice(store: Store, root: Path) -> str:
    return (f"If it is this store: catalogue store move {shell_word(store.name)} {shell_word(str(root))} writes it"
            f" again. {replaced_advice(store)}")


def replaced_advice(store: Store) -> str:
    return f"If it is another disk: catalogue store retire {shell_word(store.name)}, then add the folder."


def has_lost_marker(db: Database, store: Store, root: Path) -> bool:
    """Whether a folder is the very one last seen as the store's, and its marker is gone."""
    return _lacks_marker(store, root) and is_same_disk(db, store, root)


def _lacks_marker(store: Store, root: Path) -> bool:
    """Whether a folder that holds anything has no marker; an empty one is a mount point."""
    return not store.marker.startswith(UNMARKED) and read_marker(root) is None and bool(_first_name(root))


def locate_store(db: Database, store: Store) -> Path | None:
    """The store's root as mounted now, or None while it is offline. A new mount point of the same disk is noted, and
    so is another file system at the store's place: what nobody has read there counts as no copy from then on.

    A disk with the store's marker that is not the one last seen there, as a clone is, is never taken for it: see
    :func:`marked_elsewhere` and :func:`move_store`. Neither is one at the store's place whose serial number is another.
    """
    root = Path(store.root)
    if is_in_place(db, store, root):
        if not _is_noted_folder(store, locations.store_location(db, store.id), root):
            with suppress(Refused, Busy), transaction(db):  # a workstation that only looks, or while another writes
                note_store_location(db, store, root)
        return root
    candidates = marked_elsewhere(store)
    noted = locations.store_location(db, store.id)
    if len(candidates) > 1 and noted is not None:  # two that look alike: only a serial number tells
        candidates = [folder for folder in candidates
                      if numbered_disks(device_of(folder)) & numbered_disks(noted.device)]
    if len(candidates) != 1 or not is_same_disk(db, store, candidates[0]):
        return None
    with suppress(Refused), transaction(db):  # a workstation that only looks cannot note it
        stores.move(db, store.id, str(candidates[0]))
        note_store_location(db, store, candidates[0])
    return candidates[0]


def is_same_disk(db: Database, store: Store, root: Path) -> bool:
    """Whether a folder is the one that was noted as the store's root; yes where none was noted."""
    noted = locations.store_location(db, store.id)
    return _is_noted_folder(store, noted, root) and (
        noted is None or not is_other_disk(noted.device, device_of(root)))


def _is_noted_folder(store: Store, noted: StoreLocation | None, root: Path) -> bool:
    """As :func:`is_same_disk`, whatever the disks' serial numbers say."""
    present = identity(root)
    if noted is None or present is None:
        return present is not None
    if store.marker.startswith(UNMARKED):
        return present.inode == noted.inode  # the folder under an unmounted disk has another
    return (filesystem_id(root), present.inode) == (noted.device.filesystem, noted.inode)


def marked_elsewhere(store: Store) -> list[Path]:
    """Folders other than the store's root that have its marker: the disk at a new place, or clones of it."""
    if store.marker.startswith(UNMARKED):
        return []
    seen, folders = {identity(Path(store.root))}, []
    for candidate in mount_points.candidates(Path(store.root)):
        if read_marker(candidate) == store.marker and (folder_id := identity(candidate)) not in seen:
            seen.add(folder_id)
            folders.append(candidate)
    return folders


def on_one_disk(db: Database) -> list[SharedDevice]:
    """Stores in use, two and two, that are lost together when a disk or server fails, as last seen and as it is now."""
    devices = {store.name: device_of(store.root) for store in stores.listed(db)
               if is_in_place(db, store, Path(store.root))}
    together = {(pair.first, pair.second): pair for pair in locations.shared_disks(db)}
    for names in combinations(sorted(devices), 2):
        first, second = (devices[name] for name in names)
        if shares_device(first, second):
            together.setdefault(names, SharedDevice(*names, server_name(first.disks & second.disks)))
    return sorted(together.values())


def offline(store: Store) -> StoreAway:
    """The error that says a store is offline, and what to do."""
    return StoreAway(f"The store {store.name!r} is offline.",
                     hint=stand_in_advice(store) or f"Connect it; it was at {store.root}.", path=store.root)


def stand_in_advice(store: Store) -> str:
    """What to do where something is there in place of an offline store: its folder without the marker, or a clone;
    "" if nothing is."""
    root = Path(store.root)
    if _lacks_marker(store, root):
        return f"{root} is there, but {MARKER} in it is gone. {marker_advice(store, root)}"
    if is_at(store, root):
        reason = ("is not the folder last seen there" if store.marker.startswith(UNMARKED) else
                  "has its marker, but its disk has another serial number than the one last seen there")
        return f"{root} {reason}: {_clone_advice(store, root)}"
    if others := marked_elsewhere(store):
        return (f"{others[0]} has its marker, but is not the disk last seen at {store.root}:"
                f" {_clone_advice(store, others[0])}")
    return ""


def _clone_advice(store: Store, root: Path) -> str:
    return (f"it may be a clone, or the same disk in another enclosure. If it is this store: catalogue store move"
            f" {shell_word(store.name)} {shell_word(str(root))}. Its files count as copies again once they are read.")


def record_offline(db: Database, store: Store, detail: str, stand_in: str) -> None:
    """Note the finding that a store is offline; ``stand_in``: :func:`stand_in_advice`. Within a transaction."""
    findings.record(db, "offline", detail, store_id=store.id, hint=stand_in or f"Connect it; it was at {store.root}.",
                    cause=findings.STAND_IN if stand_in else "")


@contextmanager
def opened_store(db: Database, store: Store, *, known: FileId | None = None) -> Iterator[OpenFolder]:
    """The store's root held open, its marker read through the handle: what every writer and remover works in.

    ``known`` is what the root was when the work began; it must still be that.

    Raises StoreAway: the store is offline, or another folder is in its place.
    """
    root = locate_store(db, store)
    if root is None and known is not None:
        raise StoreAway(f"The store {store.name!r} was disconnected.", hint="Connect it, then run this again.",
                        path=store.root)
    if root is None:
        raise offline(store)
    marker = None if store.marker.startswith(UNMARKED) else store.marker
    with open_root(root, marker, known=known, name=store.name) as folder:
        yield folder


def is_at(store: Store, root: Path) -> bool:
    """Whether this very store is at ``root`` now. An unmarked one is there when its folder holds anything."""
    if store.marker.startswith(UNMARKED):
        return bool(_first_name(root))
    return read_marker(root) == store.marker


def is_in_place(db: Database, store: Store, root: Path) -> bool:
    """As :func:`is_at`, and it is on no disk that is known by its serial number to be another: a clone, bit for bit,
    has the store's marker too. For an unmarked store it must be the very folder."""
    if store.marker.startswith(UNMARKED):
        return is_at(store, root) and is_same_disk(db, store, root)
    noted = locations.store_location(db, store.id)
    return is_at(store, root) and (noted is None or not is_other_disk(noted.device, device_of(root)))


def _first_name(root: Path) -> str:
    """The name of anything in a folder; "" if nothing is, or it cannot be looked into."""
    try:
        with os.scandir(root) as entries:
            return next((entry.name for entry in entries), "")
    except OSError:
        return ""
