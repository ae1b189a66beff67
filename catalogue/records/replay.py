"""The log of statements: replayed into rows, compared with the tables, and undone event by event."""

import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from catalogue.errors import Refused, required, sentence
from catalogue.records import events, stated_facts, statements
from catalogue.records.effective import make_again, recompute
from catalogue.records.rows import Database, chunks, insert_row, update_row
from catalogue.records.stated_facts import TABLES as OVERLAYS
from catalogue.records.statements import Change, Row
from catalogue.records.transactions import replaying, transaction

Key = tuple[Any, ...]
State = dict[str, dict[Key, Row]]
JOINED = ("artist_stated", "piece_stated")  # tables of which one row may be merged into another; owners first
_REFERRED = ("scan_stated", "piece_stated", "artist_stated")    # each refers to the next


@dataclass(frozen=True, slots=True)
class Difference:
    """A stated row on which log and table disagree. ``logged`` None: the log knows no such row; ``present`` None:
    the table no longer has it. ``columns`` are those that differ."""

    table: str
    key: Key
    logged: Row | None
    present: Row | None
    columns: tuple[str, ...] = ()

    def __str__(self) -> str:
        name = statements.row_name(self.table, self.key)
        if self.present is None:
            return f"{name} has vanished; the log says {_shown(self.logged or {})}"
        if self.logged is None:
            return f"{name} was added without a log entry: {_shown(self.present)}"
        parts = (f"{c} is {self.present.get(c)!r}, the log says {self.logged.get(c)!r}" for c in self.columns)
        return f"{name}: {'; '.join(parts)}"


def _shown(row: Row) -> str:
    return ", ".join(f"{name} {value!r}" for name, value in row.items() if value not in (None, "", 0))


def replay(changes: Iterable[Change]) -> State:
    """The rows of every stated table after all ``changes``, in their order. A row's key never changes."""
    state: State = {}
    for change in changes:
        rows = state.setdefault(change.table, {})
        if change.after is None:
            rows.pop(change.key, None)
        else:
            rows[change.key] = change.after
    return state


def logged_changes(db: Database) -> Iterator[Change]:
    """Every change in the event log, oldest first."""
    for (text,) in db.execute("SELECT change FROM event WHERE change <> '' ORDER BY id"):
        yield from statements.unpacked(text)


def compare(db: Database, state: State) -> Iterator[Difference]:
    """Where the stated tables differ from ``state``, the log's word on them."""
    for table in statements.known_tables(db):
        logged = dict(state.get(table.name, {}))
        for key, present in statements.stated_rows(db, table):
            logged_row = logged.pop(key, None)
            if logged_row is None:
                yield Difference(table.name, key, None, present)
                continue
            columns = tuple(name for name in table.columns or present
                            if name not in logged_row or logged_row[name] != present[name])
            if columns:
                yield Difference(table.name, key, logged_row, present, columns)
        for key, logged_row in logged.items():
            yield Difference(table.name, key, logged_row, None)


def differences(db: Database) -> list[Difference]:
    """Where stated tables differ from the log: rows altered, missing, or added without a log entry."""
    return list(compare(db, replay(logged_changes(db))))


def log_differences(db: Database, detail: str) -> None:
    """Write into the log what the tables have and it has not, in chunks; after a migration, within its transaction."""
    changes = [Change(d.table, d.key, d.logged, d.present) for d in differences(db)]
    for part in chunks(changes):
        events.append(db, "migration", "success", detail=detail, change=statements.packed(part))


def undo(db: Database, event_id: int) -> None:
    """Put back what one event's statements changed, as far as nothing has changed it since; itself a statement.

    Only the columns that the event changed are looked at and put back; others keep what was stated later. A numbered
    print that was made by what was stated later too stays made.

    Raises NotFound: no such event. Refused: it states nothing, or what it stated was changed since, or is needed by a
    later statement.
    """
    with transaction(db, f"event {event_id} undone"):
        event = required(events.by_id(db, event_id), f"There is no event {event_id}.")
        if not event.change:
            raise Refused(f"Event {event_id} records nothing that can be undone.")
        changes = list(reversed(net(statements.unpacked(event.change))))
        for change in changes:  # first of all: putting one row back may have a trigger change another
            _refuse_if_changed(db, change)
        # an artist or piece must be there again before a line can refer to it, and goes when none does any more
        returning = [c for c in changes if _returns(c)]
        _put_all_back(db, sorted(returning, key=lambda c: -_REFERRED.index(c.table)))
        recompute(db)
        _put_all_back(db, sorted((c for c in changes if c not in returning), key=lambda c: (
            _REFERRED.index(c.table) if c.table in OVERLAYS else -1)))
        for change in changes:
            _keep_made(db, change)


def _returns(change: Change) -> bool:
    """Whether undoing it recreates an artist's or piece's row, or undoes a merge of it."""
    joined_before, joined = ((row or {}).get("joined_into") is not None for row in (change.before, change.after))
    return change.table in JOINED and not joined_before and (joined or change.after is None)


