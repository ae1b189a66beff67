"""What one index run still has to read: a temporary table, so that a million paths cost no memory."""

from collections.abc import Iterable

from catalogue.records.rows import Database, exists
from catalogue.records.transactions import savepoint


def create(db: Database) -> None:
    """An empty list, private to this connection and gone with it."""
    db.execute("DROP TABLE IF EXISTS temp.pending")
    db.execute("CREATE TEMP TABLE pending (id INTEGER PRIMARY KEY, path TEXT, size INTEGER, mtime_ns INTEGER)")


def add(db: Database, rows: Iterable[tuple[str, int, int]]) -> None:
    """Files to be read, each with path, size and time."""
    with savepoint(db):
        db.conn.executemany("INSERT INTO temp.pending (path, size, mtime_ns) VALUES (?, ?, ?)", rows)


def total(db: Database) -> tuple[int, int]:
    """``(files, bytes)``."""
    count, size = db.execute("SELECT count(*), coalesce(sum(size), 0) FROM temp.pending").fetchone()
    return int(count), int(size)


def take(db: Database, after: int, limit: int) -> list[tuple[int, str, int, int]]:
    """The next ``(id, path, size, mtime_ns)`` from ``after`` on."""
    return [tuple(row) for row in db.execute(
        "SELECT id, path, size, mtime_ns FROM temp.pending WHERE id > ? ORDER BY id LIMIT ?", [after, limit])]


def contains(db: Database, path: str) -> bool:
    """Whether a path is to be read in this run."""
    return exists(db, "SELECT 1 FROM temp.pending WHERE path = ?", [path])
