"""A small shop with stores on folders: indexed, audited, damaged and repaired for real."""

import os
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from catalogue.fixity.audit import StoreAudit, audit
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.records import files, findings, fixity, stores
from catalogue.records.database import Database
from catalogue.records.fixity import Due
from catalogue.records.stores import Store
from catalogue.settings import Home


def threads(workers: int) -> Executor:
    """Reading in this process: quick to start."""
    return ThreadPoolExecutor(workers)


@dataclass
class Shop:
    db: Database
    home: Home
    folder: Path

    def add(self, name: str, kind: str = "primary") -> Store:
        root = self.folder / name
        root.mkdir(exist_ok=True)
        return add_store(self.db, name, root, kind, consent=True)

    def store(self, name: str = "main") -> Store:
        return stores.by_name(self.db, name)

    def index(self, *names: str) -> None:
        index(self.db, self.home, [self.store(n) for n in names or ("main",)], executors=threads)

    def audit(self, *names: str, **options: object) -> StoreAudit:
        done = audit(self.db, self.home, [self.store(n) for n in names or ("main",)],
                     **options)  # type: ignore[arg-type]
        return done[0]

    def due(self, path: str, store: str = "main") -> Due:
        file = files.by_path(self.db, self.store(store).id, path)
        assert file is not None
        due = fixity.due_file(self.db, file.id)
        assert due is not None
        return due

    def kinds(self, path: str, store: str = "main") -> set[str]:
        return {f.kind for f in findings.list_open(self.db, store_id=self.store(store).id) if f.path == path}

    def finding(self, kind: str) -> findings.Finding:
        found = findings.list_open(self.db, kind=kind)
        assert len(found) == 1, found
        return found[0]


def rot(path: Path, at: int, count: int = 1) -> None:
    """Flip bits as a failing disk does: size and times stay."""
    stat = path.stat()
    with path.open("r+b") as file:
        file.seek(at)
        data = file.read(count)
        file.seek(at)
        file.write(bytes(b ^ 0x55 for b in data))
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))


def spoil(home: Home) -> bytes:
    """Overwrite the middle of the database file, as a failing disk does."""
    for tail in ("-wal", "-shm"):
        home.database.with_name(home.database.name + tail).unlink(missing_ok=True)
    data = bytearray(home.database.read_bytes())
    for at in range(4096 * 3, len(data), 4096 * 2):
        data[at:at + 2000] = b"\x55" * 2000
    home.database.write_bytes(bytes(data))
    return bytes(data)
