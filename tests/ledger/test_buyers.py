"""Buyers: one for every spelling, joined, named, undone."""

import sqlite3
from pathlib import Path

import pytest

from catalogue.errors import Ambiguous, NotFound, Refused
from catalogue.ledger.buyers import find_buyer
from catalogue.ledger.columns import kind_of
from catalogue.ledger.importing import RowFate
from catalogue.ledger.importing_names import import_buyers
from catalogue.operations.buyers import describe_buyer, merge_buyers, summarize
from catalogue.records import buyers, orders
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.replay import differences, undo
from catalogue.sheets.tables import buyers_csv
from tests import recorded

from .conftest import Shop


@pytest.fixture
def db(shop: Shop) -> Database:
    with transaction(shop.db):
        for number, placed, buyer in (("1", "2025-01-05", "Hotel Umberlow"), ("2", "2025-02-05", "hotel  UMBERLOW"),
                                      ("3", "2025-03-05", "The Umberlow"), ("4", "2025-03-06", "Ms Colquhane"),
                                      ("5", "2025-03-07", ""), ("6", "2025-03-08", "Umblow")):
            orders.add(shop.db, number, placed, buyer=buyer)
        orders.set_status(shop.db, orders.by_number(shop.db, "4").id, "cancelled")
    return shop.db


def names(db: Database) -> list[tuple[str, int]]:
    return [(one.name, one.orders) for one in buyers.listed(db)]


def test_spellings_that_fold_alike_are_one_buyer_from_the_first(db: Database) -> None:
    assert names(db) == [("hotel  UMBERLOW", 2), ("Ms Colquhane", 0), ("The Umberlow", 1), ("Umblow", 1)]
    assert buyers.spellings(db, "hotel umberlow") == ["Hotel Umberlow", "hotel  UMBERLOW"]
    assert [one.key for one in buyers.listed(db, after="hotel umberlow", limit=2)] == ["ms colquhane", "the umberlow"]


def test_two_buyers_are_joined_and_later_orders_follow(db: Database) -> None:
    describe_buyer(db, "the umberlow", contact="1 Quay Lane", notes="rings at noon")
    done = merge_buyers(db, "hotel umberlow", "the umberlow")
    assert (done.buyer.orders, done.buyer.contact, done.buyer.notes) == (3, "1 Quay Lane", "rings at noon")
    with transaction(db):
        orders.add(db, "7", "2025-04-01", buyer="THE UMBERLOW")
    assert names(db)[0] == ("hotel  UMBERLOW", 4)
    assert orders.by_number(db, "3").buyer == "The Umberlow", "an order keeps what is written on it"
    merge_buyers(db, "umblow", "hotel umberlow")
    assert names(db) == [("Ms Colquhane", 0), ("Umblow", 5)]
    assert find_buyer(db, "the umberlow").key == "umblow" == find_buyer(db, "Hotel Umb").key
    assert not differences(db)


def test_a_merge_is_undone_exactly_and_the_earlier_only_after_the_later(db: Database) -> None:
    before = names(db)
    first = merge_buyers(db, "hotel umberlow", "the umberlow").event
    assert "buyers merged: The Umberlow into hotel  UMBERLOW" in {event.detail for event in recorded.events(db)}
    second = merge_buyers(db, "umblow", "hotel umberlow").event
    assert first is not None and second is not None
    with pytest.raises(Refused, match="changed since"):
        undo(db, first)
    undo(db, second)
    undo(db, first)
    assert names(db) == before and not differences(db)


def test_under_a_new_name_old_and_new_orders_are_theirs(db: Database) -> None:
    done = describe_buyer(db, "ms colquhane", name="Dr Colquhane")
    assert done.event and (done.buyer.key, done.buyer.name) == ("ms colquhane", "Dr Colquhane")
    with transaction(db):
        orders.add(db, "8", "2025-05-01", buyer="dr colquhane")
        orders.add(db, "9", "2025-05-02", buyer="Ms Colquhane")
    assert names(db)[1] == ("Dr Colquhane", 2)
    again = describe_buyer(db, "ms colquhane", name="Dr Colquhane")
    assert again.event is None and "Nothing to change" in summarize(again)[0]
    with pytest.raises(Refused, match=r"(?i)umberlow"):
        describe_buyer(db, "ms colquhane", name="The UMBERLOW")
    with pytest.raises(Refused, match="name"):
        describe_buyer(db, "ms colquhane", name=" ")


def test_who_is_meant(db: Database) -> None:
    with pytest.raises(Ambiguous, match="2 buyers match 'umberlow'"):
        find_buyer(db, "umberlow")
    for nobody in ("nobody", "", "!"):
        with pytest.raises(NotFound):
            find_buyer(db, nobody)
    with pytest.raises(Refused, match="with themselves"):
        merge_buyers(db, "the umberlow", "the umberlow")
    with pytest.raises(NotFound):
        merge_buyers(db, "the umberlow", "nobody")


def test_an_order_whose_buyer_is_corrected_moves_on(db: Database) -> None:
    with transaction(db):
        orders.change(db, orders.by_number(db, "1").id, {"buyer": "Ms Colquhane"})
    assert names(db)[:2] == [("hotel  UMBERLOW", 1), ("Ms Colquhane", 1)]


def test_the_table_refuses_a_chain(db: Database) -> None:
    merge_buyers(db, "hotel umberlow", "the umberlow")
    for key, into in (("umblow", "the umberlow"), ("hotel umberlow", "ms colquhane")):
        with pytest.raises(sqlite3.IntegrityError, match="third"), transaction(db):
            buyers.state(db, key, {"joined_into": into})


def test_buyers_go_into_a_table_and_come_back_from_it(db: Database, tmp_path: Path) -> None:
    describe_buyer(db, "ms colquhane", name="Dr Colquhane", contact="1 Quay Lane", notes="rings at noon")
    merge_buyers(db, "hotel umberlow", "the umberlow")
    table = tmp_path / "customers.csv"
    table.write_text(buyers_csv(db), encoding="utf-8")
    assert kind_of(table, {}) == "buyers"
    fresh = open_database(tmp_path / "fresh.sqlite")
    with transaction(fresh):
        orders.add(fresh, "3", "2025-03-05", buyer="The Umberlow")
    assert import_buyers(fresh, table).counts == {RowFate.RECORDED: 3}
    assert [(one.key, one.name, one.contact, one.notes) for one in buyers.listed(fresh)] == [
        ("dr colquhane", "Dr Colquhane", "1 Quay Lane", "rings at noon"), ("hotel umberlow", "hotel  UMBERLOW", "", ""),
        ("umblow", "Umblow", "", "")]
    assert find_buyer(fresh, "the umberlow").orders == 1 and find_buyer(fresh, "ms colquhane").key == "dr colquhane"
    assert import_buyers(fresh, table).counts == {RowFate.KNOWN: 3} and not differences(fresh)
    fresh.close()


def test_each_row_of_a_list_of_customers_has_its_own_fate(db: Database, tmp_path: Path) -> None:
    describe_buyer(db, "the umberlow", contact="by post")
    table = tmp_path / "customers.csv"
    table.write_text("customer,e-mail,also written\nHotel Umberlow,a@b.example,The Umberlow\n,x,\n"
                     "New One,c@d.example,\n")
    done = import_buyers(db, table)
    assert [fate.fate for fate in done.fates] == [RowFate.REFUSED, RowFate.NOT_UNDERSTOOD, RowFate.RECORDED]
    assert "another buyer" in done.fates[0].detail
    assert (find_buyer(db, "hotel umberlow").contact, find_buyer(db, "new one").contact) == ("", "c@d.example")
