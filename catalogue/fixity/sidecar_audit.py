"""Auditing sidecars: missing, unreadable, or different from the one beside another copy.

Other programs may edit sidecars, so their bytes are not compared with a digest. Sidecars are read together with their
picture, and compared once all have been read.
"""

import json
from collections import Counter
from datetime import UTC, datetime
from hashlib import sha256
from itertools import groupby
from pathlib import Path

from catalogue.dates import shown_day
from catalogue.records import findings, sidecars
from catalogue.records.database import Database, transaction
from catalogue.records.paths import display_path, escape_path, native_path, stored_mtime
from catalogue.records.sidecars import SeenSidecar, SidecarFault
from catalogue.storage.folders import Entry, open_folder, read_small
from catalogue.storage.sidecars import sidecar_names, sidecars_of
from catalogue.untrusted import SIDECAR_BYTES

_BLANK = b"\0 \r\n\t"
# errors of the parser where the end comes too soon: no elements, unclosed token, partial character, unclosed CDATA
_CUT_SHORT = {3, 5, 6, 20}
_HINTS = {sidecars.MISSING: "Copy it from another store; accept it if it was removed on purpose.",
          sidecars.DAMAGED: "Look at it, remove it if it is of no use, and copy a good one from another store.",
          sidecars.DIFFERS: "Compare them. catalogue copy --update-sidecars replaces the older one, and keeps it."}


def look_beside(picture: Path) -> tuple[SeenSidecar, ...] | None:
    """The sidecars beside a picture, each read whole; None if that is unknown: the folder cannot be read, the
    picture disappeared, or a sidecar was being written."""
    try:
        with open_folder(picture.parent) as folder:
            return read_beside(folder.entry(picture.name))
    except OSError:
        return None


def read_beside(picture: Entry) -> tuple[SeenSidecar, ...] | None:
    """As :func:`look_beside`, in an open folder. Raises ``OSError`` if it cannot be read."""
    names, seen = sidecar_names(picture.name), []
    for sidecar in sidecars_of(picture):
        before = sidecar.stat()
        data = read_small(sidecar, SIDECAR_BYTES)
        after = sidecar.stat()
        if (before.st_size, before.st_mtime_ns) != (after.st_size, after.st_mtime_ns):
            return None
        seen.append(SeenSidecar(names.index(sidecar.name), "" if data is None else sha256(data).hexdigest(),
                                stored_mtime(after.st_mtime_ns), _fault(data, after.st_size)))
    return tuple(seen) if picture.exists() else None


def _fault(data: bytes | None, size: int) -> str:
    """Why a sidecar cannot be read; "" if it can. Entities are not expanded and document types not loaded."""
    if data is None:
        return ("cannot be read" if size <= SIDECAR_BYTES else
                f"is larger than the {SIDECAR_BYTES >> 20} MB a sidecar may have, and was not read")
    if not data.strip(_BLANK):
        return "is empty"
    from xml.parsers import expat

    parser = expat.ParserCreate(namespace_separator=" ")    # which builds nothing
    parser.StartDoctypeDeclHandler = _refuse_doctype
    try:
        parser.Parse(_without_padding(data), True)
    except _DocumentType:
        return "declares a document type, which XMP does not allow"
    except expat.ExpatError as error:
        return f"is {'cut short' if error.code in _CUT_SHORT else 'damaged'} in line {error.lineno}"
    except (ValueError, LookupError) as error:  # an encoding that nobody knows, or bytes that are not of it
        return f"cannot be read: {error}"
    return ""


class _DocumentType(Exception):
    """Entities come with one: nothing after it is read."""


def _refuse_doctype(*_: object) -> None:
    raise _DocumentType


def _without_padding(data: bytes) -> bytes | str:
    """A sidecar without the blanks that programs leave around it and XML does not allow, decoded where it is UTF-16 or
    UTF-32, which XMP may be without a byte order mark."""
    encoding = json.detect_encoding(data)
    if encoding.startswith("utf-8"):
        return data.strip(_BLANK)
    width = 4 if "32" in encoding else 2
    return data[:len(data) - len(data) % width].decode(encoding).strip(_BLANK.decode())


def review_sidecars(db: Database, dates: str) -> dict[int, Counter[str]]:
    """Update the findings of sidecars from what was last seen; returns how many are open, by store and kind."""
    opened: dict[int, Counter[str]] = {}
    with transaction(db):
        known = {(f.store_id, f.path, f.kind): f for kind in sidecars.KINDS for f in findings.list_open(db, kind=kind)}
        for place, group in groupby(sidecars.faults(db), lambda fault: (fault.store_id, fault.path, fault.kind)):
            faults = list(group)
            detail, finding = "; ".join(_detail(fault, dates) for fault in faults), known.pop(place, None)
            if finding is None or finding.detail != detail:
                findings.record(db, place[2], detail, store_id=place[0], path=place[1], file_id=faults[0].file_id,
                                scan_id=faults[0].scan_id, hint=_HINTS[place[2]])
            opened.setdefault(place[0], Counter())[place[2]] += 1
        for finding in known.values():
            findings.resolve_by_id(db, finding.id, "its sidecars were looked at again")
    return opened


def _detail(fault: SidecarFault, dates: str) -> str:
    name = display_path(escape_path(sidecar_names(native_path(fault.path).rpartition("/")[2])[fault.beside]))
    if fault.kind == sidecars.DAMAGED:
        return f"its sidecar {name} {fault.fault}"
    if fault.kind == sidecars.MISSING:
        return f"its sidecar {name} is gone" if fault.other == "" else (
            f"its sidecar {name} is not there, but in {fault.other}")
    day = shown_day(datetime.fromtimestamp(fault.mtime_ns / 1e9, UTC).isoformat(), dates)
    return f"its sidecar {name} differs from the newer one in {fault.other}, of {day}"
