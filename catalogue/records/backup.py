"""Copies of the catalogue itself: SQLite's online backup, and the checks that a copy must pass."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import Busy, CatalogueError
from catalogue.records.folding import register_functions
from catalogue.records.rows import Database
from catalogue.records.schema import migrate, newest_schema

PAGES_A_STEP = 4096


@dataclass(frozen=True, slots=True)
class Condition:
    """What a catalogue file holds, or why it holds nothing. ``faults`` is empty for a sound one."""

    faults: tuple[str, ...]
    schema: int = 0
    files: int = 0
    scans: int = 0
    pieces: int = 0
    orders: int = 0
    events: int = 0
    last_event: str = ""
    last_chain: str = ""
    last_id: int = 0


def copy_database(db: Database, target: Path) -> None:
    """Write the catalogue as it is now to ``target``, a new file, while other programs go on using it.

    Raises :class:`CatalogueError` when it cannot be written.
    """
    try:
        with closing(sqlite3.connect(target)) as copy:
            db.conn.backup(copy, pages=PAGES_A_STEP)
            _leave_wal(copy)  # a file of its own: no -wal beside it that could be left behind
    except sqlite3.Error as error:
        full = getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_FULL
        raise CatalogueError(f"The backup cannot be written: {error}.", path=target,
                             hint="Free some space there, then back up again." if full else "") from error


def make_one_file(db: Database) -> None:
    """Bring all of a catalogue into its one file, which then needs nothing beside it.

    Raises :class:`CatalogueError` if that cannot be done.
    """
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    try:
        _leave_wal(db.conn)
    except sqlite3.Error as error:
        raise CatalogueError(f"The catalogue cannot be combined into one file: {error}.",
                             hint="Is there space on its disk?") from error


def _leave_wal(connection: sqlite3.Connection) -> None:
    """Bring what the write-ahead log holds into the file. Where that fails SQLite says so by the mode it stays in."""
    mode = connection.execute("PRAGMA journal_mode = DELETE").fetchone()[0]
    if mode != "delete":
        raise sqlite3.OperationalError("part of it stays in the log beside it")


def condition(path: Path) -> Condition:
    """Examine a catalogue file without changing it: integrity, references, contents."""
    if not path.is_file():
        return Condition(("there is no such file",))
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=20)) as connection:
            faults = [row[0] for row in connection.execute("PRAGMA integrity_check(20)") if row[0] != "ok"]
            faults += [f"{row[0]} row {row[1]} refers to no {row[2]}"
                       for row in connection.execute("PRAGMA foreign_key_check").fetchmany(20)]
            schema = int(connection.execute("PRAGMA user_version").fetchone()[0])
            if schema < 1:
                return Condition((*faults, "it holds no catalogue"))
            files, scans, pieces, orders, events = (
                int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])
                for table in ("file", "scan", "piece", "orders", "event"))
            last = connection.execute("SELECT at, chain, id FROM event ORDER BY id DESC LIMIT 1").fetchone() or (
                "", "", 0)
    except sqlite3.Error as error:
        return Condition((str(error),))
    return Condition(tuple(faults), schema, files, scans, pieces, orders, events, str(last[0]), str(last[1]),
                     int(last[2]))


@contextmanager
def hold(database: Path) -> Iterator[None]:
    """Keep every other program from writing into the present file, as far as it is whole enough to be locked."""
    if not database.exists():
        yield
        return
    with closing(sqlite3.connect(database, timeout=20, isolation_level=None)) as connection:
        try:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
            connection.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            if (error.sqlite_errorname or "").startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
                raise Busy("Another program is writing to the catalogue.", hint="Close it, then try again.",
                           path=database) from error
        except sqlite3.DatabaseError:
            pass  # too damaged to be locked: then nobody can write into it either
        yield


def foreign_parts(path: Path) -> list[str]:
    """What in a file's schema is not ours: triggers, views and tables that the program never made, or lacks.

    A trigger or view brought along would run with the program's own rights as soon as the file is the catalogue.
    Compared with a schema made by the same numbered steps: triggers and views by their text, tables and indexes by
    their columns. Nothing of the file is run.
    """
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=20)) as connection:
            connection.execute("PRAGMA trusted_schema = OFF").close()
            version = int(connection.execute("PRAGMA user_version").fetchone()[0])
            theirs = _schema(connection)
    except sqlite3.Error as error:
        return [str(error)]
    if not 1 <= version <= newest_schema():
        return [f"schema version {version} is not known here"]
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as made:
        register_functions(made)
        migrate(Database(made), upto=version)
        ours = _schema(made)
    return [*(f"the {kind} {name!r} is not ours" for (kind, name), text in sorted(theirs.items())
              if ours.get((kind, name)) != text),
            *(f"the {kind} {name!r} is missing" for kind, name in sorted(ours.keys() - theirs.keys()))]


def _schema(connection: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """``(kind, name)`` of every part of a schema, with what it must say to be the same."""
    objects = {}
    for kind, name, sql in connection.execute(
            "SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'").fetchall():
        quoted = '"' + name.replace('"', '""') + '"'
        if kind == "table" and not sql.upper().startswith("CREATE VIRTUAL"):
            objects[kind, name] = str([tuple(row)[1:] for row in connection.execute(f"PRAGMA table_xinfo({quoted})")])
        elif kind == "index":
            objects[kind, name] = str([tuple(row) for row in connection.execute(f"PRAGMA index_xinfo({quoted})")])
        else:
            objects[kind, name] = " ".join(sql.split())
    return objects
