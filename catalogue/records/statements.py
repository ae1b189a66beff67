"""The log of statements: which tables hold what a person stated, and how each change of them reaches the event log.

Triggers put every inserted, updated and deleted row of a stated table into ``statement_staged``;
:func:`catalogue.records.database.transaction` moves what is staged into one chained event just before it commits.
A write outside such a transaction is refused by the same triggers.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from catalogue.records import events
from catalogue.records.rows import Database, fetch_int
from catalogue.records.statement_summary import row_words, summary

Row = dict[str, Any]
PREFIX = "statement_of_"
FIRST_SCHEMA = 8    # the migration that begins the log


@dataclass(frozen=True, slots=True)
class StatedTable:
    """A table of stated facts.

    ``columns`` are its stated columns, all when empty. ``noted`` columns are written into the log with them, but
    their own changes are observed facts: neither logged nor compared.
    """

    name: str
    columns: tuple[str, ...] = ()
    noted: tuple[str, ...] = ()


# In an order in which rows can be inserted: what is referred to comes first.
STATED_TABLES = (
    StatedTable("store", ("id", "name", "kind", "marker", "added", "forgotten"), noted=("root",)),
    StatedTable("manifest_export", ("store_id", "consent")),
    StatedTable("answer"),
    StatedTable("finding_accepted"),
    StatedTable("likeness_verdict"),
    StatedTable("artist_stated"),
    StatedTable("piece_stated"),
    StatedTable("scan_stated"),
    StatedTable("edition"),
    StatedTable("orders"),
    StatedTable("order_line"),
    StatedTable("print_file"),
    StatedTable("print_recipe"),
    StatedTable("edition_print"),
    StatedTable("print_move"),
    StatedTable("handover"),
    StatedTable("buyer_stated"),
    StatedTable("artist_terms"),
    StatedTable("artist_statement"),
    StatedTable("imported_row"),
    StatedTable("order_number_known"),
)

# Tables of former schemas that the log may name; the migration that dropped them logged what became of their rows.
RETIRED_TABLES = frozenset({"edition_number", "destroyed_print"})
# Values that a migration gave another name, by table and column. The log keeps what was written, and is read as if the
# present name had stood there: so it agrees with the tables, and an event from before can still be undone.
RENAMED_VALUES = {"orders": {"status": {"asked": "requested"}}}


@dataclass(frozen=True, slots=True)
class Change:
    """One row's change. ``key`` are the values of the primary key; ``before`` None for an insert, ``after`` for a
    delete."""

    table: str
    key: tuple[Any, ...]
    before: Row | None
    after: Row | None

    @property
    def changed(self) -> frozenset[str]:
        """The columns whose value is another."""
        before, after = self.before or {}, self.after or {}
        return frozenset(name for name in {*before, *after}
                         if name not in before or name not in after or before[name] != after[name])


def row_name(table: str, key: tuple[Any, ...]) -> str:
    """A stated row as people call it: ``order 3``, ``order line 7``, ``scan 1f3a5c7e9b2d…``."""
    return f"{row_words(table)} {' '.join(_short(str(part)) for part in key)}"


def _short(part: str) -> str:
    return f"{part[:12]}…" if len(part) == 64 else part     # a digest


def key_columns(db: Database, table: str) -> tuple[str, ...]:
    """The columns of the primary key, in order."""
    columns = sorted((row[5], row[1]) for row in db.execute(f"PRAGMA table_info({table})") if row[5])
    return tuple(name for _, name in columns)


def logged_columns(db: Database, table: StatedTable) -> tuple[str, ...]:
    """The columns that the log has of a table: the stated ones, then the noted ones."""
    if table.columns:
        return (*table.columns, *table.noted)
    return tuple(row[1] for row in db.execute(f"PRAGMA table_info({table.name})"))


def known_tables(db: Database) -> tuple[StatedTable, ...]:
    """``STATED_TABLES`` that the present schema has; a migration may stop before one of them is made."""
    names = {row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    return tuple(table for table in STATED_TABLES if table.name in names)


def drop_triggers(db: Database) -> None:
    """Stop logging; for a migration, which logs what it changed afterwards."""
    for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger' AND name GLOB ?",
                              [f"{PREFIX}*"]).fetchall():
        db.execute(f"DROP TRIGGER {name}")


def make_triggers(db: Database) -> None:
    """Make the triggers that stage and guard the stated tables, from their columns as they are now."""
    for table in known_tables(db):
        columns = logged_columns(db, table)
        names = ",".join(columns)
        new, old = (f"statement_row('{names}', {', '.join(f'{side}.{c}' for c in columns)})" for side in ("NEW", "OLD"))
        update = f"UPDATE OF {', '.join(table.columns)}" if table.columns else "UPDATE"
        differs = " OR ".join(f"OLD.{c} IS NOT NEW.{c}" for c in table.columns or columns)
        moved = " OR ".join(f"OLD.{c} IS NOT NEW.{c}" for c in key_columns(db, table.name))
        db.execute(f"""CREATE TRIGGER {PREFIX}{table.name}_key BEFORE UPDATE ON {table.name} WHEN {moved} BEGIN
            SELECT RAISE(ABORT, 'the key of a stated row never changes'); END""")
        for verb, when, before, after in (("INSERT", "", "NULL", new), (update, f"WHEN {differs}", old, new),
                                          ("DELETE", "", old, "NULL")):
            word = verb.split()[0].lower()
            db.execute(f"""CREATE TRIGGER {PREFIX}{table.name}_{word} AFTER {verb} ON {table.name} {when} BEGIN
                SELECT RAISE(ABORT, 'stated facts are written in a logged transaction only') WHERE NOT in_statement();
                INSERT INTO statement_staged (table_name, before, after) VALUES ('{table.name}', {before}, {after});
                END""")


def log_staged(db: Database, reasons: Sequence[str] = ()) -> int | None:
    """Move what the transaction under way has staged into one event; returns its id, None if nothing was."""
    changes = []
    keys: dict[str, tuple[str, ...]] = {}
    for table, before, after in db.execute("SELECT table_name, before, after FROM statement_staged ORDER BY id"):
        if table not in keys:
            keys[table] = key_columns(db, table)
        changes.append(_change(table, keys[table], json.loads(before) if before else None,
                               json.loads(after) if after else None))
    if not changes:
        return None
    db.execute("DELETE FROM statement_staged")
    events.append(db, "metadata modification", "success", detail="; ".join(dict.fromkeys(reasons))
                  or summary(db, changes), change=packed(changes))
    last = events.last(db)
    return last.id if last else None


def staged_count(db: Database) -> int:
    """How many row changes the transaction under way has staged."""
    return fetch_int(db, "SELECT count(*) FROM statement_staged")


def _change(table: str, key: tuple[str, ...], before: Row | None, after: Row | None) -> Change:
    row = after or before or {}
    return Change(table, tuple(row[name] for name in key), before, after)


def packed(changes: Sequence[Change]) -> str:
    """Changes as the event log keeps them: canonical JSON, keys sorted, no spaces."""
    return json.dumps([{"table": c.table, "key": list(c.key), "before": c.before, "after": c.after} for c in changes],
                      sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def unpacked(text: str) -> list[Change]:
    """The changes of an event, with values renamed to the present schema's; none for an event without changes."""
    return [Change(c["table"], tuple(c["key"]), _renamed(c["table"], c["before"]), _renamed(c["table"], c["after"]))
            for c in json.loads(text)] if text else []


def _renamed(table: str, row: Row | None) -> Row | None:
    """A logged row with the present names of its values (``RENAMED_VALUES``)."""
    if row is None or table not in RENAMED_VALUES:
        return row
    return row | {column: names[row[column]] for column, names in RENAMED_VALUES[table].items()
                  if row.get(column) in names}


def stated_rows(db: Database, table: StatedTable) -> Iterator[tuple[tuple[Any, ...], Row]]:
    """Every row of a stated table with its key, in the order of the table."""
    columns, key = logged_columns(db, table), key_columns(db, table.name)
    for row in db.execute(f"SELECT {', '.join(columns)} FROM {table.name}"):
        values = dict(zip(columns, row, strict=True))
        yield tuple(values[name] for name in key), values
