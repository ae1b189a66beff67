"""Orders as both interfaces record them and move them on."""

from collections.abc import Iterator

import pytest

from catalogue.errors import NotFound, Refused
from catalogue.ledger.proposal import Proposal
from catalogue.ledger.repeat import propose
from catalogue.operations import orders as operations
from catalogue.records import orders
from catalogue.records.database import Database, open_database
from catalogue.settings import Home, Settings
from tests.operations.shops import Archive


@pytest.fixture
def db(twins: tuple[Archive, Archive]) -> Iterator[Database]:
    database = open_database(twins[0].home.database)
    yield database
    database.close()


@pytest.fixture
def shop(twins: tuple[Archive, Archive]) -> Home:
    return Home(twins[0].home.folder, Settings(currency="NOK"))


def proposal(db: Database, shop: Home, piece_id: int = 1) -> Proposal:
    return propose(db, shop, piece_id=piece_id, width_mm=300, height_mm=400, medium="rag", afresh=True)


def test_a_new_order_has_the_shops_currency_and_an_added_line_that_of_its_order(db: Database, shop: Home) -> None:
    first = operations.record_order(db, proposal(db, shop), price="120")
    assert orders.by_number(db, first.number).currency == "NOK"
    other = operations.record_order(db, proposal(db, shop), number="A7", currency="CHF", price="90")
    assert orders.by_number(db, "A7").currency == "CHF"
    added = operations.record_order(db, proposal(db, shop, 2), number="A7", price="80")
    assert (added.number, orders.by_number(db, "A7").currency) == (other.number, "CHF")
    assert operations.summarize(first) == [f"Recorded as order {first.number}, line {first.id}."]


def test_an_order_is_moved_on_only_from_where_it_was_seen(db: Database, shop: Home) -> None:
    """Two seats press the same key: the second one does not move the order two steps."""
    line = operations.record_order(db, proposal(db, shop))
    seen = orders.by_number(db, line.number).status
    following = orders.STATUSES[orders.STATUSES.index(seen) + 1]
    moved = operations.set_order_status(db, line.number, following, seen=seen)
    assert operations.summarize(moved) == [f"Order {line.number} is {following}."]
    after = orders.STATUSES[orders.STATUSES.index(following) + 1]
    with pytest.raises(Refused, match=f"is now {following}"):
        operations.set_order_status(db, line.number, after, seen=seen)
    assert orders.by_number(db, line.number).status == following


def test_only_a_line_of_the_order_that_was_named_is_cancelled(db: Database, shop: Home) -> None:
    one = operations.record_order(db, proposal(db, shop))
    other = operations.record_order(db, proposal(db, shop, 2))
    with pytest.raises(NotFound, match="has no line"):
        operations.cancel_lines(db, [other.id], of_order=one.number)
    kept = orders.line(db, other.id)
    assert kept is not None and kept.status != "cancelled"
    done = operations.cancel_lines(db, [other.id], of_order=other.number)
    assert operations.summarize(done) == [
        f"Line {other.id} of order {other.number} is cancelled. That cancels the whole order."]
