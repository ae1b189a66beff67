"""The kinds of work that ``torture.py`` kills, and what must hold after a kill and after the next run."""

import hashlib
import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image

import catalogue.reading.file  # noqa: F401 - before the forks, so that each child starts at its work
from catalogue.fixity import backup, copies
from catalogue.fixity.audit import audit
from catalogue.fixity.restore import plan as plan_restore
from catalogue.fixity.restore import restore
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.intake import applying, proposals
from catalogue.ledger import editions as ledger_editions
from catalogue.ledger.repeat import propose, record
from catalogue.records import events, files, findings, orders, pieces, scans, stores
from catalogue.records.backup import condition
from catalogue.records.copies import DOUBTS
from catalogue.records.database import Database, open_database
from catalogue.records.fixity import wanted_by
from catalogue.settings import Home
from catalogue.storage.atomic import PART_PREFIX

SCANS = 5
HARBOUR = "Ada Quill/Harbour"


@dataclass(frozen=True)
class Work:
    """One kind of work: how its archive is set up, what it does, and what must hold when it is done."""

    name: str
    prepare: Callable[["Archive"], None]
    do: Callable[["Archive"], None]
    after_kill: Callable[["Archive"], Iterator[str]]
    when_done: Callable[["Archive"], Iterator[str]]


@dataclass(frozen=True)
class Archive:
    """One archive on its own folder."""

    folder: Path

    @property
    def home(self) -> Home:
        return Home(self.folder / "home")

    @contextmanager
    def database(self) -> Iterator[Database]:
        db = open_database(self.home.database)
        try:
            yield db
        finally:
            db.close()

    def pictures(self, store: str) -> dict[str, str]:
        """Path to SHA-256 of every visible picture of a store."""
        root = self.folder / store
        return {str(p.relative_to(root)): hashlib.sha256(p.read_bytes()).hexdigest()
                for p in sorted(root.rglob("*.tif")) if not p.name.startswith(".")}

    def digests(self) -> set[str]:
        """Every content that exists, good or bad, by the list made when the archive was set up."""
        return set((self.folder / "contents").read_text().split())


def threads(workers: int) -> Executor:
    """Reading in this process, so that it is killed with it."""
    return ThreadPoolExecutor(workers)


def scan(path: Path, seed: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.random.default_rng(seed).integers(0, 255, (40, 60, 3), dtype=np.uint8)
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2, metadata=None)


def set_up(archive: Archive) -> None:
    for n in range(SCANS):
        scan(archive.folder / "main" / HARBOUR / f"{n}.tif", n)
    (archive.folder / "nas").mkdir()
    with archive.database() as db:
        for name, kind in (("main", "primary"), ("nas", "copy")):
            add_store(db, name, archive.folder / name, kind, consent=True)
    keep_contents(archive)


def keep_contents(archive: Archive) -> None:
    found = set(archive.pictures("main").values()) | {
        hashlib.sha256(p.read_bytes()).hexdigest() for p in (archive.folder / "key").rglob("*.tif")}
    known = archive.digests() if (archive.folder / "contents").exists() else set()
    (archive.folder / "contents").write_text("\n".join(sorted(found | known)))


def indexed(archive: Archive) -> None:
    set_up(archive)
    do_index(archive)


def copied(archive: Archive) -> None:
    indexed(archive)
    do_copy(archive)


