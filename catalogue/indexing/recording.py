"""Recording one reading in the catalogue: file, scan, piece, findings, event."""

import os
from collections.abc import Sequence
from pathlib import Path

from catalogue.indexing import naming
from catalogue.indexing.locations import note_file_location
from catalogue.reading.model import Fault, Reading
from catalogue.records import events, files, findings, fixity, guesses, scans, stale_rows, stated_facts
from catalogue.records.database import Database
from catalogue.records.files import File
from catalogue.records.findings import Finding, Observed
from catalogue.records.paths import display_path, is_text, native_path, stored_mtime
from catalogue.records.scans import Scan
from catalogue.records.stores import Store
from catalogue.settings import Home

# The file may be sound another day, or another second: such a reading says nothing of its content.
_FLEETING = {Fault.VANISHED, Fault.CHANGING}
# Content without a picture is recorded as a file with findings, but not as a scan.
_NO_SCAN = {Fault.EMPTY, Fault.NOT_A_PICTURE}
# Faults of the bytes themselves, wherever they lie, worst first.
_CONTENT_FAULTS = (Fault.TRUNCATED, Fault.DAMAGED, Fault.UNDECODED)
# What must not take the place of a known whole picture: it is what damage looks like.
_LOSSES = {Fault.EMPTY, Fault.NOT_A_PICTURE, Fault.TRUNCATED, Fault.DAMAGED}
# Findings that a full reading of the file opens or closes.
READ_KINDS = (*(fault.value for fault in Fault), "missing", "name not UTF-8", "changed", "moved")
# Findings closed by the file's mere presence, read or not.
_SIGHT_KINDS = ("missing", "moved", "vanished", "changing")
# Findings that any other attempt to read a file supersedes.
_TRIED_KINDS = (*_SIGHT_KINDS, Fault.UNREADABLE.value, Fault.CRASHED.value)
# ``File.failure`` of an edit that an audit met and a person has accepted: what is read next is taken as it is.
ACCEPTED_EDIT = "accepted edit"


def record(db: Database, home: Home, store: Store, path: str, reading: Reading, *,
           role: str = "", piece_id: int | None = None) -> int | None:
    """Record what was read at ``path`` (in stored form); returns the scan's id, if it is one. Within a transaction.

    A file's known content is replaced only by other content that was read in full and is whole. Whatever else a reading
    finds (nothing readable, no bytes, a part of a picture, bytes that differ though size and time do not) is recorded
    as findings and as a failed attempt, which the next index run repeats.

    ``role`` and ``piece_id`` are what a person has said. Which piece else follows from the guess is settled when the
    transaction ends.
    """
    before = files.by_path(db, store.id, path)
    held = scans.by_id(db, before.scan_id) if before is not None and before.scan_id else None
    faults = {fault.kind for fault in reading.faults}
    if faults & _FLEETING or not reading.sha256:
        return _record_failed(db, store, path, reading, before, held)
    if before is not None and held is not None and reading.sha256 != held.sha256:
        same_stat = (reading.size, stored_mtime(reading.mtime_ns)) == (before.size, before.mtime_ns)
        broken_before = scans.content_fault(db, held.id) in (Fault.TRUNCATED, Fault.DAMAGED)
        if same_stat or faults & _NO_SCAN or (faults & _LOSSES and not broken_before):
            return _record_loss(db, store, reading, before, held, silent=same_stat)
    return _record_content(db, home, store, path, reading, before, held, role, piece_id)


def _record_content(db: Database, home: Home, store: Store, path: str, reading: Reading, before: File | None,
                    held: Scan | None, role: str, piece_id: int | None) -> int | None:
    """Record that the file holds this content from now on."""
    faults = {fault.kind for fault in reading.faults}
    scan_id = None
    if not faults & _NO_SCAN:
        scan_id = scans.save_reading(db, reading)
        stated = {name: value for name, value in (("role", role), ("piece_id", piece_id)) if value}
        if stated:
            stated_facts.state_scan(db, reading.sha256, stated)
        _guess_by_rule(db, home, scan_id, path, reading)
        scans.set_content_fault(db, scan_id, next((f.value for f in _CONTENT_FAULTS if f in faults), ""))
    file_id = files.save(db, store.id, path, reading.size, reading.mtime_ns, scan_id, verified=True)
    note_file_location(db, file_id, reading.path)
    fixity.clear_damage(db, file_id)
    edits = findings.open_at(db, store.id, path, ("edited",))
    findings.observe(db, store.id, path, _seen(path, reading, scan_id), file_id=file_id, settled=READ_KINDS,
                     resolution="read again")
    if held is not None and before is not None and held.id != scan_id and not _was_being_copied(
            db, held, before, reading):
        _note_edit(db, store, path, held, before, file_id, scan_id, edits)
    elif held is not None:
        for edit in edits:
            if edit.former_sha256 in ("", reading.sha256):  # "": an audit saw other bytes; those on record are back
                findings.resolve_by_id(db, edit.id, "it has the recorded content again")
    if scan_id is not None and (before is None or before.scan_id != scan_id):
        _note_move(db, store, path, scan_id)
    events.append(db, "message digest calculation", "success", store=store.name, path=path, sha256=reading.sha256,
                  detail="; ".join(sorted(faults)))
    return scan_id


