"""From a check to a finding: what happened to the file, where it is damaged, and what is recorded."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from unicodedata import normalize

from catalogue.errors import CatalogueError
from catalogue.fixity import damage_regions
from catalogue.fixity.checking import Checked, Expected, Result, check
from catalogue.fixity.copying import Stopped
from catalogue.fixity.damage_regions import Damage
from catalogue.fixity.sidecar_audit import look_beside
from catalogue.indexing.crawl import crawl
from catalogue.indexing.locations import note_file_location
from catalogue.indexing.recording import real_path
from catalogue.progress import Cancelled, Progress, Report
from catalogue.reading.model import ACCESS_DENIED
from catalogue.records import events, files, findings, fixity, pieces, scans, sidecars, stores
from catalogue.records.copies import DOUBTS
from catalogue.records.database import Database, now, transaction
from catalogue.records.events import Event
from catalogue.records.findings import Observed
from catalogue.records.fixity import Due
from catalogue.records.paths import UnusablePath, display_path, escape_path, native_path, stored_mtime
from catalogue.records.stores import Store
from catalogue.settings import Home

# Findings disproved by a check that finds the bytes on record: all findings about its bytes. An edit that was read in
# is not among them (``_settled``): that one is for a person to accept, or for a restore.
SETTLED = DOUBTS
# Findings disproved by the file's mere presence, whatever its bytes.
SIGHT = ("missing", "moved", "vanished", "changing")
_HINTS = {
    Result.CHANGED: "Silent damage. Restore it from a good copy, and keep an eye on this disk.",
    Result.EDITED: "If the change was not intended, restore it from a good copy; otherwise index the store.",
    Result.TRUNCATED: "Restore it from a good copy.",
    Result.EMPTY: "Restore it from a good copy.",
    Result.MISSING: "Look for it, or restore it from a good copy.",
    Result.UNREADABLE: "Restore it from a good copy, and replace this disk soon.",
    Result.CHANGING: "Audit it again when nothing is writing to it.",
}
_DENIED = "Check its permissions, then audit it again."
# Events that say of one file whether its bytes were those on record.
_LOOKS = ("fixity check", "message digest calculation", "recovery", "replication")


@dataclass(frozen=True, slots=True)
class Verdict:
    """A check with its analysis."""

    due: Due
    checked: Checked
    result: Result
    detail: str
    damage: Damage | None = None


def link_on_the_way(root: Path, path: str) -> str:
    """The first part of a stored path that is a link below its root, in stored form; "" if none is."""
    parts = native_path(path).split("/")
    for depth in range(1, len(parts) + 1):
        part = "/".join(parts[:depth])
        if os.path.islink(root / part):  # noqa: PTH114 - pathlib's raises where a folder cannot be entered
            return escape_path(part)
    return ""


def check_below(root: Path, path: str, expected: Expected, *, on_read: Callable[[int], None],
                cancelled: Cancelled) -> Checked:
    """:func:`check` of a stored path below a root, and of what is beside it. A link, which index runs never follow,
    counts as missing.

    Raises Stopped.
    """
    try:
        absolute = real_path(root, path)
    except UnusablePath as error:
        return Checked(Result.MISSING, detail=error.message)
    if link := link_on_the_way(root, path):
        return Checked(Result.MISSING, detail=f"{display_path(link)} is a link, and links are not followed")
    checked = check(absolute, expected, on_read=on_read, cancelled=cancelled)
    return checked if checked.result is Result.MISSING else replace(checked, sidecars=look_beside(Path(absolute)))


def judge(db: Database, root: Path, due: Due, checked: Checked, cancelled: Cancelled) -> Verdict:
    """Distinguish truncated from edited, and locate damage in the picture. Reads the file again if bytes differ."""
    verdict = Verdict(due, checked, checked.result, checked.detail)
    if checked.result not in (Result.CHANGED, Result.TRUNCATED, Result.UNREADABLE):
        return verdict if checked.detail else replace(verdict, detail=_plain(checked))
    segments = scans.segments(db, due.scan_id)
    try:
        bad = damage_regions.bad_stretches(real_path(root, due.path), segments, cancelled)
    except (OSError, Stopped):
        return verdict if checked.detail else replace(verdict, detail=_plain(checked))
    if checked.result is Result.TRUNCATED and not damage_regions.cut_cleanly(bad, segments, checked.size) \
            and stored_mtime(checked.mtime_ns) != due.mtime_ns:
        return replace(verdict, result=Result.EDITED)
    damage = damage_regions.locate_damage(bad, segments, scans.picture(db, due.scan_id))
    return replace(verdict, damage=damage, detail=" ".join(filter(None, (verdict.detail or _plain(checked),
                                                                         _described(damage)))))


def _plain(checked: Checked) -> str:
    if checked.result is Result.CHANGED:
        return "its content has changed though its size and time have not"
    return "its content and its time have changed" if checked.result is Result.EDITED else ""


def _described(damage: Damage | None) -> str:
    if damage is None:
        return ""
    places = "one place" if damage.stretches == 1 else f"{damage.stretches} places"
    words = f"({damage.bytes:,} bytes in {places}, from byte {damage.offset:,}"
    if damage.regions:
        first = damage.regions[0]
        words += (f"; {damage.share:.1%} of the picture, starting {first.top:.0%} from the top"
                  f" and {first.left:.0%} from the left")
    if damage.outside_picture:
        words += ("; also outside the picture" if damage.regions else
                  "; outside the picture: tags, profile, thumbnail or further pages")
    elif not damage.regions:
        words += "; where in the picture cannot be told"
    return words + ")"


def record(db: Database, store: Store, root: Path, verdict: Verdict) -> None:
    """Put one verdict on record: file row, findings, damage, event. Within a transaction. ``root``: where it was read.

    The content on record stays, whatever was found; what was not found is noted as a failed look, so that the next
    index run reads the file again.
    """
    due, checked, result = verdict.due, verdict.checked, verdict.result
    if checked.sidecars is not None:
        sidecars.note(db, due.id, checked.sidecars)
    if result is Result.CHANGING:
        files.note_failure(db, due.id, result.value)
        _observe(db, store, verdict, None, ())
        return
    if result is Result.INTACT:
        files.mark_checked(db, due.id, now())
        note_file_location(db, due.id, real_path(root, due.path))
        if stored_mtime(checked.mtime_ns) != due.mtime_ns:
            fixity.touched(db, due.id, checked.mtime_ns)
        fixity.clear_damage(db, due.id)
        _close_settled(db, store, due)
        _follow(db, due)
        events.append(db, "fixity check", "success", store=store.name, path=due.path, sha256=due.sha256)
        return
    if result is Result.MISSING:
        files.mark_missing(db, [due.id])
        settled: tuple[str, ...] = ("vanished", "changing")
    else:
        files.note_failure(db, due.id, result.value, present=True)
        settled = SIGHT if result is Result.UNREADABLE else (*SIGHT, "unreadable")
        if verdict.damage is None:
            fixity.clear_damage(db, due.id)
        else:
            fixity.save_damage(db, due.id, damage_regions.as_text(verdict.damage))
    offset = checked.offset if checked.offset is not None else (verdict.damage.offset if verdict.damage else None)
    _observe(db, store, verdict, offset, settled)
    _follow(db, due)
    events.append(db, "fixity check", "fail", store=store.name, path=due.path, sha256=due.sha256,
                  detail=f"{result.value}: {verdict.detail}")


def distrust(db: Database, file_id: int, store: str, path: str, error: CatalogueError) -> None:
    """Count a file that failed when its bytes were needed as no copy until an index run or audit, which takes it
    first, has read it."""
    with transaction(db):
        fixity.set_turn(db, file_id, 0)
        files.note_failure(db, file_id, "failed as a source")
        events.append(db, "fixity check", "fail", store=store, path=path, detail=f"read as a copy: {error.message}")


def distrust_failed(db: Database, known: Sequence[Event]) -> int:
    """Have files that the last of these events found damaged, lost or unreadable count as no copies until they are
    read again, and be audited first of all; returns how many. Within a transaction."""
    ids = {store.name: store.id for store in stores.listed(db)}
    failed = {(event.store, event.path): event.outcome == "fail" for event in sorted(known, key=lambda e: e.id)
              if event.path and event.type in _LOOKS}
    count = 0
    for (store, path), failing in failed.items():
        file = files.by_path(db, ids[store], path) if failing and store in ids else None
        if file is not None and file.scan_id is not None:
            files.note_failure(db, file.id, "failed a check since the backup")
            fixity.set_turn(db, file.id, 0)
            count += 1
    return count


def _observe(db: Database, store: Store, verdict: Verdict, offset: int | None, settled: tuple[str, ...]) -> None:
    due, kind = verdict.due, verdict.result
    hint, cause = (_DENIED, ACCESS_DENIED) if verdict.checked.denied else (_HINTS[kind], "")
    seen = [Observed(kind.value, verdict.detail, hint, offset, due.scan_id, cause=cause)]
    if kind is Result.EDITED and any(f.former_sha256 for f in findings.open_at(db, store.id, due.path, ("edited",))):
        seen = []  # edited again since: the edit that was read in and is not accepted says all there is to say
    if kind is Result.MISSING and findings.open_at(db, store.id, due.path, ("moved",)):
        seen = []  # find_moved looks whether that still holds
    findings.observe(db, store.id, due.path, seen, file_id=due.id, settled=settled, resolution=f"found {kind.value}")


def _close_settled(db: Database, store: Store, due: Due) -> None:
    """Close findings disproved by a check that agrees, but not those about the recorded bytes themselves."""
    of_content = scans.content_fault(db, due.scan_id)
    for finding in findings.open_at(db, store.id, due.path):
        if finding.kind in SETTLED and finding.kind != of_content and not finding.former_sha256:
            findings.resolve_by_id(db, finding.id, "its bytes agree with its checksum")


def _follow(db: Database, due: Due) -> None:
    """Propose the current master again, since it depends on which files are present and sound."""
    scan = scans.by_id(db, due.scan_id)
    if scan is not None and scan.piece_id is not None:
        pieces.propose_current(db, scan.piece_id)


def find_moved(db: Database, home: Home, store: Store, root: Path, missing: Sequence[Due], report: Report,
               cancelled: Cancelled) -> int:
    """Look for missing files under other names of the same store; returns how many were found.

    Only untracked files of a missing file's size are digested. A name that differs only in how its accents are
    composed, or in case, is said to be so.
    """
    by_size: dict[int, list[Due]] = {}
    for due in missing:
        by_size.setdefault(due.size, []).append(due)
    moved = 0
    for path, size, mtime_ns in crawl(root, home.settings.ignore, lambda _: None):
        if cancelled() or not by_size:
            break
        lost = by_size.get(size)
        if not lost:
            continue
        if files.by_path(db, store.id, path) is not None:
            continue  # on record under this name: a second copy that was there before, not this one moved
        report(Progress("Looking for moved files", moved, len(missing), note=display_path(path)))
        for due in list(lost):
            checked = check(real_path(root, path), Expected(size, mtime_ns, due.sha256), on_read=lambda _: None,
                          cancelled=cancelled)
            if checked.result is Result.INTACT:
                _record_move(db, store, due, path)
                lost.remove(due)
                moved += 1
                break
        if not lost:
            del by_size[size]
    else:
        with transaction(db):
            for due in (due for lost in by_size.values() for due in lost):
                _observe_missing(db, store, due)
    return moved


def _observe_missing(db: Database, store: Store, due: Due) -> None:
    """Close an earlier finding that the file moved: every name was checked, and none holds it."""
    if findings.open_at(db, store.id, due.path, ("moved",)):
        seen = [Observed("missing", "the file is no longer there", _HINTS[Result.MISSING], scan_id=due.scan_id)]
        findings.observe(db, store.id, due.path, seen, file_id=due.id, settled=("moved",), resolution="found missing")


def _record_move(db: Database, store: Store, due: Due, path: str) -> None:
    if normalize("NFC", path) == normalize("NFC", due.path):
        how = "the same name with its accents encoded differently, as some disks do"
    elif normalize("NFC", path).casefold() == normalize("NFC", due.path).casefold():
        how = "the same name in different capitals"
    else:
        how = f"now at {display_path(path)}"
    with transaction(db):
        findings.resolve(db, "found moved", store_id=store.id, path=due.path, kinds=("missing",))
        findings.record(db, "moved", how, store_id=store.id, path=due.path, file_id=due.id, scan_id=due.scan_id,
                        hint="Index the store to update the catalogue.")
        events.append(db, "filename change", "warning", store=store.name, path=path, sha256=due.sha256,
                      detail=f"was {display_path(due.path)}; found by an audit")
