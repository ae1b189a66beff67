"""The log of statements: nothing stated is written past it, it can be played back, and each event undone."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.errors import CatalogueError, Damaged, Refused
from catalogue.reading.model import Picture, Reading
from catalogue.records import editions, events, likenesses, orders, pieces, stores
from catalogue.records.connection import Connection, packed_row, translate_sqlite_error
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.orders import NewLine
from catalogue.records.replay import differences, logged_changes, replay, undo
from catalogue.records.statements import STATED_TABLES, summary, unpacked
from catalogue.settings import Home
from tests import recorded


def _piece(db: Database, title: str = "Harbour") -> int:
    return pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, title)


def _order(db: Database, number: str = "2026-0001") -> int:
    with transaction(db):
        order = orders.save(db, number, "2026-02-03", buyer="Bo Rand")
        return orders.add_line(db, order, NewLine(_piece(db), 600.0, 403.2, 2, price="120.00"))


def _last_change(db: Database) -> int:
    return int(db.execute("SELECT max(id) FROM event WHERE change <> ''").fetchone()[0])


def test_one_transaction_is_one_event_with_every_row_before_and_after(db: Database) -> None:
    line = _order(db)
    changes = unpacked(events.by_id(db, _last_change(db)).change)  # type: ignore[union-attr]
    lines = [c for c in changes if c.table == "order_line"]
    assert summary(db, [c for c in changes if c.table[:5] == "order"]) == (
        f"order 2026-0001 added; line {line} of order 2026-0001 added")
    assert summary(db, [*lines, *lines] * 2) == "4 order lines added"
    assert [(c.table, c.before) for c in changes if "stated" not in c.table] == [("orders", None), ("order_line", None)]
    assert lines[0].key == (line,) and lines[0].after is not None and lines[0].after["height_mm"] == 403.2
    with transaction(db, "price corrected"):
        orders.change_line(db, line, {"price": "150.00"})
    event = events.by_id(db, _last_change(db))
    assert event is not None and event.detail == "price corrected"
    (change,) = unpacked(event.change)
    assert change.changed == {"price"} and not list(events.broken_links(db))


def test_a_write_past_the_log_is_refused_by_the_database(home: Home, db: Database) -> None:
    _order(db)
    for statement in ("UPDATE order_line SET price = '1.00'", "DELETE FROM order_line",
                      "INSERT INTO orders (number, placed) VALUES ('x', '2026-01-01')"):
        with pytest.raises(sqlite3.IntegrityError, match="logged transaction"):
            db.execute(statement)
        with closing(sqlite3.connect(home.database)) as other, pytest.raises(sqlite3.OperationalError):
            other.execute(statement)
    assert not differences(db)


def test_the_key_of_a_stated_row_stays(db: Database) -> None:
    _order(db)
    with pytest.raises(sqlite3.IntegrityError, match="key"), transaction(db):
        db.execute("UPDATE order_line SET id = 77")


def test_a_savepoint_rolled_back_leaves_nothing_in_the_log(db: Database) -> None:
    with transaction(db):
        orders.save(db, "kept", "2026-01-01")
        with pytest.raises(ZeroDivisionError), transaction(db):
            orders.save(db, "lost", "2026-01-01")
            1 / 0  # noqa: B018
    said = json.dumps([c.after for c in logged_changes(db)])
    assert "kept" in said and "lost" not in said and not differences(db)


def test_a_change_of_what_is_only_observed_is_not_logged(db: Database) -> None:
    with transaction(db):
        store = stores.add(db, "main", "/somewhere", "primary", "marker")
    before = events.count(db)
    with transaction(db):
        stores.move(db, store.id, "/elsewhere")
    assert events.count(db) == before and not differences(db)


@pytest.mark.parametrize(("tamper", "words"), [
    ("UPDATE order_line SET width_mm = 632 WHERE width_mm = 600", "width_mm is 632.0, the log says 600.0"),
    ("UPDATE order_line SET price = '120.01'", "price"), ("DELETE FROM order_line", "has vanished"),
    ("INSERT INTO orders (number, placed) VALUES ('2026-0009', '2026-01-01')", "added without a log entry")])
def test_a_row_altered_past_the_log_is_a_difference(db: Database, tamper: str, words: str) -> None:
    _order(db)
    for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE name GLOB 'statement_of_*'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    assert not differences(db)
    db.execute(tamper)
    assert words in "\n".join(map(str, differences(db)))


# What every table holds, from the meaning of its rows: what a person typed, chose, judged, ordered or confirmed …
STATED = {"answer", "artist_stated", "edition", "edition_print", "finding_accepted", "imported_row", "likeness_verdict",
          "artist_statement", "artist_terms", "buyer_stated", "print_file", "print_recipe", "print_move", "handover",
          "manifest_export", "order_line", "order_number_known", "orders", "piece_stated", "scan_stated", "store"}
# … what was observed, what follows from both, and the program's own notes of its work
NOT_STATED = {"artist", "damage", "event", "file", "file_place", "finding", "fixity_turn", "intake_file", "issued_id",
              "likeness", "likeness_seen", "order_buyer", "picture_hash", "piece", "piece_change", "refiling", "run",
              "scan", "scan_guess", "segment", "sidecar", "statement_staged", "store_place", "unsettled"}


def test_every_table_that_holds_statements_is_watched(db: Database) -> None:
    """A new table fails here until somebody has said what it holds."""
    tables = {row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    assert {name for name in tables if "_words" not in name} == STATED | NOT_STATED
    watched = {row[0] for row in db.execute("SELECT tbl_name FROM sqlite_schema WHERE name GLOB 'statement_of_*'")}
    assert watched == {table.name for table in STATED_TABLES} == STATED


def test_what_inner_transactions_are_for_is_said_of_the_one_event(db: Database) -> None:
    line = _order(db)
    with transaction(db, "after a telephone call"):
        with transaction(db, "price corrected"):
            orders.change_line(db, line, {"price": "150.00"})
        with transaction(db, "price corrected"):
            orders.change_line(db, line, {"notes": "on blue paper"})
    assert events.by_id(db, _last_change(db)).detail == (  # type: ignore[union-attr]
        "after a telephone call; price corrected")


def test_undo_puts_back_exactly_what_the_event_changed(db: Database) -> None:
    line = _order(db)
    with transaction(db):
        orders.change_line(db, line, {"price": "150.00"})
    priced = _last_change(db)
    with transaction(db):
        orders.change_line(db, line, {"notes": "on blue paper"})
    undo(db, priced)
    found = orders.line(db, line)
    assert found is not None and (found.price, found.notes) == ("120.00", "on blue paper")
    undo(db, _last_change(db))
    assert orders.line(db, line).price == "150.00"  # type: ignore[union-attr]
    assert not differences(db)


def test_undo_is_refused_where_it_was_changed_since(db: Database) -> None:
    line = _order(db)
    ordered = _last_change(db)
    with transaction(db):
        orders.change_line(db, line, {"price": "150.00"})
    priced = _last_change(db)
    with transaction(db):
        orders.change_line(db, line, {"price": "160.00"})
    for event in (priced, ordered):
        with pytest.raises(Refused, match="Order line 1 "):
            undo(db, event)
    assert orders.line(db, line).price == "160.00"  # type: ignore[union-attr]


def test_undo_of_what_a_later_statement_needs_is_refused(db: Database) -> None:
    with transaction(db):
        edition = editions.add(db, _piece(db), 10)
    made = _last_change(db)
    with transaction(db):
        order = orders.save(db, "1", "2026-01-01")
        orders.add_line(db, order, NewLine(_piece(db), 300, 200, 1, edition_id=edition))
    with pytest.raises(Refused, match="Edition 1"):
        undo(db, made)
    undo(db, _last_change(db))
    undo(db, made)
    assert editions.by_id(db, edition) is None and not differences(db)


def test_a_verdict_outlives_the_likeness_it_was_given_on(db: Database) -> None:
    with transaction(db):
        picture = Picture(900, 600, 16, "uint", 3, "RGB", "none", "strips")
        one, two = (recorded.save_scan(db, Reading("x.tif", 1, 1, digest * 64, picture=picture), role="master",
                                       piece_id=None) for digest in "ba")
        likenesses.keep(db, one, two, "re-scan", .9, "{}")
        likenesses.set_verdict(db, 1, "rejected")
    assert [row.verdict for row in likenesses.listed(db)] == ["rejected"]
    with transaction(db):
        db.execute("DELETE FROM likeness")
        likenesses.keep(db, two, one, "re-scan", .8, "{}")
    assert [row.verdict for row in likenesses.listed(db)] == ["rejected"]
    with transaction(db):
        likenesses.set_verdict(db, likenesses.listed(db)[0].id, "")
    assert [(row.verdict, row.judged) for row in likenesses.listed(db)] == [("", None)] and not differences(db)


def test_undo_is_refused_where_what_was_taken_back_was_stated_again(db: Database) -> None:
    with transaction(db):
        picture = Picture(900, 600, 16, "uint", 3, "RGB", "none", "strips")
        one, two = (recorded.save_scan(db, Reading("x.tif", 1, 1, digest * 64, picture=picture), role="master",
                                       piece_id=None) for digest in "ba")
        likenesses.keep(db, one, two, "re-scan", .9, "{}")
        likenesses.set_verdict(db, 1, "rejected")
    with transaction(db):
        likenesses.set_verdict(db, 1, "")
    taken_back = _last_change(db)
    with transaction(db):
        likenesses.set_verdict(db, 1, "confirmed")
    with pytest.raises(Refused, match=r"erdict a{12}… b{12}… ") as refusal:     # a screen has no room for two digests
        undo(db, taken_back)
    assert "a" * 13 not in refusal.value.message
    assert likenesses.listed(db)[0].verdict == "confirmed"


def test_a_commit_that_fails_is_not_left_open(db: Database) -> None:
    """A foreign key checked at the commit only: the refused write must not take the next one with it."""
    with pytest.raises(sqlite3.IntegrityError), transaction(db):
        db.execute("PRAGMA defer_foreign_keys = ON")
        order = orders.save(db, "1", "2026-01-01")
        orders.add_line(db, order, NewLine(999, 300, 200, 1))
    assert not db.conn.in_transaction
    _order(db, "2")
    path = db.execute("PRAGMA database_list").fetchone()[2]
    with closing(sqlite3.connect(path)) as other:
        assert [row[0] for row in other.execute("SELECT number FROM orders")] == ["2"]


def test_damage_met_while_rows_are_fetched_is_told_as_damage(home: Home, db: Database) -> None:
    with transaction(db):
        for n in range(3000):
            events.append(db, "fixity check", "success", path=f"{n}.tif", detail="x" * 200)
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    (root,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'event'").fetchone()
    size = int(db.execute("PRAGMA page_size").fetchone()[0])
    pages = [row[0] for row in db.execute("SELECT pageno FROM dbstat WHERE name = 'event' AND pageno <> ?", [root])]
    db.close()
    with home.database.open("r+b") as file:
        for page in pages[len(pages) // 2 :]:
            file.seek((page - 1) * size)
            file.write(b"\xff" * size)
    for fetch in (lambda cursor: cursor.fetchall(), list, lambda cursor: [next(cursor) for _ in range(3000)],
                  lambda cursor: [cursor.fetchone() for _ in range(3000)], lambda cursor: cursor.fetchmany(3000)):
        damaged = open_database(home.database)
        with pytest.raises(Damaged), closing(damaged.conn):
            fetch(damaged.execute("SELECT * FROM event"))


@given(st.dictionaries(st.sampled_from(["a", "b", "c"]), st.one_of(
    st.none(), st.integers(-2**63, 2**63 - 1), st.floats(allow_nan=False), st.text())))
def test_a_row_comes_back_from_the_log_as_it_was(row: dict[str, object]) -> None:
    assert json.loads(packed_row(",".join(row), *row.values()) if row else "{}") == row


@given(st.lists(st.tuples(st.integers(0, 3), st.sampled_from(["10.00", "20.00", "30.00"])), min_size=1, max_size=12))
def test_the_log_played_back_is_the_ledger(steps: list[tuple[int, str]]) -> None:
    db = open_database(Path(":memory:"))
    for number, price in steps:
        with transaction(db):
            order = orders.save(db, str(number), "2026-01-01")
            lines = orders.lines_of(db, order)
            if lines:
                orders.change_line(db, lines[0].id, {"price": price})
            else:
                orders.add_line(db, order, NewLine(_piece(db), 300, 200, 1, price=price))
    state = replay(logged_changes(db))
    assert {key[0]: row["price"] for key, row in state["order_line"].items()} == {
        line.id: line.price for line in orders.all_lines(db)}
    db.close()


def test_the_connection_says_in_which_program_a_fault_lies(db: Database) -> None:
    assert isinstance(db.conn, Connection)
    with pytest.raises(CatalogueError, match="could not record"), transaction(db):
        db.conn.rollback()


@pytest.mark.parametrize(("name", "uncertain"), [("SQLITE_IOERR_FSYNC", True), ("SQLITE_FULL", False)])
def test_a_commit_that_the_disk_fails_claims_nothing(db: Database, monkeypatch: pytest.MonkeyPatch, name: str,
                                                     uncertain: bool) -> None:
    """What was written before the flush failed may be read back after a crash (sqlite.org, "Write-Ahead Logging")."""
    def failing(self: Connection) -> None:
        error = sqlite3.OperationalError("disk I/O error")
        error.sqlite_errorname = name
        raise translate_sqlite_error(error) from error

    monkeypatch.setattr(Connection, "commit", failing)
    with pytest.raises(CatalogueError) as told:
        _order(db, "1")
    assert ("before you try again" in told.value.hint) is uncertain
    assert not db.conn.in_transaction
