"""The numbered migrations of the catalogue's schema, and running those it lacks."""

import sqlite3
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from catalogue.records.connection import Database

MIGRATIONS = Path(__file__).with_name("migrations")


def migrations() -> list[tuple[int, str]]:
    """Numbered schema steps in order: ``(number, SQL)``."""
    steps = [(int(path.name[:4]), path.read_text(encoding="utf-8")) for path in MIGRATIONS.glob("*.sql")]
    return sorted(steps)


@cache
def newest_schema() -> int:
    """The number of the last migration; no script is read, for every opening of the catalogue asks."""
    return max(int(path.name[:4]) for path in MIGRATIONS.glob("*.sql"))


def migrate(db: Database, *, upto: int | None = None) -> None:
    """Run the numbered steps a catalogue lacks, in the caller's transaction; ``upto`` leaves out later ones.

    What they change in stated tables, or what was stated before there was a log, is logged at the end.
    """
    from catalogue.records import statements
    from catalogue.records.replay import log_differences

    version = schema_version(db)  # another program may have come first
    steps = [(number, script) for number, script in migrations()
             if version < number <= (number if upto is None else upto)]
    if not steps:
        return
    statements.drop_triggers(db)
    for number, script in steps:
        for statement in split_statements(script):
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {number}")
    if steps[-1][0] >= statements.FIRST_SCHEMA:
        statements.make_triggers(db)
        log_differences(db, f"stated facts as they stood when schema {version} became {steps[-1][0]}")


def schema_version(db: Database) -> int:
    """The number of the newest migration the catalogue has; 0 for an empty file."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def split_statements(script: str) -> Iterator[str]:
    """Whole statements of a script; ``executescript`` would commit half of a migration."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            yield pending
            pending = ""
