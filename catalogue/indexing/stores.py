"""Stores on the disk: the marker by which one is known again, where it is mounted now, and its root held open."""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import combinations
from pathlib import Path
from uuid import uuid4

from catalogue.errors import Busy, CatalogueError, Refused, StoreAway
from catalogue.indexing import mount_points
from catalogue.indexing.locations import note_store_location
from catalogue.indexing.markers import read_marker, write_marker
from catalogue.records import events, findings, locations, stores
from catalogue.records.database import Database, transaction
from catalogue.records.locations import SharedDevice
from catalogue.records.stores import Store
from catalogue.storage.atomic import opened, remove_leftover
from catalogue.storage.devices import device_of, is_other_disk, numbered_disks, shares_device
from catalogue.storage.folders import MARKER, OpenFolder, open_root
from catalogue.storage.identity import FileId, filesystem_id, identity, inside, overlapping, same_file
from catalogue.storage.mounts import server_name
from catalogue.untrusted import shell_word

UNMARKED = "unmarked:"
__all__ = ["MARKER", "UNMARKED", "add_store", "has_lost_marker", "is_at", "is_in_place", "is_same_disk", "locate_store",
           "marked_elsewhere", "move_store", "offline", "on_one_disk", "opened_store",
           "overlapping_store", "record_offline", "retire_store", "stand_in_advice", "store_holding"]


def add_store(db: Database, name: str, folder: Path, kind: str, *, consent: bool) -> Store:
    """Take a folder as a store.

    With ``consent`` a marker file is written at its root, the only file ever put there without a further question;
    a marker already there is kept and believed. Without consent, or on a read-only disk, the store is known by its
    path and its inode alone and cannot be recognised under another mount point.

    Raises CatalogueError: no such folder, or it cannot be read. Refused: it is, lies within, or holds another store, or
    has the marker of one.
    """
    root = folder.expanduser().absolute()
    if not root.is_dir():
        raise CatalogueError("There is no such folder.", hint="Is the disk connected?", path=root)
    if kind not in stores.KINDS:
        raise CatalogueError(f"{kind!r} is not a kind of store.", hint=f"Choose one of: {', '.join(stores.KINDS)}.")
    marker = read_marker(root)
    _refuse_overlap(db, root, marker)
    other = next((s for s in stores.listed(db) if s.marker == marker), None)
    if other is not None and not same_file(root, other.root):
        raise Refused(f"This folder has the marker of the store {other.name!r}, which was last seen at {other.root}.",
                      hint=f"If it is that disk at a new place: catalogue store move {shell_word(other.name)}"
                           f" {shell_word(str(root))}. If it is a clone, to be a store of its own: remove {MARKER} from"
                           " it first.", path=root)
    if marker and consent:
        with suppress(CatalogueError), opened(root / MARKER) as entry:
            remove_leftover(entry)  # of a program that was killed once the marker stood
    marker = marker or (write_marker(root, name, str(uuid4())) if consent else f"{UNMARKED}{uuid4()}")
    with transaction(db):
        store = stores.add(db, name, str(root), kind, marker)
        note_store_location(db, store, root, look=True)  # a retired store that returns: its files may be others
        events.append(db, "metadata modification", "success", store=name, path=str(root), detail=f"{kind} store added")
    return store


def _refuse_overlap(db: Database, root: Path, marker: str | None) -> None:
    for other in stores.listed(db):
        theirs = Path(other.root)
        same = same_file(root, theirs)
        if same and (root != theirs or other.marker.startswith(UNMARKED)):
            path = ", reached by another path" if root != theirs else ""
            raise Refused(f"This folder is already the store {other.name!r}{path}.", path=root)
        if same and marker != other.marker:
            raise Refused(f"The store {other.name!r} was last seen here, but its marker is gone.",
                          hint=_marker_advice(other, root), path=root)
        if root != theirs and not same and overlapping(root, theirs):
            raise Refused(f"This folder and the store {other.name!r} overlap.",
                          hint="A file can belong to one store only.", path=root)


def overlapping_store(db: Database, folder: Path, *, but: int = 0) -> Store | None:
    """A store in use that is this folder, lies in it or holds it, by whatever path; ``but`` is left out."""
    return next((store for store in stores.listed(db)
                 if store.id != but and overlapping(folder, Path(store.root))), None)


def store_holding(db: Database, path: Path) -> Store | None:
    """The store in use in which a path lies, by whatever links and mounts it is reached."""
    return next((store for store in stores.listed(db) if inside(path, Path(store.root))), None)


def _marker_advice(store: Store, root: Path) -> str:
    return (f"If it is this store: catalogue store move {shell_word(store.name)} {shell_word(str(root))} writes it"
            f" again. {_replaced_advice(store)}")


