"""Lists by pages: whatever the page's size and direction, nothing is skipped and nothing comes twice.

Held against plain sorting of all rows; equal titles and lines of one order are what keyset paging loses first.
"""

from collections.abc import Callable
from typing import Any

import pytest

from catalogue.records import browsing, findings, orders, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.orders import NewLine

SIZES = (1, 2, 3, 5, 100)


@pytest.fixture
def equal(db: Database) -> Database:
    """Six artists with pieces of one title, three orders of one day with several lines each, findings of one kind."""
    with transaction(db):
        ids = [pieces.piece_called(db, pieces.artist_called(db, f"Artist {n}").id, title)
               for n in range(6) for title in ("Harbour", "Untitled", f"Own {n}")]
        for number in range(3):
            order_id = orders.save(db, f"2026-000{number}", "2026-03-01" if number else "2026-02-28")
            for piece_id in ids[:4]:
                orders.add_line(db, order_id, NewLine(piece_id, 300, 400, medium="rag", quantity=1))
        for n in range(7):
            findings.record(db, "missing", "gone", path=f"{n % 3}/{n}.tif")
    return db


def forward(page: Callable[[Any, int], list[Any]], size: int) -> list[Any]:
    rows: list[Any] = []
    while found := page(rows[-1] if rows else None, size):
        rows += found
        assert len(rows) < 1000, "it never ends"
    return rows


def backward(page: Callable[[Any, int], list[Any]], size: int) -> list[Any]:
    rows: list[Any] = []
    while found := page(rows[0] if rows else None, size):
        rows = [*found, *rows]
        assert len(rows) < 1000, "it never ends"
    return rows


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("artist_id", [None, 2])
def test_pieces_of_equal_titles(equal: Database, size: int, artist_id: int | None) -> None:
    rows = [tuple(row) for row in equal.execute("SELECT key, id FROM piece WHERE ?1 IS NULL OR artist_id = ?1",
                                                [artist_id])]
    assert len(rows) == (18 if artist_id is None else 3)
    for way, ahead in ((forward, True), (backward, False)):
        got = way(lambda beyond, limit, ahead=ahead: browsing.pieces(equal, artist_id, beyond, limit, forward=ahead),
                  size)
        assert [(row.key, row.id) for row in got] == sorted(rows)


@pytest.mark.parametrize("size", SIZES)
def test_lines_of_one_order_and_of_one_day(equal: Database, size: int) -> None:
    rows = [tuple(row) for row in equal.execute("""SELECT o.placed, l.id FROM order_line l
                                                   JOIN orders o ON o.id = l.order_id""")]
    newest_first = sorted(rows, reverse=True)
    assert len(newest_first) == 12
    for way, ahead in ((forward, True), (backward, False)):
        got = way(lambda beyond, limit, ahead=ahead: browsing.lines(equal, "", beyond, limit, forward=ahead), size)
        assert [(row.placed, row.id) for row in got] == newest_first
    listed: list[orders.Line] = []
    while page := orders.lines(equal, before=(listed[-1].placed, listed[-1].id) if listed else ("9999", 0), limit=size):
        listed += page
    assert [(line.placed, line.id) for line in listed] == newest_first


@pytest.mark.parametrize("size", SIZES)
def test_artists_and_findings(equal: Database, size: int) -> None:
    names = [row[0] for row in equal.execute("SELECT key FROM artist ORDER BY key")]
    for way, ahead in ((forward, True), (backward, False)):
        got = way(lambda beyond, limit, ahead=ahead: browsing.artists(equal, beyond, limit, forward=ahead), size)
        assert [row.key for row in got] == names
    found: list[findings.Finding] = []
    while page := findings.open_ones(equal, after=found[-1].id if found else 0, limit=size):
        found += page
    assert [f.id for f in found] == sorted(row[0] for row in equal.execute("SELECT id FROM finding"))
