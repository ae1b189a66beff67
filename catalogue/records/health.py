"""Whether the catalogue itself is sound: what SQLite, the search indexes and the event log say of themselves."""

import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from catalogue.records import events
from catalogue.records.folding import register_functions
from catalogue.records.rows import Database
from catalogue.records.schema import newest_schema

SEARCH_INDEXES = ("artist_words", "piece_words", "order_words", "file_words")


@dataclass(frozen=True, slots=True)
class Health:
    """``troubles`` are sentences; none means sound."""

    schema: int
    newest_schema: int
    bytes: int
    journal: str
    troubles: tuple[str, ...]


def sqlite_version() -> str:
    """The version of the SQLite library in use."""
    return sqlite3.sqlite_version


def examine(path: Path, *, most: int = 10) -> Health:
    """Look the catalogue over: pages, references, search indexes, the event log's chain. Changes nothing.

    An older schema is left as it is. Raises nothing for a damaged file: that is a trouble.
    """
    size, newest = path.stat().st_size, newest_schema()
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode={'rw' if os.access(path, os.W_OK) else 'ro'}",
                                 uri=True, timeout=2.0)) as connection:
        register_functions(connection)  # the search index is asked whether it holds the folded words
        try:
            return _examine(connection, size, newest, most)
        except sqlite3.DatabaseError as error:
            return Health(0, newest, size, "unknown", (f"damaged: {error}",))


def _examine(connection: sqlite3.Connection, size: int, newest: int, most: int) -> Health:
    connection.row_factory = sqlite3.Row
    troubles: list[str] = []
    schema = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if schema != newest:
        troubles.append(f"its schema is {schema}; this program uses {newest}")
    pages = [str(row[0]) for row in connection.execute(f"PRAGMA quick_check({most})")]
    troubles.extend(f"damaged: {line}" for line in pages if line != "ok")
    troubles.extend(f"a row of {row[0]} refers to nothing in {row[2]}"
                    for row in connection.execute("PRAGMA foreign_key_check").fetchmany(most))
    troubles.extend(_indexes(connection))
    broken = next(iter(events.broken_links(Database(connection))), None)
    if broken:
        troubles.append(f"the event log was altered at or before entry {broken.id} of {broken.at}")
    journal = str(connection.execute("PRAGMA journal_mode").fetchone()[0])
    return Health(schema, newest, size, journal, tuple(troubles))


def _indexes(connection: sqlite3.Connection) -> list[str]:
    """Whether each search index still agrees with what it indexes. FTS5 asks by an INSERT that writes nothing; it is
    given up all the same. Where the catalogue cannot be written just now, the question is not asked."""
    troubles: list[str] = []
    for index in SEARCH_INDEXES:
        try:
            connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError:
            return troubles
        try:
            connection.execute(f"INSERT INTO {index} ({index}, rank) VALUES ('integrity-check', 1)")
        except sqlite3.DatabaseError as error:
            troubles.append(f"the search index {index} no longer matches the catalogue: {error}; "
                            "rebuild it: catalogue doctor --rebuild-search")
        finally:
            connection.rollback()
    return troubles