def _replaced_advice(store: Store) -> str:
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
        if not is_same_disk(db, store, root):
            with suppress(Refused, Busy), transaction(db):  # a seat that only looks, or while another writes
                note_store_location(db, store, root)
        return root
    candidates = marked_elsewhere(store)
    noted = locations.store_location(db, store.id)
    if len(candidates) > 1 and noted is not None:  # two that look alike: only a serial number tells
        candidates = [folder for folder in candidates
                      if numbered_disks(device_of(folder)) & numbered_disks(noted.device)]
    if len(candidates) != 1 or not is_same_disk(db, store, candidates[0]):
        return None
    with suppress(Refused), transaction(db):  # a seat that only looks cannot note it
        stores.move(db, store.id, str(candidates[0]))
        note_store_location(db, store, candidates[0])
    return candidates[0]


def is_same_disk(db: Database, store: Store, root: Path) -> bool:
    """Whether a folder is the one that was noted as the store's root; yes where none was noted."""
    noted, present = locations.store_location(db, store.id), identity(root)
    if noted is None or present is None:
        return present is not None
    if is_other_disk(noted.device, device_of(root)):
        return False
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


def move_store(db: Database, store: Store, folder: Path) -> int:
    """Say where a store lies now; gives how many of its files are to be read there before they count as copies.

    A marker that is gone from the very folder last seen as the store's is written again.

    Raises :class:`Refused` where the folder has not its marker, or is another's.
    """
    root = folder.expanduser().absolute()
    lost = has_lost_marker(db, store, root)
    if not lost and (read_marker(root) != store.marker if not store.marker.startswith(UNMARKED) else not root.is_dir()):
        raise Refused(f"This folder does not have the marker of the store {store.name!r}.",
                      hint=_replaced_advice(store), path=root)
    other = overlapping_store(db, root, but=store.id)
    if other is not None:
        raise Refused(f"This folder and the store {other.name!r} overlap.",
                      hint="A file can belong to one store only.", path=root)
    if lost:
        write_marker(root, store.name, store.marker)
    with transaction(db):
        stores.move(db, store.id, str(root))
        unread = note_store_location(db, store, root)
        events.append(db, "metadata modification", "success", store=store.name, path=str(root),
                      detail=f"the store lies here now; it was at {store.root}")
    return unread


def retire_store(db: Database, store: Store) -> None:
    """Leave a store out from now on, with an event; its open findings are closed, nothing on its disk is touched."""
    with transaction(db):
        stores.forget(db, store.id)
        events.append(db, "metadata modification", "success", store=store.name, path=store.root,
                      detail=f"{store.kind} store retired")


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
    """What to do where something is there in place of an offline store: its folder without the marker, or a clone; ""
    where nothing is."""
    root = Path(store.root)
    if _lacks_marker(store, root):
        return f"{root} is there, but {MARKER} in it is gone. {_marker_advice(store, root)}"
    if is_at(store, root):
        reason = ("is not the folder last seen there" if store.marker.startswith(UNMARKED) else
                  "has its marker, but its disk has another serial number than the one last seen there")
        return f"{root} {reason}: {_clone_advice(store, root)}"
    if others := marked_elsewhere(store):
        return (f"{others[0]} has its marker, but is not the disk last seen at {store.root}:"
                f" {_clone_advice(store, others[0])}")
    return ""


def _clone_advice(store: Store, root: Path) -> str:
    return (f"it may be a clone, or the same disk in another case. If it is this store: catalogue store move"
            f" {shell_word(store.name)} {shell_word(str(root))}. Its files count as copies again once they are read.")


def record_offline(db: Database, store: Store, detail: str, stand_in: str) -> None:
    """Note the finding that a store is offline; ``stand_in``: :func:`stand_in_advice`. Within a transaction."""
    findings.record(db, "offline", detail, store_id=store.id, hint=stand_in or f"Connect it; it was at {store.root}.",
                    cause=findings.STAND_IN if stand_in else "")


@contextmanager
def opened_store(db: Database, store: Store, *, known: FileId | None = None) -> Iterator[OpenFolder]:
    """The store's root held open, its marker read through the handle: what every writer and remover works in.

    ``known`` is what the root was when the work began; it must still be that.

    Raises StoreAway: the store is offline, or another folder stands in its place.
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
    """Whether this very store lies at ``root`` now. An unmarked one is there when its folder holds anything."""
    if store.marker.startswith(UNMARKED):
        return bool(_first_name(root))
    return read_marker(root) == store.marker


def is_in_place(db: Database, store: Store, root: Path) -> bool:
    """As :func:`is_at`, and it lies on no disk that is known by its serial number to be another: a clone, bit for bit,
    has the store's marker too. For an unmarked store it must be the very folder."""
    if store.marker.startswith(UNMARKED):
        return is_at(store, root) and is_same_disk(db, store, root)
    noted = locations.store_location(db, store.id)
    return is_at(store, root) and (noted is None or not is_other_disk(noted.device, device_of(root)))


def _first_name(root: Path) -> str:
    """The name of anything in a folder; "" where nothing is, or it cannot be looked into."""
    try:
        with os.scandir(root) as entries:
            return next((entry.name for entry in entries), "")
    except OSError:
        return ""
