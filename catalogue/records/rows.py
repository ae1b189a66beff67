"""Rows of a query as values, and what every module of records needs to ask and insert."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any, TypeVar

from catalogue.errors import CatalogueError
from catalogue.records.connection import Database

T = TypeVar("T")

__all__ = ["Database", "fetch", "fetch_one", "insert", "now"]


def now() -> str:
    """The present, ISO 8601 UTC to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def fetch(db: Database, shape: type[T], sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> list[T]:
    """Rows as dataclasses whose fields are named as the columns."""
    return [shape(**dict(row)) for row in db.execute(sql, parameters)]


def fetch_one(db: Database, shape: type[T], sql: str,
              parameters: Sequence[Any] | dict[str, Any] = ()) -> T | None:
    """The first row as a dataclass, or None."""
    row = db.execute(sql, parameters).fetchone()
    return None if row is None else shape(**dict(row))


def insert(db: Database, sql: str, parameters: Sequence[Any] | dict[str, Any] = ()) -> int:
    """Run an INSERT and give the new row's id."""
    cursor = db.execute(sql, parameters)
    if cursor.lastrowid is None:
        raise CatalogueError("The catalogue could not record the row.", hint="Run `catalogue doctor`.")
    return int(cursor.lastrowid)
