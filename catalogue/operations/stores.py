"""Stores: add one, record where it is now, retire one."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import NotFound
from catalogue.fixity import copies
from catalogue.indexing import locating
from catalogue.indexing import stores as store_service
from catalogue.operations.wording import counted, masters_lacking
from catalogue.records import findings, stores, upkeep_lists
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Holding, Store
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class StoreAdded:
    """The new store; ``lacking``: masters without enough copies now, by kind of finding."""

    store: Store
    lacking: dict[str, int]


@dataclass(frozen=True, slots=True)
class StoreMoved:
    """The store at its new place, and where it was. ``unread``: how many of its files are to be read there before they
    count as copies; ``lacking``: masters without enough copies until then, by kind of finding."""

    store: Store
    former_root: str
    unread: int
    lacking: dict[str, int]


@dataclass(frozen=True, slots=True)
class StoreRetired:
    """A store left out from now on, how many of its findings were closed, and which masters lack copies without it."""

    store: Store
    findings_closed: int
    lacking: dict[str, int]


def selected_stores(db: Database, names: Sequence[str] = ()) -> list[Store]:
    """The stores of these names, or all in use. Raises NotFound for an unknown name, and if there is no store."""
    selected = [stores.by_name(db, name) for name in names] or stores.listed(db)
    if not selected:
        raise NotFound("No store yet.", hint="Add one: catalogue store add NAME FOLDER.")
    return selected


def add_store(db: Database, home: Home, name: str, folder: Path, kind: str, *, consent: bool,
              one_reader: bool = False) -> StoreAdded:
    """Take a folder as a store; with ``consent`` its marker is written. Copies are counted again.

    Raises: as :func:`catalogue.indexing.stores.add_store`.
    """
    store = store_service.add_store(db, name, folder, kind, consent=consent)
    if one_reader:
        with transaction(db):
            stores.set_one_reader(db, store.id, True)
    return StoreAdded(stores.by_id(db, store.id), copies.review(db, home.settings))


def move_store(db: Database, home: Home, name: str, folder: Path) -> StoreMoved:
    """Say that a store is at ``folder`` now; it is no longer reported as offline. Copies are counted again.

    Raises Refused, NotFound.
    """
    store = stores.by_name(db, name)
    with transaction(db):
        unread = store_service.move_store(db, store, folder)
        findings.resolve(db, "it was moved", store_id=store.id, path="", kinds=("offline",))
    return StoreMoved(stores.by_id(db, store.id), store.root, unread, copies.review(db, home.settings))


def retire_store(db: Database, home: Home, name: str) -> StoreRetired:
    """Leave a store out: logged, its findings closed, copies counted without it. Nothing on its disk is touched."""
    store = stores.by_name(db, name)
    with transaction(db):
        open_before = upkeep_lists.findings_of_store(db, store.id)
        store_service.retire_store(db, store)
        lacking = copies.review(db, home.settings)
    return StoreRetired(store, open_before, lacking)


def unread_files(db: Database, store: Store, root: Path | None, holding: Holding) -> int:
    """How many files of a store with ``holding`` count as no copies until they are read at ``root``, since it is on
    a different disk from when they were read."""
    if root is None:
        return 0
    return holding.unread if locating.is_same_disk(db, store, root) else holding.files


def stand_in(store: Store, root: Path | None) -> str:
    """What to do about whatever is in an offline store's place; "" if nothing is, or the store is at ``root``."""
    return locating.stand_in_advice(store) if root is None else ""


def summarize_unread(count: int) -> str:
    """What :func:`unread_files` counted."""
    return f"on a different disk from before: {counted(count, 'file')} there will count as copies once read"


def summarize(result: StoreAdded | StoreMoved | StoreRetired) -> list[str]:
    """What was done with which store, and which copies masters lack since."""
    match result:
        case StoreAdded(store, _):
            return [f"Added the {store.kind} store {store.name} at {store.root}."]
        case StoreMoved(store, former, unread, lacking):
            lines = [f"The store {store.name} is {'still' if former == store.root else 'now'} at {store.root}"
                     + ("; its marker is there." if former == store.root else f"; it was at {former}.")]
            if unread:
                lines += [f"{counted(unread, 'file')} there {'has' if unread == 1 else 'have'} to be read again before"
                          f" {'it counts as a copy' if unread == 1 else 'they count as copies'}.",
                          *masters_lacking(lacking)]
            return lines
        case StoreRetired(store, closed, lacking):
            ended = f" {counted(closed, 'finding')} of it closed." if closed else ""
            return [f"{store.name} is retired. Its files are untouched.{ended}", *masters_lacking(lacking)]