def damaged(archive: Archive) -> None:
    copied(archive)
    bad = archive.folder / "main" / HARBOUR / "0.tif"
    stat = bad.stat()
    data = bytearray(bad.read_bytes())
    data[-100] ^= 1
    bad.write_bytes(bytes(data))
    os.utime(bad, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    keep_contents(archive)
    do_audit(archive)


def with_edition(archive: Archive) -> None:
    indexed(archive)
    with archive.database() as db:
        piece = pieces.titled(db, "Harbour")[0]
        ledger_editions.define(db, piece, 10)


def with_key(archive: Archive) -> None:
    indexed(archive)
    for n in range(2):
        scan(archive.folder / "key" / f"Bo Ek - Quarry {n}.tif", 50 + n)
    keep_contents(archive)


def do_index(archive: Archive) -> None:
    with archive.database() as db:
        index(db, archive.home, [stores.by_name(db, "main")], workers=2, executors=threads)


def do_copy(archive: Archive) -> None:
    with archive.database() as db:
        nas = stores.by_name(db, "nas")
        copies.copy_to(db, archive.home, nas, wanted_by(db, nas))


def do_audit(archive: Archive) -> None:
    with archive.database() as db:
        audit(db, archive.home, stores.listed(db))


def do_restore(archive: Archive) -> None:
    """What a person does: audit, and restore what the audit finds."""
    do_audit(archive)
    with archive.database() as db:
        for finding in (f for kind in ("changed", "missing") for f in findings.list_open(db, kind=kind)):
            restore(db, archive.home.settings, plan_restore(db, finding.file_id or 0))


def do_order(archive: Archive) -> None:
    """What a person does: look whether the order is there, and enter it where it is not."""
    with archive.database() as db:
        order = orders.find_by_number(db, "K-1")
        if order is None or not orders.lines_of(db, order.id):
            proposal = propose(db, archive.home, piece_id=pieces.titled(db, "Harbour")[0], width_mm=500, height_mm=700,
                               quantity=3)
            record(db, proposal, number="K-1", placed="2026-01-02", buyer="a buyer")


def do_backup(archive: Archive) -> None:
    with archive.database() as db:
        backup.back_up(db, archive.home)


def do_intake(archive: Archive) -> None:
    with archive.database() as db:
        plan = proposals.propose(db, archive.home, archive.folder / "key", stores.by_name(db, "main"))
        for number in range(len(plan.proposals)):
            plan = proposals.with_answers(db, archive.home, plan, number, artist="Bo Ek", piece="Quarry", role="master")
        applying.apply(db, archive.home, plan)


def nothing_more(_: Archive) -> Iterator[str]:
    yield from ()


def index_done(archive: Archive) -> Iterator[str]:
    with archive.database() as db:
        known = list(files.known(db, stores.by_name(db, "main").id))
        held = {row[0] for row in known if row[3] == "present"}
        if held != set(archive.pictures("main")):
            yield f"the catalogue holds {len(held)} files"
        for row in known:
            file = files.by_id(db, row[4])
            found = scans.by_id(db, file.scan_id) if file and file.scan_id else None
            if found is None:
                yield f"{row[0]} has no scan"
            elif not archive.home.preview(found.sha256).is_file():
                yield f"{row[0]} has no preview"


def copy_done(archive: Archive) -> Iterator[str]:
    if archive.pictures("nas") != archive.pictures("main"):
        yield "the copy is not whole"
    with archive.database() as db:
        if wanted_by(db, stores.by_name(db, "nas")):
            yield "copies are not on record"


def restore_halfway(archive: Archive) -> Iterator[str]:
    held = [hashlib.sha256(p.read_bytes()).hexdigest() for p in (archive.folder / "main" / HARBOUR).glob("0.tif*")]
    if not set(held) & (archive.digests() - set(archive.pictures("nas").values())):
        yield "the bad file was not kept"


def restore_done(archive: Archive) -> Iterator[str]:
    if archive.pictures("main") != archive.pictures("nas"):
        yield "the good bytes are not back"
    yield from restore_halfway(archive)
    with archive.database() as db:
        if any(findings.list_open(db, kind=kind, limit=1) for kind in DOUBTS):
            yield "findings are still open"


def order_halfway(archive: Archive) -> Iterator[str]:
    with archive.database() as db:
        order = orders.find_by_number(db, "K-1")
        lines = orders.lines_of(db, order.id) if order else []
        issued = [row[0] for row in db.execute("SELECT number FROM edition_print ORDER BY number")]
        if (len(lines), issued) not in ((0, []), (1, [1, 2, 3])):
            yield f"{len(lines)} lines with numbers {issued}"
        if order and not lines:
            yield "an order without its line"


def order_done(archive: Archive) -> Iterator[str]:
    yield from order_halfway(archive)
    with archive.database() as db:
        if orders.find_by_number(db, "K-1") is None:
            yield "the order is not there"


def audit_done(archive: Archive) -> Iterator[str]:
    with archive.database() as db:
        for store in stores.listed(db):
            for row in files.known(db, store.id):
                file = files.by_id(db, row[4])
                if file is None or file.checked_at is None:
                    yield f"{row[0]} was not checked"


def backup_halfway(archive: Archive) -> Iterator[str]:
    for one in backup.generations(archive.home):
        faults = condition(one.path).faults
        if faults:
            yield f"{one.path.name}: {faults[0]}"


def backup_done(archive: Archive) -> Iterator[str]:
    yield from backup_halfway(archive)
    if not backup.generations(archive.home):
        yield "there is no backup"
    if any(not p.name.startswith("catalogue-") for p in archive.home.backups.iterdir()):
        yield "a leftover lies among the backups"


def intake_done(archive: Archive) -> Iterator[str]:
    held = list(archive.pictures("main").values())
    for path in sorted((archive.folder / "key").rglob("*.tif")):
        count = held.count(hashlib.sha256(path.read_bytes()).hexdigest())
        if count != 1:
            yield f"{path.name} lies {count} times in the store"
    if len(list((archive.folder / "key").rglob("*.tif"))) != 2:
        yield "a source is gone"


WORKS = (
    Work("index", set_up, do_index, nothing_more, index_done),
    Work("copy", indexed, do_copy, nothing_more, copy_done),
    Work("restore", damaged, do_restore, restore_halfway, restore_done),
    Work("order", with_edition, do_order, order_halfway, order_done),
    Work("intake", with_key, do_intake, nothing_more, intake_done),
    Work("audit", copied, do_audit, nothing_more, audit_done),
    Work("backup", indexed, do_backup, backup_halfway, backup_done),
)


def always(archive: Archive) -> Iterator[str]:
    """What must hold at any moment, whatever was killed when."""
    if archive.home.database.exists():
        yield from (f"catalogue: {fault}" for fault in condition(archive.home.database).faults if fault)
        with archive.database() as db:
            if list(events.broken_links(db)):
                yield "the event log's chain is broken"
            for store in stores.listed(db):
                held = archive.pictures(store.name)
                for path, _, _, state, *_ in files.known(db, store.id):
                    if state == "present" and path not in held:
                        yield f"{store.name}: {path} is on record and not there"
    contents = archive.digests()
    for store in ("main", "nas"):
        yield from (f"{store}: {path} is half a file" for path, sha in archive.pictures(store).items()
                    if sha not in contents)
    for preview in archive.home.previews.rglob("*.webp"):
        try:
            Image.open(preview).load()
        except OSError as error:
            yield f"preview {preview.name[:8]}: {error}"


def tidy(archive: Archive) -> Iterator[str]:
    """After a whole run no temporary file of ours is left in a store."""
    for store in ("main", "nas"):
        yield from (f"{store}: {p.name} was left" for p in (archive.folder / store).rglob(f"{PART_PREFIX}*"))
