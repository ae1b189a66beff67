"""Transactions on the catalogue: the write lock taken at once, every statement logged, derived rows recomputed."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from catalogue.errors import CatalogueError, Refused
from catalogue.records.connection import Connection
from catalogue.records.rows import Database


class RolledBack(Exception):
    """Raised within a transaction to undo it after a dry run."""


@contextmanager
def transaction(db: Database, reason: str = "") -> Iterator[Database]:
    """Read-then-write as one step: takes the write lock at once, so two programs never both decide on old facts.

    What it changes in stated tables is logged as one event, whose detail is ``reason`` or a count of the rows.
    Nests as a savepoint. Raises Busy when the lock is not to be had.
    """
    connection = catalogue_connection(db)
    if connection.in_transaction:
        if reason:
            connection.reasons.append(reason)
        with savepoint(db):
            yield db
        return
    with write_lock(db):
        _still_in_place(connection)
        connection.statement_open, connection.statement_made, connection.reasons = True, False, [reason] * bool(reason)
        try:
            yield db
            connection.before_commit(db)
            if connection.statement_made:
                from catalogue.records import statements

                connection.last_statement = statements.log_staged(db, connection.reasons)
        finally:
            connection.statement_open = False
    if connection.statement_made and connection.path is not None:
        from catalogue.records import journal

        journal.append_new(db, connection.path)


@contextmanager
def savepoint(db: Database) -> Iterator[None]:
    """A nested transaction: everything within it is kept or nothing. The outer transaction commits it (SQLite:
    SAVEPOINT)."""
    db.execute("SAVEPOINT step")
    try:
        yield
        db.execute("RELEASE step")
    except BaseException:
        if db.conn.in_transaction:  # SQLite rolls a transaction back by itself when the disk is full
            db.execute("ROLLBACK TO step")
            db.execute("RELEASE step")
        raise


@contextmanager
def replaying(db: Database) -> Iterator[None]:
    """While active, undoing and replaying may make moves that triggers otherwise refuse."""
    connection = catalogue_connection(db)
    before, connection.replaying = connection.replaying, True
    try:
        yield
    finally:
        connection.replaying = before


@contextmanager
def unlogged_transaction(db: Database) -> Iterator[None]:
    """A transaction whose changes are in the log already: only for a recovery, which carries the log on as it was."""
    from catalogue.records import statements

    with write_lock(db):
        statements.drop_triggers(db)
        yield
        recompute(db)
        statements.make_triggers(db)


def _still_in_place(connection: Connection) -> None:
    """Refuse to write into a file that was set aside. Call with its write lock, which any program replacing it
    holds."""
    if connection.path is None or connection.file is None:
        return
    refuse_during_recovery(connection.path)
    if file_identity(connection.path) != connection.file:
        raise Refused("The catalogue was replaced by another file while this was open; nothing was recorded.",
                      hint="Restart, and check that what you see is still current.", path=connection.path)


def file_identity(path: Path) -> tuple[int, int] | None:
    """Device and inode of a file; None if there is none."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def last_statement(db: Database) -> int | None:
    """Id of the event in which this connection's last statement was logged."""
    return catalogue_connection(db).last_statement


def statement_since(db: Database, before: int | None) -> int | None:
    """Id of the event of what was stated since :func:`last_statement` gave ``before``; None if nothing was."""
    event = last_statement(db)
    return event if event != before else None


def recompute(db: Database) -> None:
    """Compute the stale derived rows now, within a transaction, for what asks for them before its commit does so."""
    catalogue_connection(db).before_commit(db)


def catalogue_connection(db: Database) -> Connection:
    """The catalogue's own connection under a database."""
    assert isinstance(db.conn, Connection)
    return db.conn


@contextmanager
def write_lock(db: Database) -> Iterator[None]:
    """A transaction that holds the write lock from its beginning; committed at the end, rolled back on any error.

    A commit that fails is rolled back too: left open, it would take every later write in without keeping it.
    """
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        if not db.conn.in_transaction:  # SQLite rolls a transaction back by itself when the disk is full
            raise CatalogueError("The catalogue could not record the change.", hint="Nothing was changed; try again.")
        _commit(db)
    except BaseException:
        db.conn.rollback()
        raise


def _commit(db: Database) -> None:
    """Commit. If the disk fails meanwhile the outcome is unknown, and the error says so."""
    try:
        db.conn.commit()
    except CatalogueError as error:
        cause = error.__cause__
        if isinstance(cause, sqlite3.Error) and (getattr(cause, "sqlite_errorname", "") or "").startswith(
                "SQLITE_IOERR"):
            error.hint = f"{error.hint} Check whether it was recorded before you try again.".strip()
        raise


def recovered_path(path: Path) -> Path:
    """Path of a recovered catalogue waiting to be put in place. While it exists nobody opens the old file."""
    return path.with_name(f"{path.stem}.recovered{path.suffix}")


def refuse_during_recovery(path: Path) -> None:
    """Raise CatalogueError while a recovered catalogue waits to be put in the place of this one."""
    if recovered_path(path).exists():
        raise CatalogueError("This catalogue is being recovered, or a recovery was cut short.",
                             hint="Run `catalogue recover`: it completes the recovery.", path=path)
