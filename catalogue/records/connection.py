"""The catalogue's own connection: SQLite's errors as errors of ours, and the functions that log statements.

The triggers of stated tables call SQL functions that only this connection has: ``in_statement()`` says whether a
transaction of :func:`catalogue.records.database.transaction` is open, ``statement_row(names, …)`` packs a row,
``replaying()`` says whether a statement is being undone or put back. So a
program that writes past it is refused by the database itself.
"""

import re
import sqlite3
import weakref
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from catalogue.errors import Busy, CatalogueError, Damaged, DiskFull, ReadOnly
from catalogue.records.folding import register_functions

T = TypeVar("T")


def translate_sqlite_error(error: sqlite3.DatabaseError) -> Exception:
    """A CatalogueError that tells a person what to do; the error itself if it is a programming error."""
    name = getattr(error, "sqlite_errorname", None) or ""  # none on errors made by the driver itself
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return Busy("Another program is writing to the catalogue.", hint="Try again in a moment.")
    if name.startswith("SQLITE_READONLY"):
        return ReadOnly()
    if name.startswith("SQLITE_FULL"):
        return DiskFull()
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return Damaged(f"The catalogue is damaged: {error}.", hint="Run `catalogue recover`.")
    if name.startswith(("SQLITE_IOERR", "SQLITE_CANTOPEN")):
        return CatalogueError(f"The catalogue's file cannot be reached: {error}.",
                              hint="Is its disk still connected, and do you have permission to read it?")
    return error


def call_translating_errors(call: Callable[..., T], *given: Any) -> T:
    """``call(*given)`` with SQLite's errors translated."""
    try:
        return call(*given)
    except sqlite3.DatabaseError as error:
        raise translate_sqlite_error(error) from error


def packed_row(names: str, *values: Any) -> str:
    """A row as JSON with sorted keys; ``names`` are its columns, separated by commas.

    Made in Python because SQLite's own JSON writes a number with 15 digits, which is not always the number.
    """
    import json  # not needed to read

    row = dict(zip(names.split(","), values, strict=True))
    return json.dumps(row, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


_NUMBERED = re.compile(r"\?[0-9]")


def numbered_parameters(sql: str, values: Any) -> Any:
    """Values as the driver wants them: by name where the statement has numbered placeholders (``?2``).

    To the driver ``?2`` is the parameter named "2". It takes a plain sequence for such ones with a DeprecationWarning
    since Python 3.12, and not at all since 3.14 (sqlite3, "How to use placeholders").
    """
    if isinstance(values, Sequence) and values and _NUMBERED.search(sql):
        return {str(number): value for number, value in enumerate(values, 1)}
    return values


class Cursor(sqlite3.Cursor):
    """``sqlite3.Cursor`` whose errors go through :func:`call_translating_errors`, those met in fetching rows too."""

    def execute(self, sql: str, values: Any = ()) -> "Cursor":
        call_translating_errors(super().execute, sql, numbered_parameters(sql, values))
        return self

    def executemany(self, sql: str, rows: Any) -> "Cursor":
        call_translating_errors(super().executemany, sql, (numbered_parameters(sql, values) for values in rows))
        return self

    def fetchone(self) -> Any:
        return call_translating_errors(super().fetchone)

    def fetchmany(self, *given: Any) -> list[Any]:
        return call_translating_errors(super().fetchmany, *given)

    def fetchall(self) -> list[Any]:
        return call_translating_errors(super().fetchall)

    def __next__(self) -> Any:
        return call_translating_errors(super().__next__)

    def __iter__(self) -> Iterator[Any]:  # type: ignore[override]  # a loop of C calls, not one of __next__ a row
        try:
            yield from iter(super().fetchone, None)
        except sqlite3.DatabaseError as error:
            raise translate_sqlite_error(error) from error


class Database:
    """One open catalogue: ``conn``, and statements run on it. Triggers fire for rows that triggers write, too.

    A statement outside a transaction commits by itself: connections are opened with ``isolation_level = None``.
    """

    def __init__(self, conn: sqlite3.Connection) -> None:
        self.conn = conn
        self.execute("PRAGMA recursive_triggers = ON").close()

    def execute(self, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> sqlite3.Cursor:
        return self.conn.execute(sql, parameters)

    def close(self) -> None:
        self.conn.close()


def no_derived_rows(_: Database) -> None:
    """Default ``before_commit`` hook: does nothing. :mod:`catalogue.records.database` replaces it."""


class Connection(sqlite3.Connection):
    """``sqlite3.Connection`` whose errors go through :func:`call_translating_errors`.

    ``statement_open`` is true within a transaction that logs its statements, ``statement_made`` once a stated row was
    written in it, ``replaying`` while one is undone or put back; ``reasons`` are what the transaction said it is for,
    ``last_statement`` the event that was logged last, ``before_commit`` computes derived rows before every commit.
    ``path`` is the catalogue's file and ``file`` its device and inode when it was opened for writing; None for one in
    memory or opened to check.
    """

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self.statement_open = False
        self.statement_made = False
        self.replaying = False
        self.reasons: list[str] = []
        self.last_statement: int | None = None
        self.before_commit: Callable[[Database], None] = no_derived_rows
        self.path: Path | None = None
        self.file: tuple[int, int] | None = None
        ours = weakref.ref(self)  # a function that held the connection would keep it open

        def in_statement() -> int:
            connection = ours()
            return int(connection is not None and connection.statement_open and connection.in_transaction)

        def statement_row(names: str, *values: Any) -> str:
            connection = ours()
            if connection is not None:
                connection.statement_made = True
            return packed_row(names, *values)

        def replaying() -> int:
            connection = ours()
            return int(connection is not None and connection.replaying)

        self.create_function("replaying", 0, replaying)
        register_functions(self)
        self.create_function("in_statement", 0, in_statement)
        self.create_function("statement_row", -1, statement_row)

    def cursor(self, factory: Any = None) -> Any:
        """As ``sqlite3.Connection.cursor``, with :class:`Cursor` unless another is named."""
        return call_translating_errors(super().cursor, factory or Cursor)

    def execute(self, *given: Any) -> Cursor:
        cursor: Cursor = self.cursor()
        return cursor.execute(*given)

    def executemany(self, *given: Any) -> Cursor:
        cursor: Cursor = self.cursor()
        return cursor.executemany(*given)

    def commit(self) -> None:
        call_translating_errors(super().commit)

    def rollback(self) -> None:
        call_translating_errors(super().rollback)