def net(changes: Iterable[Change]) -> list[Change]:
    """One change for each row: from its state before the first change to that after the last, in order of the last.

    A row removed and put back as it was did not change.
    """
    by_row: dict[tuple[str, Key], Change] = {}
    for change in changes:
        first = by_row.pop((change.table, change.key), change)
        by_row[change.table, change.key] = Change(change.table, change.key, first.before, change.after)
    return [change for change in by_row.values() if change.before != change.after]


def _put_all_back(db: Database, changes: Iterable[Change]) -> None:
    gone = []
    for change in changes:
        try:
            with replaying(db):
                gone += _put_back(db, change)
        except sqlite3.IntegrityError as error:
            raise Refused(sentence(f"{statements.row_name(change.table, change.key)} cannot be restored: {error}"),
                          hint="Undo the later changes to it first.") from error
    for table in JOINED:
        if stated_facts.joined_in_a_circle(db, table) is not None:
            raise Refused("One of the two has since been merged into the other, so this cannot be undone.",
                          hint="Undo the later change first.")
        for row in (row for name, row in gone if name == table):
            make_again(db, table, row)


def _refuse_if_changed(db: Database, change: Change) -> None:
    """Raise Refused if a row is not as the change left it, or its table no longer exists. Overlays are checked when
    they are put back."""
    table = next((t for t in statements.STATED_TABLES if t.name == change.table), None)
    if table is None:
        raise Refused(sentence(f"{statements.row_name(change.table, change.key)} was recorded by an earlier version of"
                               " the program and cannot be undone"))
    if change.table in OVERLAYS:
        return
    present, _ = row_of(db, change)
    if change.after is None:
        if present is not None:
            raise _changed_since(change, ())
        return
    since = [name for name in table.columns or change.after if name in change.changed
             and (present is None or present.get(name) != change.after[name])]
    if since:
        raise _changed_since(change, since if present is not None else ())


def _keep_made(db: Database, change: Change) -> None:
    """A print that was put back to reserved stays made where later statements, which did not change its row, say so
    too: its order was printed, or it went somewhere. Else its number would be free to give again one day. Raises
    Refused where its order was cancelled since, or its line has fewer prints now."""
    if change.table != "edition_print" or change.before is None or change.before["state"] != "reserved":
        return
    this = "(n.edition_id, n.series, n.number, n.nth) = (?, ?, ?, ?) AND n.state = 'reserved'"
    line = "FROM order_line l JOIN orders o ON o.id = l.order_id WHERE l.id = n.line_id"
    db.execute(f"""UPDATE edition_print AS n SET state = 'printed' WHERE {this} AND (
                       EXISTS (SELECT 1 {line} AND l.cancelled = 0 AND o.status IN ('printed', 'collected'))
                       OR EXISTS (SELECT 1 FROM print_move m WHERE (m.edition_id, m.series, m.number, m.nth)
                                                                 = (n.edition_id, n.series, n.number, n.nth)))""",
               list(change.key))
    if db.execute(f"""SELECT 1 FROM edition_print n WHERE {this} AND EXISTS (
                          SELECT 1 {line} AND (l.cancelled OR o.status = 'cancelled'))""",
                  list(change.key)).fetchone() is not None:
        raise Refused("Its order or line was cancelled since, so this cannot be undone.",
                      hint="Undo the cancelling first.")
    if db.execute("""SELECT 1 FROM order_line l WHERE l.id = ? AND l.quantity < (
                         SELECT count(DISTINCT series || number) FROM edition_print WHERE line_id = l.id)""",
                  [change.before["line_id"]]).fetchone() is not None:
        raise Refused("The quantity of its line is less now, so this cannot be undone.",
                      hint="Undo the later change first.")


def row_of(db: Database, change: Change) -> tuple[Row | None, str]:
    """The row as it is now, if it is there, and the condition that finds it by the change's key."""
    where = " AND ".join(f"{name} = ?" for name in statements.key_columns(db, change.table))
    row = db.execute(f"SELECT * FROM {change.table} WHERE {where}", list(change.key)).fetchone()
    return None if row is None else dict(row), where


def _put_back(db: Database, change: Change) -> list[tuple[str, Row]]:
    """Undo one row's change; returns the row of an overlay that went, with its table."""
    if change.table in OVERLAYS:
        try:
            gone = stated_facts.put_back(db, change.table, change.before, change.after)
        except KeyError as error:
            raise _changed_since(change, error.args) from error
        return [] if gone is None else [(change.table, gone)]
    before, (present, where) = change.before, row_of(db, change)
    if before is None:
        db.execute(f"DELETE FROM {change.table} WHERE {where}", list(change.key))
    elif present is None:
        insert_row(db, change.table, before)
    elif columns := [name for name in before if name in change.changed]:
        update_row(db, change.table, {name: before[name] for name in columns},
                   dict(zip(statements.key_columns(db, change.table), change.key, strict=True)))
    return []


def _changed_since(change: Change, columns: Iterable[str]) -> Refused:
    names = ", ".join(columns)
    since = f"has changed since{f' ({names})' if names else ''}"
    return Refused(sentence(f"{statements.row_name(change.table, change.key)} {since}, so this cannot be undone"),
                   hint="Undo the later change first.")
