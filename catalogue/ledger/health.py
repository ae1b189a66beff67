"""Whether the scan an order needs is present and intact, by the records or by reading the file now."""

from dataclasses import dataclass, replace
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged
from catalogue.fixity.checking import Expected, Result, check
from catalogue.fixity.verdicts import judge, record
from catalogue.indexing.locating import locate_store
from catalogue.progress import Cancelled, Progress, Report
from catalogue.records import copies as copy_rows
from catalogue.records import copy_doubts, files, fixity, scans, stores
from catalogue.records.copies import Holder
from catalogue.records.database import Database, transaction
from catalogue.records.files import Located
from catalogue.records.paths import UnusablePath, display_path, native_path
from catalogue.records.scans import Scan


@dataclass(frozen=True, slots=True)
class Copy:
    """One file that holds a scan. ``state``: ``sound``, ``in doubt``, ``missing`` or ``offline``."""

    file: Located
    state: str
    path: Path | None           # where it can be opened now
    doubts: tuple[str, ...]

    @property
    def name(self) -> str:
        """Store and path for people."""
        return f"{self.file.store}: {display_path(self.file.path)}"


@dataclass(frozen=True, slots=True)
class Health:
    """A scan and its copies, the best first."""

    scan: Scan
    copies: tuple[Copy, ...]
    last_check: str | None = None  # when the bytes of a sound copy, within reach or not, last agreed with the digest

    @property
    def best(self) -> Copy | None:
        """The copy to print from: sound and within reach, a primary store's first; None if there is none."""
        return next((copy for copy in self.copies if copy.state == "sound"), None)


def health(db: Database, scan: Scan) -> Health:
    """What the records say of every copy of a scan; whether a store is connected is looked up now."""
    held = {holder.file_id: holder for holder in copy_rows.holders(db, scan.sha256)}
    faulty = scans.content_fault(db, scan.id)
    present = files.of_scan(db, scan.id)
    roots = {store_id: locate_store(db, stores.by_id(db, store_id)) for store_id in {file.store_id for file in present}}
    copies = [_copy(file, roots[file.store_id], _doubts(db, file, held.get(file.id), faulty)) for file in present]
    order = ("sound", "in doubt", "offline", "missing")
    return Health(scan, tuple(sorted(copies, key=lambda copy: order.index(copy.state))),
                  copy_rows.of_scan(db, scan.id).checked_at)


def why_no_copy(health: Health | None) -> str:
    """The reason why no copy of a scan is sound and within reach."""
    if health is None or not health.copies:
        return "No file of this scan is on record."
    return "No sound copy can be reached: " + "; ".join(
        f"{copy.name} is {copy.state}" + (f" ({'; '.join(copy.doubts)})" if copy.doubts else "")
        for copy in health.copies) + "."


def sound_copy(health: Health | None) -> tuple[Scan, Copy, Path]:
    """A scan, its best copy, and where that can be opened. Raises CatalogueError if none is sound and within reach."""
    best = health.best if health else None
    if health is None or best is None or best.path is None:
        raise CatalogueError(why_no_copy(health), hint=next_step(health))
    return health.scan, best, best.path


def next_step(health: Health | None) -> str:
    """What to do if no copy is sound and within reach."""
    copies = health.copies if health else ()
    away = sorted({copy.file.store for copy in copies if copy.state == "offline"})
    if away:
        return f"Connect {', '.join(away)}."
    if any(copy.state == "in doubt" for copy in copies):
        return ("No good copy is known: look for one on a disk that is not a store yet and add it, or scan the original"
                " again.")
    return "Put the file back, or index the store where it is now: catalogue index."


def _doubts(db: Database, file: Located, held: Holder | None, faulty: str) -> tuple[str, ...]:
    """Why a file is not a sound copy; empty if it is."""
    if held is not None and held.sound:
        return ()
    if held is not None and held.intact and faulty:
        return (f"{faulty}: its picture is incomplete",)
    return copy_doubts.doubts(db, file.id, file.store_id, file.path)


def _copy(file: Located, root: Path | None, ours: tuple[str, ...]) -> Copy:
    if root is not None:    # perhaps learned only since the file was looked up
        file = replace(file, root=str(root))
    if file.state == "missing":
        return Copy(file, "missing", None, ours)
    if root is None:
        return Copy(file, "offline", None, ours)
    try:
        path = root / native_path(file.path)
    except UnusablePath as error:
        return Copy(file, "missing", None, (*ours, error.message))
    if not path.is_file():
        return Copy(file, "missing", None, (*ours, "it cannot be found just now"))
    return Copy(file, "in doubt" if ours else "sound", path, ours)


def check_now(db: Database, scan: Scan, copy: Copy, *, report: Report, cancelled: Cancelled) -> None:
    """Read a copy in full and compare it with the scan's digest; the outcome is recorded either way.

    Raises Damaged: the bytes differ. CatalogueError: the file cannot be reached or read.
    """
    if copy.path is None:
        raise CatalogueError("The file cannot be reached.", hint=f"Connect the store {copy.file.store!r}.",
                             path=copy.file.path)
    due = fixity.due_file(db, copy.file.id)
    if due is None or due.scan_id != scan.id:
        raise CatalogueError("A different file is now on record there.", hint="Look at it again.", path=copy.path)
    bytes_read = 0

    def add_read(count: int) -> None:
        nonlocal bytes_read
        bytes_read += count
        report(Progress("sha-256", bytes_done=bytes_read))

    checked = check(str(copy.path), Expected(due.size, due.mtime_ns, due.sha256), on_read=add_read,
                    cancelled=cancelled)
    store = stores.by_id(db, due.store_id)
    root = locate_store(db, store) or Path(copy.file.root)
    verdict = judge(db, root, due, checked, cancelled)
    with transaction(db):
        record(db, store, root, verdict)
    if verdict.result is Result.INTACT:
        return
    if verdict.result in (Result.UNREADABLE, Result.MISSING, Result.CHANGING):
        raise CatalogueError(f"The file cannot be checked: {verdict.detail}.", path=copy.path)
    raise Damaged(f"The file has changed: {verdict.detail}.", path=copy.path,
                  hint="Do not print from it. Restore a good copy: catalogue restore.")