def _record_failed(db: Database, store: Store, path: str, reading: Reading, before: File | None,
                   held: Scan | None) -> int | None:
    """Record a reading without a valid digest: the known content is kept, and the next run reads the file again."""
    fleeting = any(fault.kind in _FLEETING for fault in reading.faults)
    file_id = before.id if before is not None else None
    if before is None and not fleeting:
        file_id = files.save(db, store.id, path, reading.size, reading.mtime_ns, None, verified=False)
    failure = next((fault.kind.value for fault in reading.faults), Fault.UNREADABLE.value)
    if file_id is not None:
        files.note_failure(db, file_id, failure, present=None if fleeting else True)
    seen = _seen(path, reading, held.id if held else None, _last_known(before, held))
    findings.observe(db, store.id, path, seen, file_id=file_id,
                     settled=("vanished", "changing") if fleeting else _TRIED_KINDS, resolution="tried again")
    if not fleeting:
        events.append(db, "message digest calculation", "fail", store=store.name, path=path,
                      sha256=held.sha256 if held else "", detail=failure)
    return held.id if held else None


def _record_loss(db: Database, store: Store, reading: Reading, before: File, held: Scan, *, silent: bool) -> int | None:
    """The bytes are not those on record, and no whole picture either (or changed in silence): the record stays."""
    files.note_failure(db, before.id, "changed" if silent else next(
        fault.kind.value for fault in reading.faults if fault.kind in _LOSSES), present=True)
    if silent:
        audited = next(iter(findings.open_at(db, store.id, before.path, kinds=("changed",))), None)
        seen = [Observed("changed", audited.detail, audited.hint, audited.offset, held.id) if audited is not None else
                Observed("changed", "its content has changed though its size and time have not",
                         "Silent damage. Audit the store to see where, and restore it from a good copy.",
                         scan_id=held.id)]
    else:
        seen = [observed for observed in _seen(before.path, reading, held.id, _last_known(before, held))
                if observed.kind in _LOSSES or observed.kind == "name not UTF-8"]
    findings.observe(db, store.id, before.path, seen, file_id=before.id, settled=_TRIED_KINDS, resolution="read again")
    events.append(db, "fixity check", "fail", store=store.name, path=before.path, sha256=held.sha256,
                  detail=f"{seen[0].kind}: met while reading")
    return held.id


def _last_known(before: File | None, held: Scan | None) -> str:
    if before is None or held is None:
        return ""
    return f"; last known content {held.sha256[:12]}…, read {before.read_at[:10]}"


def _guess_by_rule(db: Database, home: Home, scan_id: int, path: str, reading: Reading) -> None:
    """Keep what a place rule of the shop says of a new scan; what fits none is guessed when the run has seen all."""
    path_names = naming.names_in_path(path, home.settings.place_rules)
    if path_names.whole and guesses.of_scan(db, scan_id) is None:
        guesses.save(db, scan_id, naming.guess_read(path_names, path, reading.format, naming.pixels_of(reading.picture),
                                                    reading.metadata))


def _seen(path: str, reading: Reading, scan_id: int | None, known: str = "") -> list[Observed]:
    """A reading's faults as findings; ``known`` describes the file's last known content."""
    seen = [Observed(fault.kind.value, fault.detail + known, fault.hint or ("Restore it from a copy." if known else ""),
                     fault.offset, scan_id, cause=fault.cause) for fault in reading.faults]
    if not is_text(path):
        seen.append(Observed("name not UTF-8", "the name contains bytes that are not text",
                             "Rename it; each such byte is shown as �.", scan_id=scan_id))
    return seen


def _was_being_copied(db: Database, held: Scan, before: File, reading: Reading) -> bool:
    """Whether a file that was cut short has grown into a whole picture: it was found while it was still being
    copied."""
    whole = not {fault.kind for fault in reading.faults} & {*_CONTENT_FAULTS, *_NO_SCAN}
    return whole and scans.content_fault(db, held.id) == Fault.TRUNCATED and reading.size > before.size


def _note_edit(db: Database, store: Store, path: str, held: Scan, before: File, file_id: int, scan_id: int | None,
               edits: Sequence[Finding]) -> None:
    """Record that the content changed. Of several edits in a row that nobody accepted, the content before the first
    counts."""
    if before.failure == ACCEPTED_EDIT:
        return
    former = next((e.former_sha256 for e in edits if e.former_sha256), held.sha256)
    new = scans.by_id(db, scan_id) if scan_id is not None else None
    for edit in edits[1:]:
        findings.resolve_by_id(db, edit.id, "edited again")
    if new is not None and new.sha256 == former:
        for edit in edits[:1]:
            findings.resolve_by_id(db, edit.id, "it has its earlier content again")
    else:
        for edit in edits[:1]:
            findings.transfer(db, edit.id, scan_id, former)
        findings.record(db, "edited", f"was {former[:12]}…; its content and its time have changed", store_id=store.id,
                        path=path, file_id=file_id, scan_id=scan_id, former_sha256=former,
                        hint="If the change was not intended, restore it from a copy.")
    if held.piece_id is not None:
        stale_rows.mark_stale(db, "current", [held.piece_id])


def _note_move(db: Database, store: Store, path: str, scan_id: int) -> None:
    """Record that content new at ``path`` and missing from another path of the store has moved."""
    twin = files.missing_twin(db, store.id, scan_id, path)
    if twin is None:
        return
    scan = scans.by_id(db, scan_id)
    findings.resolve(db, f"moved to {display_path(path)}", store_id=store.id, path=twin.path)
    files.forget(db, twin.id)
    events.append(db, "filename change", "success", store=store.name, path=path, sha256=scan.sha256 if scan else "",
                  detail=f"was {display_path(twin.path)}")


def real_path(root: Path, path: str) -> str:
    """A stored path in the system's form."""
    return os.path.join(root, native_path(path))  # noqa: PTH118 - Path would normalise what must stay exact
