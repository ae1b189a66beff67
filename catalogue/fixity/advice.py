"""The next step for a finding, from what is on record about the other copies."""

from contextlib import suppress
from dataclasses import dataclass

from catalogue.dates import shown_day
from catalogue.errors import Refused, required
from catalogue.fixity.copies import review_scans
from catalogue.fixity.damage_regions import Damage, from_text
from catalogue.fixity.restore import sources
from catalogue.indexing.recording import ACCEPTED_EDIT
from catalogue.reading.model import ACCESS_DENIED
from catalogue.records import copies as copy_rows
from catalogue.records import events, files, findings, fixity, pieces, scans, sidecars
from catalogue.records import stores as store_rows
from catalogue.records.database import Database, transaction
from catalogue.records.findings import Finding
from catalogue.records.paths import UnusablePath, display_path, native_path
from catalogue.records.scans import Scan
from catalogue.settings import Settings
from catalogue.untrusted import shell_word

# The findings of this room, worst first: the order of the audit screen.
DAMAGE = ("unreadable", "changed", "truncated")
LOSSES = ("empty", "damaged", "not a picture")   # damage too, if the file held better content before
RESTORABLE = (*DAMAGE, *LOSSES, "missing", "edited")


@dataclass(frozen=True, slots=True)
class NextStep:
    """What to do next. ``action``: ``restore`` (with ``file_id`` and ``source``), ``copy`` (to the store
    ``target``), ``index``, ``connect``, ``accept`` or ``look``. ``command`` is the same thing on the command line,
    "" if there is none. ``sha256`` is the content to bring back where it is not the one now on record for the file,
    as after an edit that was indexed."""

    text: str
    action: str
    command: str = ""
    file_id: int | None = None
    source: str = ""
    sha256: str = ""
    target: str = ""


@dataclass(frozen=True, slots=True)
class OpenFinding:
    """An open finding with its store's name, its next step, and the damaged region if known."""

    finding: Finding
    store: str
    next: NextStep
    damage: Damage | None


def damage_of(db: Database, file_id: int | None) -> Damage | None:
    """The damaged regions of a file, as its last audit found them."""
    text = None if file_id is None else fixity.damage(db, file_id)
    return None if text is None else from_text(text)


def next_step(db: Database, finding: Finding, dates: str) -> NextStep:
    """What a person should do about a finding, and how; ``dates``: how the shop writes days."""
    store = store_rows.by_id(db, finding.store_id).name if finding.store_id else ""
    if finding.cause in (ACCESS_DENIED, findings.STAND_IN):  # it may well be sound, or there: a person must look
        return NextStep(finding.hint, "look")
    known = finding.scan_id is not None or finding.kind not in LOSSES
    if finding.kind in RESTORABLE and finding.file_id is not None and known:
        return _repair(db, finding, store, dates)
    match finding.kind:
        case "single copy" | "no off-site copy":
            return _copy(db, finding)
        case sidecars.MISSING | sidecars.DAMAGED | sidecars.DIFFERS:
            return _sidecar(db, finding, store)
        case "moved":
            return NextStep("Index the store: the catalogue follows the file.", "index",
                            f"catalogue index {shell_word(store)}")
        case "offline":
            return NextStep("Connect the disk or share, then audit it.", "connect",
                            f"catalogue audit {shell_word(store)}")
    return NextStep(finding.hint or "Check the file.", "look")


def _copy(db: Database, finding: Finding) -> NextStep:
    """Which store should get a copy, and from where: a store without one, from a store with an intact one."""
    off_site = finding.kind == "no off-site copy"
    scan = scans.by_id(db, finding.scan_id) if finding.scan_id else None
    holders = copy_rows.holders(db, scan.sha256) if scan else []
    intact = [h for h in holders if h.intact]
    if scan and not intact:
        if any(findings.open_at(db, h.store_id, h.path, ("edited",)) for h in holders):
            return NextStep("Its file was edited, and nobody has said whether that was intended: deal with that finding"
                            " first.", "look")
        return NextStep("No intact copy is on record. Connect disks that may hold one, index them, and check again.",
                        "look")
    lacking = [s for s in store_rows.listed(db) if s.id not in {h.store_id for h in intact}]
    fitting = [s for s in lacking if s.kind == "off-site"] if off_site else sorted(
        lacking if scan else [s for s in lacking if s.kind != "primary"], key=lambda s: s.kind == "primary")
    if not fitting:
        kind = "off-site" if off_site else "copy"
        return NextStep("Add a store on another disk, then copy to it.", "look",
                        f"catalogue store add NAME FOLDER --kind {kind}")
    target = fitting[0].name
    if scan and not any(h.kind == "primary" for h in intact):  # without --from, copy runs read primary stores only
        source = intact[0].store
        return NextStep(f"Copy it from {source} to {target}.", "look",
                        f"catalogue copy --to {shell_word(target)} --from {shell_word(source)}")
    return NextStep(f"Copy it to {target}.", "copy", f"catalogue copy --to {shell_word(target)}", target=target)


