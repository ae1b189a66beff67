"""Opening the catalogue: one connection a thread, WAL, numbered migrations, explicit transactions."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged, NotFound, Refused
from catalogue.records import journal, statements
from catalogue.records.connection import Connection
from catalogue.records.rows import Database, fetch, fetch_one, inserted, now
from catalogue.settings import Home

BUSY_SECONDS = 20.0
__all__ = ["Database", "fetch", "fetch_one", "inserted", "last_statement", "migrations", "now", "open_database",
           "open_seat", "read_only_database", "recovered_path", "replaying", "transaction", "unlogged_transaction"]


def migrations() -> list[tuple[int, str]]:
    """Numbered schema steps in order: ``(number, SQL)``."""
    steps = [(int(entry.name[:4]), entry.read_text(encoding="utf-8"))
             for entry in (files("catalogue.records") / "migrations").iterdir() if entry.name.endswith(".sql")]
    return sorted(steps)


def open_database(path: Path, *, apart: bool = False) -> Database:
    """The catalogue at ``path`` for reading and writing, made if absent, brought to the present schema.

    ``apart`` is for one that is being prepared and not in use: it has no journal, and no copy is kept of it.

    Raises:
        Busy: another program holds it. Damaged: it is no database. CatalogueError: no place to write, or it was
        written by a newer program.
    """
    _no_recovery_under_way(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = _connected(path)
        if apart:
            connection.path = None
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


def _connected(path: Path) -> Connection:
    """A connection that knows which file it has open, though another be put in its place at that moment."""
    while True:
        before = file_identity(path)
        connection = sqlite3.connect(path, timeout=BUSY_SECONDS, check_same_thread=False, factory=Connection)
        if str(path) == ":memory:":
            return connection
        connection.path, connection.file = path, file_identity(path)
        if before in (None, connection.file):
            return connection
        connection.close()


def read_only_database(path: Path) -> Database:
    """The catalogue at ``path`` for reading alone; a further seat or a screen's second thread."""
    if not path.exists():
        raise NotFound("There is no catalogue here yet.", hint="Add a store first: catalogue store add NAME FOLDER.",
                       path=path)
    _no_recovery_under_way(path)
    address = f"{path.absolute().as_uri()}?mode=ro"
    try:
        return _looking(address)
    except CatalogueError as error:
        # a copy in a folder that cannot be written: SQLite may not keep its lock file there, and needs none
        if not isinstance(error, Damaged) and not _has_unwritten(path):
            return _looking(f"{address}&immutable=1")
        error.path = path
        raise


def looked_at(path: Path) -> Database:
    """The catalogue at ``path`` for a command that only reads: no right to write is needed.

    One of an older schema is brought to the present one first, which does need it.

    Raises:
        NotFound: there is none. CatalogueError: it is newer than this program, or older and may not be changed here.
    """
    db = read_only_database(path)
    version, newest = _version(db), migrations()[-1][0]
    if version == newest:
        return db
    db.close()
    try:
        open_database(path).close()
    except CatalogueError as error:
        if version > newest:
            raise
        raise CatalogueError("The catalogue was written by an older version of this program, and it cannot be brought"
                             f" up to date here: {error.message}",
                             hint="Run this command once where it may be written.", path=path) from error
    return read_only_database(path)


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
    with _write_lock(db):
        kept = _connection(db).path is not None
        if kept and 0 < _version(db) < steps[-1][0]:
            _keep_former(path)
        migrate(db)
    if kept and db.execute("SELECT 1 FROM event WHERE change <> '' LIMIT 1").fetchone():
        journal.append_new(db, path)


def recovered_path(path: Path) -> Path:
    """Where a recovered catalogue waits to be put in its place. While it does nobody opens the former file."""
    return path.with_name(f"{path.stem}.recovered{path.suffix}")


def _no_recovery_under_way(path: Path) -> None:
    if recovered_path(path).exists():
        raise CatalogueError("This catalogue is being recovered, or a recovery was cut short.",
                             hint="Run `catalogue recover`: it does what is left to do.", path=path)


def former(path: Path) -> Path:
    """Where a catalogue lies as it was before its last upgrade."""
    return path.with_name(f"{path.stem}.before-upgrade{path.suffix}")


