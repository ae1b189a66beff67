"""Query results as typed values, and helpers shared by all modules of records."""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from itertools import islice
from typing import Any, TypeVar

from catalogue.records.connection import Database

T = TypeVar("T")
CHUNK = 500     # values bound in one statement, rows in one event; SQLite binds 999 at least

__all__ = ["Database", "chunks", "exists", "fetch", "fetch_among", "fetch_id", "fetch_int", "fetch_one", "fetch_text",
           "insert_row", "now", "query_among", "save_row", "update_row"]


def now() -> str:
    """The present, ISO 8601 UTC to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def fetch(db: Database, shape: type[T], sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> list[T]:
    """Rows as dataclasses whose fields are named as the columns."""
    return [shape(**dict(row)) for row in db.execute(sql, parameters)]


def fetch_one(db: Database, shape: type[T], sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> T | None:
    """The first row as a dataclass, or None."""
    row = db.execute(sql, parameters).fetchone()
    return None if row is None else shape(**dict(row))


def exists(db: Database, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> bool:
    """Whether a query gives a row."""
    return db.execute(sql, parameters).fetchone() is not None


def fetch_int(db: Database, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> int:
    """The number that a query gives; 0 for NULL, and where there is no row."""
    return fetch_id(db, sql, parameters) or 0


def fetch_id(db: Database, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> int | None:
    """The id that a query gives; None for NULL, and where there is no row."""
    row = db.execute(sql, parameters).fetchone()
    return None if row is None or row[0] is None else int(row[0])


def fetch_text(db: Database, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> str:
    """The text that a query gives; "" for NULL, and where there is no row."""
    row = db.execute(sql, parameters).fetchone()
    return "" if row is None or row[0] is None else str(row[0])


def insert_row(db: Database, table: str, row: Mapping[str, Any]) -> int:
    """Insert a row by the names of its columns; returns its id, in a table that has one."""
    return db.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})",
                      list(row.values())).lastrowid or 0


def save_row(db: Database, table: str, key: Mapping[str, Any], values: Mapping[str, Any],
             new: Mapping[str, Any] | None = None) -> None:
    """Set columns of the row with this key, which is made if there is none, then with the columns ``new`` too."""
    row = {**key, **values, **(new or {})}
    db.execute(_saving(table, tuple(row), tuple(key), tuple(values)), list(row.values()))


@cache  # making the text took a quarter of the time of saving a guess
def _saving(table: str, row: tuple[str, ...], key: tuple[str, ...], values: tuple[str, ...]) -> str:
    settings = ", ".join(f"{name} = excluded.{name}" for name in values)
    return (f"INSERT INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})"
            f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {settings}")


def update_row(db: Database, table: str, values: Mapping[str, Any], key: Mapping[str, Any]) -> None:
    """Set columns of the row with this key."""
    db.execute(f"UPDATE {table} SET {', '.join(f'{name} = ?' for name in values)}"
               f" WHERE {' AND '.join(f'{name} = ?' for name in key)}", [*values.values(), *key.values()])


def chunks(items: Iterable[T]) -> Iterator[list[T]]:
    """Items in lists of at most ``CHUNK``, in their order."""
    rest = iter(items)
    while part := list(islice(rest, CHUNK)):
        yield part


def query_among(db: Database, sql: str, values: Iterable[Any]) -> Iterator[sqlite3.Row]:
    """Rows of a query that ends in ``IN``, for any number of values."""
    for part in chunks(values):
        yield from db.execute(f"{sql} ({', '.join('?' * len(part))})", part)


def fetch_among(db: Database, shape: type[T], sql: str, values: Iterable[Any]) -> list[T]:
    """As :func:`fetch`, of a query that ends in ``IN``, for any number of values."""
    return [shape(**dict(row)) for row in query_among(db, sql, values)]