def _sidecar(db: Database, finding: Finding, store: str) -> NextStep:
    """How to bring back a copy of a sidecar. Copying overwrites none but an older one, and that only when asked."""
    other = sidecars.newest_elsewhere(db, finding.file_id) if finding.file_id is not None else None
    if other is None:
        purpose = " If it was removed on purpose, accept that." if finding.kind == sidecars.MISSING else ""
        return NextStep(f"No copy of it is on record: write it again with the program it came from.{purpose}", "look")
    name, kind, newer = other
    command = f"catalogue copy --to {shell_word(store)} --from {shell_word(name)}"
    if finding.kind == sidecars.DIFFERS and newer:
        return NextStep(f"Compare the two. If the newer one, in {name}, is right, copy it here; the older one is kept"
                        " beside it.", "look", f"{command} --update-sidecars")
    if finding.kind == sidecars.DIFFERS:
        return NextStep("Compare the two, and remove the one that is out of date. If that is this one, then copy the"
                        f" other from {name}.", "look", command)
    if finding.kind == sidecars.DAMAGED:
        return NextStep(f"Look at it, remove it if it is of no use, then copy the one from {name}.", "look", command)
    if kind == "primary":  # a copy run without --from uses these
        return NextStep(f"Copy it from {name}.", "copy", f"catalogue copy --to {shell_word(store)}", target=store)
    return NextStep(f"Copy it from {name}.", "look", command)


def _repair(db: Database, finding: Finding, store: str, dates: str) -> NextStep:
    former = _former(db, finding)
    scan = former or (scans.by_id(db, finding.scan_id) if finding.scan_id else None)
    file_spec = shell_word(f"{store}:{_as_typed(finding.path)}")
    if scan is not None and former is None and scans.content_fault(db, scan.id) == finding.kind:
        if (whole := _namesake(db, finding, file_spec)) is not None:
            return whole
        scan = None  # a copy of these exact bytes is no better
    good = sources(db, scan.sha256, finding.file_id or 0) if scan else []
    file_spec += f" --digest {former.sha256[:12]}" if former else ""
    if good:
        best = good[0]
        checked = (f", checked {shown_day(best.checked_at, dates)}" if best.checked_at else
                   ", not checked since it was read")
        text = f"Restore it from {best.store}{checked}."
        if finding.kind == "edited":
            text = ("If it was intended, accept it and index the store; "
                    f"otherwise restore it from {best.store}{checked}.")
        return NextStep(text, "restore", f"catalogue restore {file_spec} --from {shell_word(best.store)}",
                        finding.file_id, best.store, former.sha256 if former else "")
    if finding.kind == "edited":
        return NextStep("If it was intended, accept it and index the store. No copy of the earlier content is on "
                        "record.", "accept",
                        f"catalogue index {shell_word(store)}")
    return NextStep("No sound copy is on record. Connect disks that may hold one, index them, and check again; until "
                    "then do not touch the file or its disk.", "look")


def _namesake(db: Database, finding: Finding, file_spec: str) -> NextStep | None:
    """A sound file at the same path in another store, which a broken file may be a truncated copy of."""
    for store in store_rows.listed(db):
        file = files.by_path(db, store.id, finding.path) if store.id != finding.store_id else None
        held = scans.by_id(db, file.scan_id) if file is not None and file.scan_id is not None else None
        if file is not None and held is not None and copy_rows.is_sound(db, file.id):
            return NextStep(f"{store.name} holds a whole file under this path. If this one should be a copy of it,"
                            " restore it from there.", "restore",
                            f"catalogue restore {file_spec} --digest {held.sha256[:12]} --from"
                            f" {shell_word(store.name)}", finding.file_id, store.name, held.sha256)
    return None


def _as_typed(path: str) -> str:
    with suppress(UnusablePath):
        return native_path(path)
    return display_path(path)


def _former(db: Database, finding: Finding) -> Scan | None:
    """An edited file's content before it was indexed again; None if it was not edited, or that is not known."""
    return scans.by_digest(db, finding.former_sha256) if finding.former_sha256 else None


def accept(db: Database, settings: Settings, finding_id: int, why: str) -> None:
    """Close a finding on a person's word, with an event; copies are counted again.

    A missing file is let go: its row leaves the inventory. An edit that only an audit has seen is imported by the next
    index run without asking again; until then the file counts as no copy.

    Raises :class:`Refused` for damage: bytes that are wrong do not become right by being accepted.
    """
    with transaction(db):
        finding = required(findings.by_id(db, finding_id), "There is no such finding.")
        scan = scans.by_id(db, finding.scan_id) if finding.scan_id else None
        lost = finding.kind in LOSSES and scan is not None and scans.content_fault(db, scan.id) != finding.kind
        if finding.kind in (sidecars.DAMAGED, sidecars.DIFFERS):
            raise Refused("The next audit would find it again.", hint=finding.hint)
        if finding.kind in DAMAGE or lost:
            raise Refused("Damage cannot be accepted.", hint="Restore the file, or index a sound one in its place.")
        findings.resolve_by_id(db, finding_id, f"accepted: {why}")
        store = store_rows.by_id(db, finding.store_id).name if finding.store_id else ""
        gone = finding.kind == "missing" and finding.file_id is not None
        if gone and finding.file_id is not None:
            findings.resolve(db, f"accepted as missing: {why}", store_id=finding.store_id, path=finding.path)
            files.forget(db, finding.file_id)
        elif finding.kind == sidecars.MISSING and finding.file_id is not None:
            sidecars.accept_missing(db, finding.file_id)
        elif finding.kind == "edited" and not finding.former_sha256 and finding.file_id is not None:
            files.note_failure(db, finding.file_id, ACCEPTED_EDIT)
        findings.note_accepted(db, finding.kind, store, finding.path, scan.sha256 if scan else "", why)
        events.append(db, "deletion" if gone else "validation", "warning", store=store, path=finding.path,
                      sha256=scan.sha256 if scan else "", detail=f"{finding.kind} accepted: {why}")
        former = _former(db, finding)
        for piece_id in {each.piece_id for each in (scan, former) if each is not None and each.piece_id is not None}:
            pieces.propose_current(db, piece_id)
        review_scans(db, settings, {each.id for each in (scan, former) if each is not None})