def _keep_former(path: Path) -> None:
    """A verified copy of the catalogue before its schema changes; the one of the upgrade before goes.

    Raises CatalogueError where it cannot be made: then nothing is changed. Call with the write lock held.
    """
    from catalogue.records.backup import condition, copy_database

    part = path.with_name(f"{path.stem}.before-upgrade.part")
    part.unlink(missing_ok=True)
    looking = _looking(f"{path.absolute().as_uri()}?mode=ro")
    try:
        copy_database(looking, part)
        faults = condition(part).faults
        if faults:
            raise Damaged(f"The catalogue is damaged, so it is not upgraded: {faults[0]}.",
                          hint="Run `catalogue recover`.", path=path)
        flush_file(part)
        part.replace(former(path))
    except OSError as error:
        raise CatalogueError(f"No copy of the catalogue could be made before upgrading it: {error.strerror}.",
                             hint="Make room; nothing was changed.", path=path) from error
    finally:
        looking.close()
        part.unlink(missing_ok=True)


def flush_file(path: Path) -> None:
    """Have the disk keep a file that was written. Raises OSError."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def migrate(db: Database, *, upto: int | None = None) -> None:
    """Run the numbered steps a catalogue lacks, in the caller's transaction; ``upto`` leaves out later ones.

    What they change in stated tables, or what was stated before there was a log, is logged at the end.
    """
    from catalogue.records.replay import log_differences

    version = _version(db)  # another program may have come first
    steps = [(number, script) for number, script in migrations()
             if version < number <= (number if upto is None else upto)]
    if not steps:
        return
    statements.drop_triggers(db)
    for number, script in steps:
        for statement in _statements(script):
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {number}")
    if steps[-1][0] >= statements.FIRST_SCHEMA:
        statements.make_triggers(db)
        log_differences(db, f"stated facts as they stood when schema {version} became {steps[-1][0]}")


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
def transaction(db: Database, reason: str = "") -> Iterator[Database]:
    """Read-then-write as one step: takes the write lock at once, so two programs never both decide on old facts.

    What it changes in stated tables is logged as one event, whose detail is ``reason`` or a count of the rows.
    Nests as a savepoint. Raises Busy when the lock is not to be had.
    """
    connection = _connection(db)
    if connection.in_transaction:
        if reason:
            connection.reasons.append(reason)
        with db.atomic():
            yield db
        return
    with _write_lock(db):
        _still_in_place(connection)
        connection.statement_open, connection.statement_made, connection.reasons = True, False, [reason] * bool(reason)
        try:
            yield db
            _settle(db)
            if connection.statement_made:
                connection.last_statement = statements.log_staged(db, connection.reasons)
        finally:
            connection.statement_open = False
    if connection.statement_made and connection.path is not None:
        journal.append_new(db, connection.path)


@contextmanager
def replaying(db: Database) -> Iterator[None]:
    """Within this, what is undone or put back may move in ways that nothing else may."""
    connection = _connection(db)
    before, connection.replaying = connection.replaying, True
    try:
        yield
    finally:
        connection.replaying = before


@contextmanager
def unlogged_transaction(db: Database) -> Iterator[None]:
    """A transaction whose changes are in the log already: only for a recovery, which carries the log on as it was."""
    with _write_lock(db):
        statements.drop_triggers(db)
        yield
        _settle(db)
        statements.make_triggers(db)


def _still_in_place(connection: Connection) -> None:
    """Refuse to write into a file that was set aside; call with its write lock, which whoever replaces it holds."""
    if connection.path is None or connection.file is None:
        return
    _no_recovery_under_way(connection.path)
    if file_identity(connection.path) != connection.file:
        raise Refused("The catalogue was replaced by another file while this was open; nothing was recorded.",
                      hint="Begin again, and look whether what you see is still so.", path=connection.path)


def file_identity(path: Path) -> tuple[int, int] | None:
    """Device and inode of a file; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _settle(db: Database) -> None:
    """Compute anew what follows from what was stated meanwhile, before anyone sees the one without the other."""
    from catalogue.records.effective import settle

    settle(db)


def last_statement(db: Database) -> int | None:
    """Id of the event in which this connection's last statement was logged."""
    return _connection(db).last_statement


def _connection(db: Database) -> Connection:
    assert isinstance(db.conn, Connection)
    return db.conn


@contextmanager
def _write_lock(db: Database) -> Iterator[None]:
    """A transaction that holds the write lock from its beginning; committed at the end, rolled back on any error.

    A commit that fails is rolled back too: left open, it would take every later write in without keeping it.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        if not db.conn.in_transaction:  # SQLite gives a transaction up by itself when the disk is full
            raise CatalogueError("The catalogue could not keep a change.", hint="Nothing was changed; try again.")
        db.conn.commit()
    except BaseException:
        db.conn.rollback()
        raise
