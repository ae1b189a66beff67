"""Writing one reading into the catalogue: file, scan, piece, findings, event, preview."""

import os
import secrets
from pathlib import Path

from catalogue.indexing.naming import Place, place_of, role_of
from catalogue.reading.model import Fault, Reading
from catalogue.records import events, files, findings, pieces, scans
from catalogue.records.database import Database
from catalogue.records.files import File
from catalogue.records.paths import is_text, native, shown
from catalogue.records.stores import Store
from catalogue.settings import Home

# The file may be sound another day, or another second: no row is made from such a reading.
_FLEETING = {Fault.VANISHED, Fault.CHANGING}
# Content that shows no picture is recorded as a file with findings, but is no scan.
_NO_SCAN = {Fault.EMPTY, Fault.NOT_A_PICTURE}
# Findings that a fresh reading of the same path settles one way or the other.
READ_KINDS = (*(fault.value for fault in Fault), "missing", "name not UTF-8")


def keep_preview(home: Home, reading: Reading) -> None:
    """Store the preview beside the catalogue, whole or not at all."""
    if reading.preview is None or not reading.sha256:
        return
    place = home.preview(reading.sha256)
    if place.exists():
        return
    place.parent.mkdir(parents=True, exist_ok=True)
    part = _unfinished(home) / f"{reading.sha256}.{secrets.token_hex(4)}"
    part.parent.mkdir(exist_ok=True)
    part.write_bytes(reading.preview)
    part.replace(place)


def sweep_previews(home: Home) -> None:
    """Remove what a killed run left half written. Call under the lock of index runs."""
    if _unfinished(home).is_dir():
        for part in _unfinished(home).iterdir():
            part.unlink()


def _unfinished(home: Home) -> Path:
    return home.previews / "unfinished"


def record(db: Database, home: Home, store: Store, path: str, reading: Reading, *,
           role: str = "", piece_id: int | None = None) -> int | None:
    """Record what was read at ``path`` (as kept); gives the piece it belongs to, if any. Within a transaction.

    ``role`` and ``piece_id``, where a person has said them, are taken instead of what the path and the tags suggest.
    """
    faults = {fault.kind for fault in reading.faults}
    if faults & _FLEETING:
        _note_faults(db, store, path, reading, None, None)
        return None
    before = files.by_path(db, store.id, path)
    if before is not None and _damaged_silently(db, store, before, reading):
        return None
    scan_id = None
    if reading.sha256 and not faults & _NO_SCAN:
        held = scans.by_digest(db, reading.sha256)
        piece_id = piece_id or (held.piece_id if held else None) or piece_for(db, home, path, reading)
        role = role or role_of(path, reading.format, reading.picture)
        scan_id = scans.save(db, reading, role=role, piece_id=piece_id)
        scan = scans.by_id(db, scan_id)
        piece_id = scan.piece_id if scan else None
    file_id = files.save(db, store.id, path, reading.size, reading.mtime_ns, scan_id,
                         verified=bool(reading.sha256))
    findings.resolve(db, "read again", store_id=store.id, path=path, kinds=READ_KINDS)
    _note_faults(db, store, path, reading, file_id, scan_id)
    if before and before.scan_id and before.scan_id != scan_id:
        _note_edit(db, store, path, before.scan_id, file_id, scan_id)
    if scan_id is not None:
        _note_move(db, store, path, scan_id)
    events.append(db, "message digest calculation", "success" if reading.sha256 else "fail", store=store.name,
                  path=path, sha256=reading.sha256, detail="; ".join(sorted(faults)))
    return piece_id


def piece_for(db: Database, home: Home, path: str, reading: Reading) -> int | None:
    """The piece by metadata, else by the shop's place rules; None when either name is unknown."""
    place: Place = place_of(path, home.settings.place_rules)
    artist = reading.metadata.creator.strip() or place.artist
    title = reading.metadata.title.strip() or place.piece
    if not artist or not title:
        return None
    artist_id = (pieces.artist_by_surname(db, shown(artist)) or pieces.artist_called(db, shown(artist))).id
    return pieces.piece_called(db, artist_id, shown(title), year=place.year,
                               inventory_number=reading.metadata.inventory_number or place.number)


def _note_faults(db: Database, store: Store, path: str, reading: Reading, file_id: int | None,
                 scan_id: int | None) -> None:
    for fault in reading.faults:
        findings.record(db, fault.kind.value, fault.detail, store_id=store.id, path=path, file_id=file_id,
                        scan_id=scan_id, hint=fault.hint, offset=fault.offset)
    if not is_text(path):
        findings.record(db, "name not UTF-8", "the name holds bytes that are no text", store_id=store.id, path=path,
                        file_id=file_id, scan_id=scan_id, hint="Rename it; shown with a sign for each such byte.")


def _damaged_silently(db: Database, store: Store, before: File, reading: Reading) -> bool:
    """Whether the bytes changed though size and time did not; then the file stays what it was, with a finding."""
    scan = scans.by_id(db, before.scan_id) if before.scan_id else None
    if scan is None or not reading.sha256 or reading.sha256 == scan.sha256 or (
            (reading.size, reading.mtime_ns) != (before.size, before.mtime_ns)):
        return False
    findings.record(db, "changed", "its bytes differ though its size and time do not", store_id=store.id,
                    path=before.path, file_id=before.id, scan_id=before.scan_id,
                    hint="Silent damage. Audit the store to see where, and restore it from a good copy.")
    events.append(db, "fixity check", "fail", store=store.name, path=before.path, sha256=scan.sha256,
                  detail="changed: met while reading all anew")
    return True


def _note_edit(db: Database, store: Store, path: str, old_scan: int, file_id: int, scan_id: int | None) -> None:
    old = scans.by_id(db, old_scan)
    if old is None:
        return
    findings.record(db, "edited", f"was {old.sha256[:12]}…, its bytes and its time have changed", store_id=store.id,
                    path=path, file_id=file_id, scan_id=scan_id,
                    hint="If nobody meant to change it, restore it from a copy.")
    if old.piece_id is not None:
        pieces.propose_current(db, old.piece_id)


def _note_move(db: Database, store: Store, path: str, scan_id: int) -> None:
    twin = files.missing_twin(db, store.id, scan_id, path)
    if twin is None:
        return
    scan = scans.by_id(db, scan_id)
    findings.resolve(db, f"moved to {shown(path)}", store_id=store.id, path=twin.path)
    files.forget(db, twin.id)
    events.append(db, "filename change", "success", store=store.name, path=path, sha256=scan.sha256 if scan else "",
                  detail=f"was {shown(twin.path)}")


def real_path(root: Path, path: str) -> str:
    """A kept path as the system wants it."""
    return os.path.join(root, native(path))  # noqa: PTH118 - Path would normalise what must stay exact
