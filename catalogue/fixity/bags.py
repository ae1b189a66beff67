"""Bags after RFC 8493: scans with their checksums and a list of what each one is, to hand over or put away."""

import csv
import hashlib
import io
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

from catalogue import __version__
from catalogue.errors import CatalogueError, InsideStore, NotFound, Refused
from catalogue.fixity.bag_names import distinct, escaped, portable
from catalogue.fixity.copying import copy_verified
from catalogue.fixity.restore import sources
from catalogue.indexing.locating import locate_store, opened_store, store_holding
from catalogue.progress import Cancelled, OfMany, Report, ignore_progress, never_cancelled
from catalogue.records import events, stores
from catalogue.records.copies import Holder
from catalogue.records.database import Database, now, transaction
from catalogue.records.fixity import Baggable
from catalogue.records.paths import display_path, native_path
from catalogue.records.stores import Store
from catalogue.spreadsheets import csv_cell
from catalogue.storage.atomic import NAME_EXISTS, part_folder, write_new
from catalogue.storage.folders import Entry, OpenFolder, open_entry, sync
from catalogue.storage.medium import writing
from catalogue.storage.sidecars import name_beside, sidecars_of

LIST_NAME = "scans.csv"
_COLUMNS = ("file", "sha256", "bytes", "artist", "title", "year", "role", "width", "height", "ppi", "bits", "profile",
            "captured", "original name")


@dataclass(frozen=True, slots=True)
class Bag:
    """A bag that was written: how many scans, how many sidecars of them, and the bytes of both."""

    folder: Path
    files: int
    sidecars: int
    bytes: int


def write_bag(db: Database, target: Path, wanted: Sequence[Baggable], *, description: str = "",
              organisation: str = "", report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Bag:
    """Write scans into a new bag: every file copied, verified and listed; the folder gets its name when all is done.

    Payload names are made portable (see ``bag_names.portable``); ``scans.csv`` keeps the original ones.

    Raises Refused: the folder exists or is in a store. NotFound: a scan has no sound file at hand. NoRoom, Damaged,
    Stopped: as in ``copying``.
    """
    target = target.expanduser().absolute()
    if os.path.lexists(target):
        raise Refused(NAME_EXISTS, hint="Choose a new folder.", path=target)
    store = store_holding(db, target)
    if store is not None:
        raise InsideStore(store.name, target)
    if not wanted:
        raise NotFound("There is no scan to put into the bag.")
    with part_folder(target) as part:
        bag = _fill(db, part, wanted, description, organisation, report, cancelled)
    with transaction(db):
        for item in wanted:
            events.append(db, "transfer", "success", path=item.path, sha256=item.sha256, detail=f"into a bag: {target}")
    return replace(bag, folder=target)


def _fill(db: Database, folder: OpenFolder, wanted: Sequence[Baggable], description: str, organisation: str,
            report: Report, cancelled: Cancelled) -> Bag:
    taken: set[str] = set()
    shared: set[tuple[str, int]] = set()
    listed: list[tuple[str, Baggable]] = []
    payload: list[tuple[str, str]] = []
    total = sum(w.bytes for w in wanted)
    counted = OfMany(report, "Bag", len(wanted), total)
    for item in wanted:
        name = distinct("data/" + portable(item.path), taken)
        with _source(db, item) as source, writing(folder.path), open_entry(folder, name, create=True) as entry:
            copy_verified(source, entry, sha256=item.sha256, report=counted, cancelled=cancelled)
            payload.append((name, item.sha256))
            for sidecar in sidecars_of(source):
                above, _, leaf = name.rpartition("/")
                beside = f"{above}/{name_beside(sidecar.name, source.name, leaf)}"
                if (beside, sidecar.stat().st_ino) in shared:
                    continue  # it belongs to two pictures, and came with the other
                shared.add((beside, sidecar.stat().st_ino))
                beside = distinct(beside, taken)
                with open_entry(folder, beside) as target:
                    payload.append((beside, copy_verified(sidecar, target, sha256=None, report=ignore_progress,
                                                          cancelled=cancelled)))
                    total += target.stat().st_size
        listed.append((name, item))
        counted.next(item.bytes)
    manifest = "".join(f"{sha256}  {escaped(name)}\n" for name, sha256 in payload)
    info = {"Source-Organization": organisation, "External-Description": description, "Bagging-Date": now()[:10],
            "Bag-Size": f"{total / 1e6:.1f} MB", "Payload-Oxum": f"{total}.{len(payload)}",
            "Bag-Software-Agent": f"master-scan-catalogue {__version__}"}
    tags = {"bagit.txt": "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n",
            "bag-info.txt": "".join(f"{key}: {' '.join(value.split())}\n" for key, value in info.items() if value),
            "manifest-sha256.txt": manifest, LIST_NAME: _list_of(listed)}
    tags["tagmanifest-sha256.txt"] = "".join(
        f"{hashlib.sha256(text.encode()).hexdigest()}  {name}\n" for name, text in tags.items())
    for name, text in tags.items():
        write_new(folder.entry(name), text.encode())
    with writing(folder.path):
        sync(folder.fd)
    return Bag(folder.path, len(listed), len(payload) - len(listed), total)


@contextmanager
def _source(db: Database, item: Baggable) -> Iterator[Entry]:
    """A sound file of the scan, its folder held open; one with sidecars if there is one within reach."""
    reachable = [(store, holder) for holder in sources(db, item.sha256, 0)
                 if locate_store(db, store := stores.by_id(db, holder.store_id)) is not None]
    with_sidecars = ((store, holder) for store, holder in reachable if _has_sidecars(db, store, holder))
    for store, holder in (*islice(with_sidecars, 1), *reachable[:1]):
        with opened_store(db, store) as root, open_entry(root, native_path(holder.path)) as entry:
            yield entry
        return
    raise NotFound("No sound file of this scan can be reached.", hint="Connect the store that holds it.",
                   path=display_path(item.path))


def _has_sidecars(db: Database, store: Store, holder: Holder) -> bool:
    with suppress(CatalogueError, OSError), opened_store(db, store) as root, open_entry(
            root, native_path(holder.path)) as entry:
        return entry.exists() and bool(sidecars_of(entry))
    return False


def _list_of(listed: Sequence[tuple[str, Baggable]]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    for name, item in listed:
        writer.writerow(csv_cell(value) for value in (
            name, item.sha256, item.bytes, item.artist, item.title, item.year, item.role, item.width, item.height,
            item.ppi_x or "", item.bits, item.profile_name, item.captured, display_path(item.path)))
    return out.getvalue()
