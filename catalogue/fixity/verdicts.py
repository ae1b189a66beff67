"""From a check to a finding: what happened to the file, where the damage lies, and what goes on record."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from unicodedata import normalize

from catalogue.fixity import placing
from catalogue.fixity.checking import Checked, Expected, Result, check
from catalogue.fixity.copying import Stopped
from catalogue.fixity.placing import Damage
from catalogue.indexing.crawl import crawl
from catalogue.indexing.recording import real_path
from catalogue.progress import Cancelled, Progress, Report
from catalogue.records import events, files, findings, fixity, scans
from catalogue.records.database import Database, now, transaction
from catalogue.records.fixity import Due
from catalogue.records.paths import UnusablePath, shown
from catalogue.records.stores import Store
from catalogue.settings import Home

# Findings that a check settles. Not "edited": that one is for a person to accept, or for a restore.
SETTLED = ("changed", "missing", "moved", "truncated", "unreadable", "changing")
_HINTS = {
    Result.CHANGED: "Silent damage. Restore it from a good copy, and watch this disk.",
    Result.EDITED: "If nobody meant to change it, restore it from a good copy; else index the store.",
    Result.TRUNCATED: "Restore it from a good copy.",
    Result.MISSING: "Look for it, or restore it from a good copy.",
    Result.UNREADABLE: "Restore it from a good copy, and replace this disk soon.",
    Result.CHANGING: "Audit it again when nothing writes to it.",
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """A check with what could be found out about it."""

    due: Due
    checked: Checked
    result: Result
    detail: str
    damage: Damage | None = None


def check_below(root: Path, path: str, expected: Expected, *, tell: Callable[[int], None],
                cancelled: Cancelled) -> Checked:
    """:func:`check` of a stored path below a root. One that must not be followed is no file: missing.

    Raises Stopped.
    """
    try:
        place = real_path(root, path)
    except UnusablePath as error:
        return Checked(Result.MISSING, detail=error.message)
    return check(place, expected, tell=tell, cancelled=cancelled)


def judged(db: Database, root: Path, due: Due, checked: Checked, cancelled: Cancelled) -> Verdict:
    """Tell truncated from edited, and place damage in the picture. Reads the file again where bytes differ."""
    verdict = Verdict(due, checked, checked.result, checked.detail)
    if checked.result not in (Result.CHANGED, Result.TRUNCATED, Result.UNREADABLE):
        return verdict if checked.detail else replace(verdict, detail=_plain(checked))
    segments = scans.segments(db, due.scan_id)
    try:
        bad = placing.bad_stretches(real_path(root, due.path), segments, cancelled)
    except (OSError, Stopped):
        return verdict if checked.detail else replace(verdict, detail=_plain(checked))
    if checked.result is Result.TRUNCATED and not placing.cut_cleanly(bad, segments, checked.size) \
            and checked.mtime_ns != due.mtime_ns:
        return replace(verdict, result=Result.EDITED)
    damage = placing.placed(bad, scans.picture(db, due.scan_id))
    return replace(verdict, damage=damage, detail=" ".join(filter(None, (verdict.detail or _plain(checked),
                                                                         _described(damage)))))


def _plain(checked: Checked) -> str:
    if checked.result is Result.CHANGED:
        return "its bytes differ though its size and time do not"
    return "its bytes differ, and so does its time" if checked.result is Result.EDITED else ""


def _described(damage: Damage | None) -> str:
    if damage is None:
        return ""
    stretches = "one stretch" if damage.stretches == 1 else f"{damage.stretches} stretches"
    words = f"({damage.bytes:,} bytes in {stretches} from byte {damage.offset:,} on"
    if damage.regions:
        first = damage.regions[0]
        words += (f"; {damage.share:.1%} of the picture, first {first.left:.0%} from the left,"
                  f" {first.top:.0%} from the top")
    if damage.outside_picture:
        words += "; also outside the picture" if damage.regions else "; outside it: tags, profile or thumbnail"
    return words + ")"


def record(db: Database, store: Store, verdict: Verdict) -> None:
    """Put one verdict on record: file row, findings, damage, event. Within a transaction."""
    due, checked = verdict.due, verdict.checked
    if verdict.result is Result.CHANGING:
        findings.record(db, "changing", verdict.detail, store_id=store.id, path=due.path, file_id=due.id,
                        scan_id=due.scan_id, hint=_HINTS[Result.CHANGING])
        return
    others = tuple(kind for kind in SETTLED if kind != verdict.result.value)
    if verdict.result is Result.INTACT:
        files.mark_checked(db, due.id, now())
        if checked.mtime_ns != due.mtime_ns:
            fixity.touched(db, due.id, checked.mtime_ns)
        fixity.clear_damage(db, due.id)
        findings.resolve(db, "its bytes agree with its digest", store_id=store.id, path=due.path, kinds=SETTLED)
        events.append(db, "fixity check", "success", store=store.name, path=due.path, sha256=due.sha256)
        return
    findings.resolve(db, f"found {verdict.result.value}", store_id=store.id, path=due.path, kinds=others)
    if verdict.result is Result.MISSING:
        files.mark_missing(db, [due.id])
    else:
        files.mark_present(db, [due.id])
    if verdict.damage is None:
        fixity.clear_damage(db, due.id)
    else:
        fixity.save_damage(db, due.id, placing.as_text(verdict.damage))
    offset = checked.offset if checked.offset is not None else (verdict.damage.offset if verdict.damage else None)
    findings.record(db, verdict.result.value, verdict.detail, store_id=store.id, path=due.path, file_id=due.id,
                    scan_id=due.scan_id, hint=_HINTS[verdict.result], offset=offset)
    events.append(db, "fixity check", "fail", store=store.name, path=due.path, sha256=due.sha256,
                  detail=f"{verdict.result.value}: {verdict.detail}")


def find_moved(db: Database, home: Home, store: Store, root: Path, missing: Sequence[Due], report: Report,
               cancelled: Cancelled) -> int:
    """Look for missing files under other names of the same store; gives how many were found.

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
        # a twin recorded before is a second copy that was always there, unless it is the index that followed the move
        report(Progress("Looking for moved files", moved, len(missing), note=shown(path)))
        for due in [d for d in lost if _newer(db, store, path, d)]:
            found = check(real_path(root, path), Expected(size, mtime_ns, due.sha256), tell=lambda _: None,
                          cancelled=cancelled)
            if found.result is Result.INTACT:
                _record_move(db, store, due, path)
                lost.remove(due)
                moved += 1
                break
        if not lost:
            del by_size[size]
    return moved


def _newer(db: Database, store: Store, path: str, due: Due) -> bool:
    known = files.by_path(db, store.id, path)
    if known is None:
        return True
    was = files.by_id(db, due.id)
    return known.scan_id == due.scan_id and was is not None and known.first_seen > was.first_seen


def _record_move(db: Database, store: Store, due: Due, path: str) -> None:
    if normalize("NFC", path) == normalize("NFC", due.path):
        how = "the same name with its accents written otherwise, as some disks do"
    elif normalize("NFC", path).casefold() == normalize("NFC", due.path).casefold():
        how = "the same name in other capitals"
    else:
        how = f"now at {shown(path)}"
    with transaction(db):
        findings.resolve(db, "found moved", store_id=store.id, path=due.path, kinds=("missing",))
        findings.record(db, "moved", how, store_id=store.id, path=due.path, file_id=due.id, scan_id=due.scan_id,
                        hint="Index the store, and the catalogue follows.")
        events.append(db, "filename change", "warning", store=store.name, path=path, sha256=due.sha256,
                      detail=f"was {shown(due.path)}; found by an audit")
