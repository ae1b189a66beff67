"""Descriptions written beside the scans: XMP sidecars by default, a new file when asked, never the master itself."""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError, Refused
from catalogue.fixity.copying import write_atomically
from catalogue.indexing.stores import where
from catalogue.intake.embedding import described_copy
from catalogue.intake.packets import Description, packet
from catalogue.progress import Cancelled, Report, never, unheard
from catalogue.reading.kinds import looks_like_picture
from catalogue.records import events, files, pieces, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.files import Located
from catalogue.records.paths import native, shown
from catalogue.untrusted import SIDECAR_BYTES, read_regular


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
    """``name.xmp``; or ``name.tif.xmp`` where that is there, or another picture in the folder has the same stem."""
    full = picture.with_name(picture.name + ".xmp")
    if os.path.lexists(full):
        return full
    try:
        twins = [entry.name for entry in picture.parent.iterdir()
                 if entry.stem == picture.stem and looks_like_picture(entry.name)]
    except OSError:
        twins = [picture.name]
    return full if len(twins) > 1 else picture.with_suffix(".xmp")


def write_sidecars(db: Database, targets: Sequence[tuple[Located, str]], description: Description) -> list[Written]:
    """A sidecar beside every file, our fields set, what others wrote in it kept. The pictures are not opened.

    A store that is offline, a read-only one, or a sidecar that cannot be understood is told and left.
    """
    written = []
    for file, sha256 in targets:
        store = stores.by_id(db, file.store_id)
        root = where(db, store)
        if root is None:
            written.append(Written(shown(file.path), "", f"the store {store.name} is offline"))
            continue
        picture = root / native(file.path)
        place = sidecar_path(picture)
        try:
            if not picture.is_file():
                raise Refused("The picture is not there.", hint="Index the store.", path=picture)
            existing = read_regular(place, SIDECAR_BYTES) if os.path.lexists(place) else b""
            write_atomically(place, packet(description, existing))
        except OSError as error:
            written.append(Written(shown(file.path), str(place), f"the sidecar cannot be read: {error.strerror}"))
            continue
        except CatalogueError as error:
            written.append(Written(shown(file.path), str(place), str(error)))
            continue
        with transaction(db):
            events.append(db, "metadata modification", "success", store=store.name, path=file.path, sha256=sha256,
                          detail=f"sidecar {place.name} written; the file itself is untouched")
        written.append(Written(shown(file.path), str(place)))
    return written


def write_described_copies(db: Database, targets: Sequence[tuple[Located, str]], description: Description,
                           folder: Path, *, report: Report = unheard, cancelled: Cancelled = never) -> list[Written]:
    """For every scan a copy in ``folder`` with the description inside, its pixels proven equal.

    Raises:
        Refused: the folder lies in a store, where a second master would only confuse.
    """
    for store in stores.listed(db):
        if folder.absolute().is_relative_to(store.root):
            raise Refused(f"This folder lies in the store {store.name!r}.", hint="Choose one outside.", path=folder)
    written: list[Written] = []
    done: set[str] = set()
    for file, sha256 in targets:
        store = stores.by_id(db, file.store_id)
        root = where(db, store)
        if root is None or sha256 in done:
            continue
        source = root / native(file.path)
        target = folder / source.name
        try:
            digest = described_copy(source, target, description, sha256=sha256, report=report, cancelled=cancelled)
        except CatalogueError as error:
            written.append(Written(shown(file.path), str(target), str(error)))
            continue
        done.add(sha256)
        with transaction(db):
            events.append(db, "metadata modification", "success", store=store.name, path=file.path, sha256=sha256,
                          detail=f"described copy {target.name}, SHA-256 {digest}, pixels equal; the file is untouched")
        written.append(Written(shown(file.path), str(target)))
    return written
