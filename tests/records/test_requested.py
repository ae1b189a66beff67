"""Orders "asked" for until schema 21 are "requested" since: tables, log, journal and undo say so together."""

import json
import lzma
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from catalogue.ledger.statuses import set_status
from catalogue.records import journal, orders, salvage
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.replay import differences, logged_changes, replay, undo
from catalogue.records.statements import Change, unpacked

OLDER = Path(__file__).parent / "older"
LOGGED = [f"schema-{schema:02}" for schema in (13, 14, 18)]     # each statement an event, prints in one table


def upgraded(name: str, folder: Path) -> tuple[Database, list[tuple[int, list[Change]]], str]:
    """A catalogue of an older schema upgraded, its events with their changes, and all that the log says as text."""
    path = folder / "catalogue.sqlite"
    path.write_bytes(lzma.decompress((OLDER / f"{name}.sqlite.xz").read_bytes()))
    with closing(sqlite3.connect(path)) as before:
        log = before.execute("SELECT id, change FROM event WHERE change <> '' ORDER BY id").fetchall()
        assert before.execute("SELECT count(*) FROM orders WHERE status = 'asked'").fetchone()[0]
    db = open_database(path)
    return db, [(event, unpacked(text)) for event, text in log], "".join(text for _, text in log)


@pytest.mark.parametrize("name", LOGGED)
def test_table_log_and_journal_agree_after_the_upgrade(name: str, tmp_path: Path) -> None:
    db, _, log = upgraded(name, tmp_path)
    assert '"status":"asked"' in log, "what was logged stays as it was written"
    assert {row[0] for row in db.execute("SELECT DISTINCT status FROM orders")} == {
        "requested", "printed", "cancelled"}
    assert not differences(db)
    of_orders = replay(logged_changes(db))["orders"]
    assert {key[0]: row["status"] for key, row in of_orders.items()} == dict(
        tuple(row) for row in db.execute("SELECT id, status FROM orders"))
    with transaction(db):
        orders.change(db, orders.by_number(db, "2024-0003").id, {"notes": "by Friday"})
    journal.append_new(db, tmp_path / "catalogue.sqlite")
    assert journal.check(db, tmp_path / "catalogue.sqlite") == [] and not differences(db)
    db.close()


@pytest.mark.parametrize("name", LOGGED)
def test_events_from_before_can_be_undone(name: str, tmp_path: Path) -> None:
    """One that moved an order on from "asked", and one that made an order."""
    db, events, _ = upgraded(name, tmp_path)
    number, made = orders.by_number(db, "2024-0004").id, orders.by_number(db, "2024-0003").id
    moved = next(event for event, changes in events for c in changes if c.table == "orders" and c.key == (number,)
                 and c.before and c.after and (c.before["status"], c.after["status"]) == ("requested", "printed"))
    undo(db, moved)
    assert orders.by_number(db, "2024-0004").status == "requested"
    added = next(event for event, changes in events for c in changes if c.table == "orders" and c.key == (made,)
                 and c.before is None)
    undo(db, added)
    assert orders.find_by_number(db, "2024-0003") is None
    assert not differences(db)
    db.close()


@pytest.mark.parametrize("name", LOGGED)
def test_a_statement_from_before_is_put_back_by_a_recovery(name: str, tmp_path: Path) -> None:
    db, events, _ = upgraded(name, tmp_path)
    made = orders.by_number(db, "2024-0003").id
    added, changes = next((event, changes) for event, changes in events for c in changes
                          if c.table == "orders" and c.key == (made,) and c.before is None)
    undo(db, added)
    with transaction(db):
        assert [salvage.apply(db, change) for change in changes] == [""] * len(changes)
    assert orders.by_number(db, "2024-0003").status == "requested" and not differences(db)
    db.close()


@pytest.mark.parametrize("name", ["schema-06", "schema-18"])
def test_the_table_made_anew_is_as_it_was(name: str, tmp_path: Path) -> None:
    """Its references hold, orders are found by buyer and by words, and only the two needless indexes went."""
    path = tmp_path / "catalogue.sqlite"
    path.write_bytes(lzma.decompress((OLDER / f"{name}.sqlite.xz").read_bytes()))
    told = json.loads((OLDER / f"{name}.json").read_text())["orders"]
    db = open_database(path)
    assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    joined = db.execute("SELECT count(*) FROM order_buyer b JOIN orders o ON o.id = b.order_id").fetchone()[0]
    assert joined == len(told)
    assert db.execute("SELECT count(*) FROM order_words WHERE order_words MATCH 'oakhanger'").fetchone()[0] == 2
    on_orders = {row[0] for row in db.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'"
                                              " AND tbl_name = 'orders' AND name NOT LIKE 'statement%'")}
    assert on_orders == {"order_buyer_in", "order_buyer_anew", "order_words_in", "order_words_out", "order_words_anew",
                         "edition_print_made", "edition_print_freed"}
    assert not db.execute("SELECT 1 FROM sqlite_schema WHERE name IN ('file_by_check', 'orders_by_date')").fetchall()
    with pytest.raises(sqlite3.IntegrityError, match="CHECK"), transaction(db):
        db.execute("UPDATE orders SET status = 'asked'")
    assert set_status(db, "2024-0003", "asked").status == "requested", "typed as it was called, it is still understood"
    db.close()
