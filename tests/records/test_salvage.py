"""What is read from a damaged catalogue, and what is made again from it: only what the chain proves, over nothing."""

from pathlib import Path

import pytest

from catalogue.records import events, orders, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.orders import NewLine
from catalogue.records.replay import logged_changes
from catalogue.records.salvage import apply, readable_log
from catalogue.settings import Home
from tests import recorded


def _line(db: Database, number: str, price: str) -> int:
    with transaction(db):
        piece = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Harbour")
        return orders.add_line(db, orders.save(db, number, "2026-02-03"), NewLine(piece, 600, 400, 1, price=price))


def _closed(home: Home, db: Database) -> Path:
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    db.close()
    return home.database


def test_an_event_that_is_not_what_was_written_is_not_believed(home: Home, db: Database) -> None:
    for number in range(5):
        _line(db, f"R-{number}", "120.00")
    logged = [event.id for event in recorded.events(db) if event.change]
    meant, last = logged[2], events.last(db)
    assert last is not None
    db.execute("DROP TRIGGER event_never_changed")
    db.execute("UPDATE event SET change = replace(change, '120.00', '12.00') WHERE id = ?", [meant])
    db.conn.commit()
    found = readable_log(_closed(home, db), 0, events.START, last.id)
    assert [event.id for event in found.altered] == [meant]
    assert [event.id for event in found.proven] == [n for n in range(1, last.id + 1) if n != meant]
    assert found.whole and not found.unproven


def test_events_are_read_from_both_ends_up_to_the_damage(home: Home, db: Database) -> None:
    """Also those after it of which nothing else is known: the index of events is not asked how far they go."""
    with transaction(db):
        for number in range(3000):
            events.append(db, "fixity check", "success", path=f"{number}.tif", detail="x" * 200)
    (root,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'event'").fetchone()
    size = int(db.execute("PRAGMA page_size").fetchone()[0])
    pages = [row[0] for row in db.execute("SELECT pageno FROM dbstat WHERE name = 'event' AND pagetype = 'leaf' AND"
                                          " pageno <> ? ORDER BY path", [root])]
    path = _closed(home, db)
    with path.open("r+b") as file:
        file.seek((pages[len(pages) // 2] - 1) * size)
        file.write(b"\xff" * size)
    found = readable_log(path, 0, events.START, 0)
    ids = sorted(event.id for event in (*found.proven, *found.unproven))
    assert (ids[0], ids[-1]) == (1, 3000)
    assert 2900 < len(ids) < 3000, "one page of them is lost"
    assert not found.whole and not found.altered


def test_what_was_stated_since_is_not_overwritten_by_what_is_put_back(db: Database) -> None:
    line = _line(db, "R-1", "120.00")
    with transaction(db):
        orders.change_line(db, line, {"price": "150.00"})
    (change,) = [c for c in logged_changes(db) if c.table == "order_line" and c.before is not None]
    with transaction(db):
        orders.change_line(db, line, {"price": "160.00"})
    with transaction(db):
        assert apply(db, change) == f"order line {line}: price is '160.00', not '150.00'"
    assert orders.line(db, line).price == "160.00"  # type: ignore[union-attr]
    with transaction(db):
        assert apply(db, change, final=True) == ""
    assert orders.line(db, line).price == "150.00"  # type: ignore[union-attr]


@pytest.mark.parametrize("price", ["120.00", "150.00"], ids=["as before it", "made already"])
def test_a_statement_is_put_back_where_nothing_was_stated_since(db: Database, price: str) -> None:
    line = _line(db, "R-1", "120.00")
    with transaction(db):
        orders.change_line(db, line, {"price": "150.00"})
    (change,) = [c for c in logged_changes(db) if c.table == "order_line" and c.before is not None]
    with transaction(db):
        orders.change_line(db, line, {"price": price})
    with transaction(db):
        assert apply(db, change) == ""
    assert orders.line(db, line).price == "150.00"  # type: ignore[union-attr]
