"""Writing descriptions beside the scans: XMP sidecars by default, a new file on request, never the master itself."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError, InsideStore, Refused
from catalogue.indexing.locating import locate_store, opened_store, store_holding
from catalogue.intake.embedding import described_copy
from catalogue.intake.packets import Description, packet
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.reading.kinds import looks_like_picture
from catalogue.records import events, files, pieces, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.files import Located
from catalogue.records.paths import display_path, native_path
from catalogue.storage.atomic import write_atomically
from catalogue.storage.folders import Entry, open_entry, read_small
from catalogue.storage.identity import is_regular
from catalogue.storage.sidecars import sidecar_names
from catalogue.untrusted import SIDECAR_BYTES


@dataclass(frozen=True, slots=True)
class Written:
    """One file written: a sidecar, or a described copy. ``trouble`` says why not."""

    of: str
    path: str
    trouble: str = ""


def description_of(db: Database, piece_id: int, rights: str = "") -> Description:
    """What the catalogue knows of a piece.

    Raises:
        CatalogueError: no such piece.
    """
    piece = pieces.by_id(db, piece_id)
    if piece is None:
        raise CatalogueError(f"There is no piece number {piece_id}.")
    size = ""
    if piece.width_mm and piece.height_mm:
        size = f"{piece.width_mm:g} × {piece.height_mm:g} mm"
    return Description(piece.title, piece.artist, rights, piece.year, piece.inventory_number, size)


def files_to_describe(db: Database, piece_id: int, roles: Sequence[str] = ("master",)) -> list[tuple[Located, str]]:
    """A piece's present files in these roles, with their digests, in every store in use."""
    wanted = {scan.id: scan.sha256 for scan in scans.of_piece(db, piece_id) if scan.role in roles}
    return [(file, wanted[scan_id]) for scan_id, file in files.of_piece(db, piece_id)
            if scan_id in wanted and file.state == "present"]


def sidecar_path(picture: Path) -> Path:
    """The sidecar that is there, else ``name.xmp``; or ``name.tif.xmp`` where another picture has the same stem."""
    full, _, plain, _ = names = [picture.with_name(name) for name in sidecar_names(picture.name)]
    present = next((name for name in names if os.path.lexists(name)), None)
    if present in names[:2]:
        return present
    try:
        twins = [entry.name for entry in picture.parent.iterdir()
                 if entry.stem == picture.stem and looks_like_picture(entry.name)]
    except OSError:
        twins = [picture.name]
    return full if len(twins) > 1 else present or plain


def write_sidecars(db: Database, targets: Sequence[tuple[Located, str]], description: Description) -> list[Written]:
    """A sidecar beside every file, our fields set, what others wrote in it kept. The pictures are not opened.

    A store that is offline, a read-only one, or a sidecar that cannot be understood is told and left.
    """
    written = []
    for file, sha256 in targets:
        store = stores.by_id(db, file.store_id)
        root = locate_store(db, store)
        if root is None:
            written.append(Written(display_path(file.path), "", f"the store {store.name} is offline"))
            continue
        sidecar = sidecar_path(root / native_path(file.path))
        try:
            with opened_store(db, store) as held, open_entry(held, native_path(file.path)) as picture:
                _write_sidecar(picture, picture.folder.entry(sidecar.name), description)
        except (CatalogueError, OSError) as error:
            written.append(Written(display_path(file.path), str(sidecar), str(error)))
            continue
        with transaction(db):
            events.append(db, "metadata modification", "success", store=store.name, path=file.path, sha256=sha256,
                          detail=f"sidecar {sidecar.name} written; the file itself is untouched")
        written.append(Written(display_path(file.path), str(sidecar)))
    return written


def _write_sidecar(picture: Entry, sidecar: Entry, description: Description) -> None:
    if not picture.exists() or not is_regular(picture.stat()):
        raise Refused("The picture is not there.", hint="Index the store.", path=picture.path)
    existing = b""
    if sidecar.exists():
        present = read_small(sidecar, SIDECAR_BYTES)
        if present is None:
            raise Refused("The sidecar there cannot be read: it is a link, not a file, or too large. It is left as"
                          " it is.", path=sidecar.path)
        existing = present
    write_atomically(sidecar, packet(description, existing))


def write_described_copies(db: Database, targets: Sequence[tuple[Located, str]], description: Description,
                           folder: Path, *, report: Report = ignore_progress,
                           cancelled: Cancelled = never_cancelled) -> list[Written]:
    """For every scan a copy in ``folder`` with the description inside, its pixels proven equal.

    Raises:
        Refused: the folder lies in a store, where a second master would only confuse.
    """
    holding = store_holding(db, folder.expanduser().absolute())
    if holding is not None:
        raise InsideStore(holding.name, folder)
    written: list[Written] = []
    described: set[str] = set()
    for file, sha256 in targets:
        store = stores.by_id(db, file.store_id)
        root = locate_store(db, store)
        if root is None or sha256 in described:
            continue
        source = root / native_path(file.path)
        target = folder / source.name
        try:
            digest = described_copy(source, target, description, sha256=sha256, report=report, cancelled=cancelled)
        except CatalogueError as error:
            written.append(Written(display_path(file.path), str(target), str(error)))
            continue
        described.add(sha256)
        with transaction(db):
            events.append(db, "metadata modification", "success", store=store.name, path=file.path, sha256=sha256,
                          detail=f"described copy {target.name}, SHA-256 {digest}, pixels equal; the file is untouched")
        written.append(Written(display_path(file.path), str(target)))
    return written
