"""Is the scan an order needs there, and intact? Read from the records, or made sure of by reading the file now."""

from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged
from catalogue.indexing.stores import where
from catalogue.progress import Cancelled, Report
from catalogue.reading.digests import sha256_of
from catalogue.records import events, files, findings, stores
from catalogue.records.database import Database, now, transaction
from catalogue.records.files import Located
from catalogue.records.findings import Finding
from catalogue.records.paths import UnusablePath, native, shown
from catalogue.records.scans import Scan

# Findings that say the bytes are not, or may not be, what they were.
DOUBTS = ("changed", "edited", "truncated", "damaged", "unreadable", "empty", "not a picture", "missing", "vanished")


@dataclass(frozen=True, slots=True)
class Copy:
    """One file that holds a scan. ``state``: ``sound``, ``in doubt``, ``missing`` or ``offline``."""

    file: Located
    state: str
    place: Path | None          # where it can be opened now
    doubts: tuple[str, ...]

    @property
    def name(self) -> str:
        """Store and path for people."""
        return f"{self.file.store}: {shown(self.file.path)}"


@dataclass(frozen=True, slots=True)
class Health:
    """A scan and its copies, the best first."""

    scan: Scan
    copies: tuple[Copy, ...]

    @property
    def best(self) -> Copy | None:
        """The copy to print from: sound and within reach, the primary store's first; None where there is none."""
        return next((copy for copy in self.copies if copy.state == "sound"), None)

    @property
    def last_check(self) -> str | None:
        """When the best copy's bytes were last compared with its digest."""
        return self.best.file.checked_at if self.best else None


def health(db: Database, scan: Scan) -> Health:
    """What the records say of every copy of a scan; whether a store is connected is looked up now."""
    doubts = findings.of_scan(db, scan.id)
    lying = files.of_scan(db, scan.id)
    roots = {store_id: where(db, stores.by_id(db, store_id)) for store_id in {file.store_id for file in lying}}
    copies = [_copy(file, roots[file.store_id], doubts) for file in lying]
    order = ("sound", "in doubt", "offline", "missing")
    return Health(scan, tuple(sorted(copies, key=lambda copy: order.index(copy.state))))


def _copy(file: Located, root: Path | None, doubts: list[Finding]) -> Copy:
    ours = tuple(f"{f.kind}: {f.detail}" for f in doubts if f.kind in DOUBTS and (
        f.file_id == file.id or (f.store_id == file.store_id and f.path == file.path) or
        (f.file_id is None and f.store_id is None)))
    if file.state == "missing":
        return Copy(file, "missing", None, ours)
    if root is None:
        return Copy(file, "offline", None, ours)
    try:
        place = root / native(file.path)
    except UnusablePath as error:
        return Copy(file, "missing", None, (*ours, error.message))
    if not place.is_file():
        return Copy(file, "missing", None, (*ours, "not there just now"))
    return Copy(file, "in doubt" if ours else "sound", place, ours)


def check_now(db: Database, scan: Scan, copy: Copy, *, report: Report, cancelled: Cancelled) -> None:
    """Read a copy to its last byte and compare with the scan's digest; the outcome is recorded either way.

    Raises:
        Damaged: the bytes differ. CatalogueError: the file cannot be reached or read.
    """
    if copy.place is None:
        raise CatalogueError("The file is not within reach.", hint=f"Connect the store {copy.file.store!r}.",
                             path=copy.file.path)
    try:
        found = sha256_of(copy.place, report=report, cancelled=cancelled)
    except OSError as error:
        detail = f"cannot be read: {error}"
        _doubt(db, scan, copy, "unreadable", detail)
        raise CatalogueError(f"The file {detail}.", path=copy.place) from error
    if found != scan.sha256:
        detail = f"its bytes differ from the digest {scan.sha256[:12]}… recorded for it"
        _doubt(db, scan, copy, "changed", detail)
        raise Damaged(f"The file is not what it was: {detail}.", path=copy.place,
                      hint="Do not print from it. Restore a good copy: catalogue restore.")
    with transaction(db):
        files.mark_checked(db, copy.file.id, now())
        events.append(db, "fixity check", "success", store=copy.file.store, path=copy.file.path, sha256=scan.sha256,
                      detail="before printing")


def _doubt(db: Database, scan: Scan, copy: Copy, kind: str, detail: str) -> None:
    with transaction(db):
        findings.record(db, kind, detail, store_id=copy.file.store_id, path=copy.file.path, file_id=copy.file.id,
                        scan_id=scan.id, hint="Restore a good copy: catalogue restore.")
        events.append(db, "fixity check", "fail", store=copy.file.store, path=copy.file.path, sha256=scan.sha256,
                      detail=f"before printing: {detail}")
