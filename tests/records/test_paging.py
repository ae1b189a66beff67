"""Lists by pages: whatever the page's size and direction, nothing is skipped and nothing comes twice.

Held against plain sorting of all rows; equal titles and lines of one order are what keyset paging loses first.
"""

from collections.abc import Callable
from typing import Any

import pytest

from catalogue.records import browsing, findings, order_list, orders, pieces, upkeep_lists
from catalogue.records.database import Database, transaction
from catalogue.records.order_list import ListedLine, OrderFilter
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


def listed_lines(db: Database, wanted: OrderFilter, beyond: ListedLine | None, limit: int,
                 ahead: bool) -> list[ListedLine]:
    return order_list.page(db, wanted, beyond=beyond.position if beyond else None, limit=limit, forward=ahead)


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
        got = way(lambda beyond, limit, ahead=ahead: listed_lines(equal, OrderFilter(), beyond, limit, ahead), size)
        assert [(row.line.placed, row.line.id) for row in got] == newest_first


@pytest.mark.parametrize("size", SIZES)
def test_artists_and_findings_are_paged_both_ways(equal: Database, size: int) -> None:
    names = [row[0] for row in equal.execute("SELECT key FROM artist ORDER BY key")]
    for way, ahead in ((forward, True), (backward, False)):
        got = way(lambda beyond, limit, ahead=ahead: browsing.artists(equal, beyond, limit, forward=ahead), size)
        assert [row.key for row in got] == names
    found: list[findings.Finding] = []
    while page := findings.list_open(equal, after=found[-1].id if found else 0, limit=size):
        found += page
    ids = sorted(row[0] for row in equal.execute("SELECT id FROM finding"))
    assert [f.id for f in found] == ids
    for way, ahead in ((forward, True), (backward, False)):
        got = way(lambda beyond, limit, ahead=ahead: upkeep_lists.findings(equal, "", beyond, limit, forward=ahead),
                  size)
        assert [f.id for f in got] == ids[::-1]


@pytest.mark.parametrize("size", SIZES)
def test_lines_and_findings_of_one_status_or_kind(equal: Database, size: int) -> None:
    with transaction(equal):
        orders.set_status(equal, orders.by_number(equal, "2026-0001").id, "printed")
        for n in range(3):
            findings.record(equal, "truncated", "cut", path=f"{n}.tif")
    for way, ahead in ((forward, True), (backward, False)):
        wanted = OrderFilter(statuses=("requested",))
        lines = way(lambda beyond, limit, ahead=ahead, wanted=wanted: listed_lines(equal, wanted, beyond, limit, ahead),
                    size)
        assert [(row.line.number, row.line.status) for row in lines] == [("2026-0002", "requested")] * 4 + [
            ("2026-0000", "requested")] * 4
        cut = way(lambda beyond, limit, ahead=ahead: upkeep_lists.findings(equal, "truncated", beyond, limit,
                                                                       forward=ahead), size)
        assert [f.path for f in cut] == ["2.tif", "1.tif", "0.tif"]


@pytest.mark.parametrize("size", SIZES)
def test_names_of_every_script_come_from_the_end_too(db: Database, size: int) -> None:
    """Keys sort by code point, so whatever stands for "after all" stands after the last of these as well."""
    names = ["Zz", "Ночь", "海辺", "\U00020b9f"]
    with transaction(db):
        for name in names:
            pieces.piece_called(db, pieces.artist_called(db, name).id, name)
    for way, ahead in ((forward, True), (backward, False)):
        got = way(lambda beyond, limit, ahead=ahead: browsing.pieces(db, None, beyond, limit, forward=ahead), size)
        assert [piece.title for piece in got] == names
        artists = way(lambda beyond, limit, ahead=ahead: browsing.artists(db, beyond, limit, forward=ahead), size)
        assert [artist.name for artist in artists] == names
