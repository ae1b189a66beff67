"""Opening the catalogue: one connection a thread, WAL, numbered migrations, explicit transactions."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

from sqlite_utils import Database

from catalogue.errors import CatalogueError, Damaged, NotFound
from catalogue.records.connection import Connection
from catalogue.settings import Home

T = TypeVar("T")

BUSY_SECONDS = 20.0
__all__ = ["Database", "fetch", "fetch_one", "inserted", "migrations", "now", "open_database", "open_seat",
           "read_only_database", "transaction"]


def now() -> str:
    """The present, ISO 8601 UTC to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def migrations() -> list[tuple[int, str]]:
    """Numbered schema steps in order: ``(number, SQL)``."""
    steps = [(int(entry.name[:4]), entry.read_text(encoding="utf-8"))
             for entry in (files("catalogue.records") / "migrations").iterdir() if entry.name.endswith(".sql")]
    return sorted(steps)


def open_database(path: Path) -> Database:
    """The catalogue at ``path`` for reading and writing, made if absent, brought to the present schema.

    Raises:
        Busy: another program holds it. Damaged: it is no database. CatalogueError: no place to write, or it was
        written by a newer program.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(path, timeout=BUSY_SECONDS, check_same_thread=False, factory=Connection)
    except (OSError, sqlite3.OperationalError) as error:
        raise CatalogueError(f"The catalogue cannot be opened: {error}.",
                             hint="Check the folder and its permissions.", path=path) from error
    try:
        db = _prepared(connection)
        db.execute("PRAGMA journal_mode = WAL").close()
        db.execute("PRAGMA synchronous = FULL")
        _migrate(db, path)
    except sqlite3.OperationalError as error:
        connection.close()
        raise CatalogueError(f"The catalogue cannot be opened: {error}.", path=path) from error
    except CatalogueError as error:
        connection.close()
        error.path = error.path or path
        raise
    except BaseException:
        connection.close()
        raise
    return db


def read_only_database(path: Path) -> Database:
    """The catalogue at ``path`` for reading alone; a further seat or a screen's second thread."""
    if not path.exists():
        raise NotFound("There is no catalogue here yet.", hint="Add a store first: catalogue store add NAME FOLDER.",
                       path=path)
    address = f"{path.absolute().as_uri()}?mode=ro"
    try:
        return _looking(address)
    except CatalogueError as error:
        # a copy in a folder that cannot be written: SQLite may not keep its lock file there, and needs none
        if not isinstance(error, Damaged) and not _has_unwritten(path):
            return _looking(f"{address}&immutable=1")
        error.path = path
        raise


def open_seat(home: Home) -> Database:
    """The catalogue as this seat may have it: to change, or with the setting ``read_only`` to look at alone."""
    return read_only_database(home.database) if home.settings.read_only else open_database(home.database)


def others_writes(db: Database) -> int:
    """A number that changes whenever another connection, of whatever program, has written (SQLite: data_version)."""
    return int(db.execute("PRAGMA data_version").fetchone()[0])


def _looking(address: str) -> Database:
    try:
        connection = sqlite3.connect(address, uri=True, timeout=BUSY_SECONDS, check_same_thread=False,
                                     factory=Connection)
    except sqlite3.OperationalError as error:
        raise CatalogueError(f"The catalogue cannot be opened: {error}.") from error
    try:
        db = _prepared(connection)
        db.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone()  # the file is opened only now
    except BaseException:
        connection.close()
        raise
    return db


def _has_unwritten(path: Path) -> bool:
    """Whether the log beside the catalogue holds what is not yet in it."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def _prepared(connection: sqlite3.Connection) -> Database:
    connection.row_factory = sqlite3.Row
    connection.isolation_level = None  # no transaction but those that transaction() begins
    db = Database(connection, execute_plugins=False)
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA cache_size = -32000")
    return db


def _migrate(db: Database, path: Path) -> None:
    steps = migrations()
    version = _version(db)
    if version > steps[-1][0]:
        raise CatalogueError("The catalogue was written by a newer version of this program.",
                             hint="Update this program.", path=path)
    if version == steps[-1][0]:
        return
    with transaction(db):
        migrate(db)


def migrate(db: Database, *, upto: int | None = None) -> None:
    """Run the numbered steps a catalogue lacks, in the caller's transaction; ``upto`` leaves out later ones."""
    version = _version(db)  # another program may have come first
    for number, script in migrations():
        if version < number <= (number if upto is None else upto):
            for statement in _statements(script):
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number}")


def _version(db: Database) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def _statements(script: str) -> Iterator[str]:
    """Whole statements of a script; ``executescript`` would commit half of a migration."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""


@contextmanager
def transaction(db: Database) -> Iterator[Database]:
    """Read-then-write as one step: takes the write lock at once, so two programs never both decide on old facts.

    Nests as a savepoint. Raises Busy when the lock is not to be had.
    """
    if db.conn.in_transaction:
        with db.atomic():
            yield db
        return
    db.execute("BEGIN IMMEDIATE")
    try:
        yield db
    except BaseException:
        db.conn.rollback()
        raise
    db.conn.commit()


def fetch(db: Database, shape: type[T], sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> list[T]:
    """Rows as dataclasses whose fields are named as the columns."""
    return [shape(**dict(row)) for row in db.execute(sql, parameters)]


def fetch_one(db: Database, shape: type[T], sql: str,
              parameters: Sequence[Any] | dict[str, Any] = ()) -> T | None:
    """The first row as a dataclass, or None."""
    row = db.execute(sql, parameters).fetchone()
    return None if row is None else shape(**dict(row))


def inserted(db: Database, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> int:
    """Run an INSERT and give the new row's id."""
    cursor = db.execute(sql, parameters)
    if cursor.lastrowid is None:
        raise CatalogueError("The catalogue took no row.", hint="Run `catalogue doctor`.")
    return int(cursor.lastrowid)
