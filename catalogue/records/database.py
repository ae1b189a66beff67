"""Opening the catalogue: one connection a thread, WAL, numbered migrations, explicit transactions."""

import os
import sqlite3
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged, NotFound
from catalogue.records.connection import Connection
from catalogue.records.rows import Database, fetch, fetch_int, fetch_one, now
from catalogue.records.schema import migrate, migrations, newest_schema, schema_version
from catalogue.records.transactions import (
    RolledBack,
    catalogue_connection,
    file_identity,
    last_statement,
    recovered_path,
    refuse_during_recovery,
    replaying,
    statement_since,
    transaction,
    unlogged_transaction,
    write_lock,
)
from catalogue.settings import Home

BUSY_SECONDS = 20.0
UPGRADING = "The catalogue is from an older version of this program and is being brought up to date; a copy is kept."
SYNCHRONOUS = "FULL"    # a commit returns once the medium has it
__all__ = ["Database", "RolledBack", "fetch", "fetch_one", "last_statement", "migrations", "now", "open_database",
           "open_seat", "read_only_database", "recovered_path", "replaying", "statement_since", "transaction",
           "unlogged_transaction"]


def open_database(path: Path, *, detached: bool = False) -> Database:
    """The catalogue at ``path`` for reading and writing, made if absent, brought to the present schema.

    ``detached`` is for one that is being prepared and not in use: it has no journal, and no copy is kept of it.

    Raises Busy: another program holds it. Damaged: it is no database, or is lost. CatalogueError: no place to write, or
    it was written by a newer program.
    """
    refuse_during_recovery(path)
    if not detached:
        refuse_where_lost(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        connection = _connected(path)
        if detached:
            connection.path = None
    except (OSError, sqlite3.OperationalError) as error:
        raise CatalogueError(f"The catalogue cannot be opened: {error}.",
                             hint="Check the folder and its permissions.", path=path) from error
    try:
        db = _prepared(connection)
        db.execute("PRAGMA journal_mode = WAL").close()
        db.execute(f"PRAGMA synchronous = {SYNCHRONOUS}")
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


def needs_upgrade(path: Path) -> bool:
    """Whether the next opening of the catalogue first brings it to the present schema, which takes a while if it is
    large: the schema's number is in the file's header (SQLite file format, 1.3: offset 60)."""
    try:
        with path.open("rb") as file:
            header = file.read(64)
    except OSError:
        return False
    return len(header) == 64 and 0 < int.from_bytes(header[60:]) < newest_schema()


def refuse_where_lost(path: Path) -> None:
    """Raise Damaged if the catalogue's file is missing but its backups or journal exist.

    An empty catalogue created in its place would hide the loss, and its backups would displace the old ones.
    """
    if path.exists() or str(path) == ":memory:":
        return
    from catalogue.records import journal

    own = journal.path_of(path)
    if (own.exists() and own.stat().st_size) or any((path.parent / "backups").glob(f"{path.stem}-*{path.suffix}")):
        raise Damaged("The catalogue is missing; its backups or its journal are still here.",
                      hint="Bring it back: catalogue recover. To begin an empty one, choose another folder:"
                      " catalogue --catalogue FOLDER.", path=path)


def read_only_database(path: Path) -> Database:
    """The catalogue at ``path`` for reading only; for a second workstation or a screen's second thread."""
    refuse_where_lost(path)
    if not path.exists():
        raise NotFound("There is no catalogue here yet.", hint="Add a store first: catalogue store add NAME FOLDER.",
                       path=path)
    refuse_during_recovery(path)
    address = f"{path.absolute().as_uri()}?mode=ro"
    try:
        return _looking(address)
    except CatalogueError as error:
        # a copy in a folder that cannot be written: SQLite may not keep its lock file there, and needs none
        if not isinstance(error, Damaged) and not _has_unwritten(path):
            return _looking(f"{address}&immutable=1")
        error.path = path
        raise


def open_for_reading(path: Path) -> Database:
    """The catalogue at ``path`` for a command that only reads: no right to write is needed.

    One of an older schema is brought to the present one first, which does need it.

    Raises NotFound: there is none. CatalogueError: it is newer than this program, or older and may not be changed here.
    """
    db = read_only_database(path)
    version, newest = schema_version(db), newest_schema()
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
    """The catalogue as this workstation may use it: writable, or read-only with the setting ``read_only``."""
    return read_only_database(home.database) if home.settings.read_only else open_database(home.database)


def others_writes(db: Database) -> int:
    """A number that changes whenever another connection of any program has written (SQLite: data_version)."""
    return fetch_int(db, "PRAGMA data_version")


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
    """Whether the write-ahead log holds changes not yet in the catalogue."""
    log = path.with_name(path.name + "-wal")
    return log.exists() and log.stat().st_size > 0


def _recompute(db: Database) -> None:
    """As :func:`catalogue.records.effective.recompute`, which only who writes needs to load."""
    from catalogue.records.effective import recompute

    recompute(db)


def _prepared(connection: Connection) -> Database:
    connection.row_factory = sqlite3.Row
    connection.isolation_level = None  # no transaction but those that transaction() begins
    connection.before_commit = _recompute
    db = Database(connection)
    db.execute("PRAGMA foreign_keys = ON")
    db.execute("PRAGMA cache_size = -32000")
    return db


def _migrate(db: Database, path: Path) -> None:
    newest, version = newest_schema(), schema_version(db)
    if version > newest:
        raise CatalogueError("The catalogue was written by a newer version of this program.",
                             hint="Update this program.", path=path)
    if version == newest:
        return
    from catalogue.records import journal

    with write_lock(db):
        has_journal = catalogue_connection(db).path is not None
        if has_journal and 0 < schema_version(db) < newest:
            _keep_former(path)
        migrate(db)
    if has_journal and db.execute("SELECT 1 FROM event WHERE change <> '' LIMIT 1").fetchone():
        journal.append_new(db, path)


def former(path: Path) -> Path:
    """Path of the copy that is kept of the catalogue before an upgrade."""
    return path.with_name(f"{path.stem}.before-upgrade{path.suffix}")


def _keep_former(path: Path) -> None:
    """Keep a verified copy of the catalogue before its schema changes; the copy of the previous upgrade is deleted.

    Raises CatalogueError if it cannot be made: then nothing is changed. Call with the write lock held.
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
                             hint="Free some space; nothing was changed.", path=path) from error
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
