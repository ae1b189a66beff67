"""A line's unit price and price: recorded together, repeated, corrected, imported, undone."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from catalogue.errors import Refused
from catalogue.ledger import repeat
from catalogue.ledger.importing import RowFate, import_orders
from catalogue.ledger.prices import Prices, corrected_prices, stated_prices
from catalogue.ledger.statuses import correct
from catalogue.records import orders
from catalogue.records.database import last_statement, transaction
from catalogue.records.replay import differences, undo

from .conftest import Shop


@pytest.fixture
def piece(shop: Shop) -> int:
    made = shop.piece("Ilse Marwood", "Harbour at Low Water")
    shop.scan("harbour.tif", made)
    return made


def ordered(shop: Shop, piece: int, **said: str) -> orders.Line:
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=420, quantity=3)
    line = repeat.record(shop.db, proposal, placed="2026-02-03", currency="EUR", **said)
    assert line is not None
    return line


def test_another_ten_cost_ten_times_one(shop: Shop, piece: int) -> None:
    first = ordered(shop, piece, unit_price="117")
    assert (first.unit_price, first.price) == ("117.00", "351.00")
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, quantity=10)
    assert (proposal.line.unit_price, proposal.line.price, proposal.currency) == ("117.00", "1170.00", "EUR")
    ten = repeat.record(shop.db, proposal)
    assert ten is not None and (ten.quantity, ten.unit_price, ten.price) == (10, "117.00", "1170.00")
    twelve = repeat.record(shop.db, proposal, quantity=12)
    assert twelve is not None and (twelve.unit_price, twelve.price) == ("117.00", "1404.00")
    free = repeat.record(shop.db, proposal, unit_price="")
    assert free is not None and (free.unit_price, free.price) == ("", "")


def test_a_price_for_the_line_implies_that_of_one_where_it_divides(shop: Shop, piece: int) -> None:
    assert ordered(shop, piece, price="351").unit_price == "117.00"
    assert ordered(shop, piece, price="100").unit_price == ""
    assert ordered(shop, piece, price="351", unit_price="117").price == "351.00"
    with pytest.raises(Refused, match=r"3 × 117.00 EUR is 351.00 EUR, not 350.00 EUR"):
        ordered(shop, piece, price="350", unit_price="117")


def test_a_line_of_an_older_catalogue_keeps_its_price_as_that_of_the_line(shop: Shop, piece: int) -> None:
    with transaction(shop.db):
        order = orders.add(shop.db, "A-1", "2019-05-01", currency="EUR")
        orders.add_line(shop.db, order, orders.NewLine(piece, 300.0, 420.0, 4, price="468.00"))
        orders.add_line(shop.db, order, orders.NewLine(piece, 300.0, 420.0, 3, price="100.00"))
    even, odd = orders.lines_of(shop.db, order)
    assert (even.unit_price, odd.unit_price) == ("", "")
    ask = lambda line: repeat.propose(shop.db, shop.home, line_id=line, quantity=2).line  # noqa: E731
    assert (ask(even.id).unit_price, ask(even.id).price) == ("117.00", "234.00")
    assert (ask(odd.id).unit_price, ask(odd.id).price) == ("", "")


def test_another_size_medium_or_currency_does_not_take_the_price_along(shop: Shop, piece: int) -> None:
    ordered(shop, piece, unit_price="117")
    for other in ({"width_mm": 500.0}, {"medium": "Canvas"}):
        assert repeat.propose(shop.db, shop.home, piece_id=piece, **other).line.unit_price == ""  # type: ignore[arg-type]
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    with pytest.raises(Refused, match="in EUR, "):
        repeat.record(shop.db, proposal, currency="CHF")
    assert len(orders.all_lines(shop.db)) == 1


@pytest.mark.parametrize(("said", "why"), [
    ({"unit_price": "-1"}, "below zero"), ({"price": "dear"}, "'dear'"),
    ({"unit_price": "0.125"}, "2 decimals"),
    ({"unit_price": "999999999999"}, "more than"),
    ({"unit_price": "5", "currency": "Taler"}, "Taler")])
def test_what_cannot_be_a_price_is_refused_whole(shop: Shop, piece: int, said: dict[str, str], why: str) -> None:
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=420, quantity=3)
    with pytest.raises(Refused, match=why):
        repeat.record(shop.db, proposal, **{"currency": "EUR"} | said)  # type: ignore[arg-type]
    assert orders.every(shop.db) == []


def test_both_prices_follow_a_correction_and_an_undoing(shop: Shop, piece: int) -> None:
    line = ordered(shop, piece, unit_price="117")

    def corrected(**said: object) -> tuple[int, str, str]:
        correct(shop.db, line.number, {}, line_id=line.id, line=said)
        now = orders.line(shop.db, line.id)
        assert now is not None
        return now.quantity, now.unit_price, now.price

    assert corrected(quantity=5) == (5, "117.00", "585.00")
    assert corrected(unit_price="120,50") == (5, "120.50", "602.50")
    changed = last_statement(shop.db)
    assert changed is not None
    undo(shop.db, changed)
    assert orders.line(shop.db, line.id).price == "585.00"  # type: ignore[union-attr]
    assert corrected(price="100") == (5, "20.00", "100.00")
    assert corrected(price="99.99") == (5, "", "99.99")
    assert corrected(quantity=4) == (4, "", "99.99"), "a price for the line stays what was agreed"
    assert not differences(shop.db)


def test_an_orders_currency_is_corrected_only_where_its_prices_fit(shop: Shop, piece: int) -> None:
    line = ordered(shop, piece, unit_price="117.50")
    with pytest.raises(Refused, match="no decimals"):
        correct(shop.db, line.number, {"currency": "JPY"})
    correct(shop.db, line.number, {"currency": "chf"}, line_id=line.id, line={"unit_price": "118"})
    now = orders.line(shop.db, line.id)
    assert now is not None and (now.currency, now.unit_price, now.price) == ("CHF", "118.00", "354.00")
    correct(shop.db, line.number, {"currency": "JPY"})
    now = orders.line(shop.db, line.id)
    assert now is not None and (now.currency, now.unit_price, now.price) == ("JPY", "118", "354")


def test_the_table_itself_refuses_two_prices_that_disagree(shop: Shop, piece: int) -> None:
    line = ordered(shop, piece, unit_price="117")
    for wrong in ({"price": "350.00"}, {"quantity": 4}, {"price": ""}, {"unit_price": "117"}):
        with pytest.raises(sqlite3.IntegrityError, match="quantity times"), transaction(shop.db):
            orders.change_line(shop.db, line.id, wrong)
    with pytest.raises(sqlite3.IntegrityError, match="quantity times"), transaction(shop.db):
        orders.add_line(shop.db, line.order_id, replace(orders.NewLine(piece, 300.0, 420.0, 2), unit_price="1.00",
                                                        price="3.00"))


def test_prices_are_stated_or_corrected_in_their_currency() -> None:
    assert stated_prices(10, "JPY", unit="1,200") == Prices("1200", "12000")
    assert stated_prices(3, "EUR") == stated_prices(3, "EUR", price="", unit="") == Prices("", "")
    assert corrected_prices(Prices("", "12.00"), 5, "EUR") == Prices("", "12.00")
    assert corrected_prices(Prices("", ""), 5, "EUR", unit="2") == Prices("2.00", "10.00")


BOOK = """number,date,artist,piece title,width_cm,height_cm,quantity,price each,price,currency
R-1,2024-02-01,Ilse Marwood,Harbour at Low Water,30,42,2,60,,EUR
R-2,2024-02-02,Ilse Marwood,Harbour at Low Water,30,42,2,60,130,EUR
R-3,2024-02-03,Ilse Marwood,Harbour at Low Water,30,42,2,-60,,EUR
R-4,2024-02-04,Ilse Marwood,Harbour at Low Water,30,42,2,60,,Taler
R-5,2024-02-05,Ilse Marwood,Harbour at Low Water,30,42,2,999999999999,,EUR
R-6,2024-02-06,Ilse Marwood,Harbour at Low Water,30,42,99999999999999999999,60,,EUR
R-7,2024-02-07,Ilse Marwood,Harbour at Low Water,9e99,{nines},2,60,,EUR
R-8,2024-02-08,Ilse Marwood,Harbour at Low Water,30,42,2,{nines},,EUR
R-1,2024-02-01,Ilse Marwood,Harbour at Low Water,30,42,1,60,,CHF
R-1,2024-02-01,Ilse Marwood,Harbour at Low Water,30,42,3,,100,
R-9,2024-02-09,Ilse Marwood,Harbour at Low Water,30,42,2,"12.000",,JPY
"""


def test_each_row_of_a_book_has_its_own_fate(shop: Shop, piece: int, tmp_path: Path) -> None:
    book = tmp_path / "book.csv"
    book.write_text(BOOK.format(nines="9" * 200_000), encoding="utf-8")
    done = import_orders(shop.db, shop.home.settings, book)
    assert [fate.fate for fate in done.fates] == [
        RowFate.RECORDED, RowFate.REFUSED, RowFate.REFUSED, RowFate.NOT_UNDERSTOOD, RowFate.REFUSED,
        RowFate.NOT_UNDERSTOOD, RowFate.NOT_UNDERSTOOD, RowFate.REFUSED, RowFate.REFUSED, RowFate.RECORDED,
        RowFate.RECORDED]
    said = [fate.detail for fate in done.fates]
    assert "not 130.00 EUR" in said[1] and "below zero" in said[2] and "'Taler'" in said[3]
    assert "more than" in said[4] and "quantity" in said[5] and "length" in said[6] and "too long" in said[7]
    assert "EUR" in said[8] and "CHF" in said[8] and all(len(text) < 400 for text in said)
    assert [(line.number, line.quantity, line.unit_price, line.price, line.currency)
            for line in orders.all_lines(shop.db)] == [
        ("R-1", 2, "60.00", "120.00", "EUR"), ("R-1", 3, "", "100.00", "EUR"), ("R-9", 2, "12000", "24000", "JPY")]
    again = import_orders(shop.db, shop.home.settings, book)
    assert again.counts == {RowFate.KNOWN: 3, RowFate.NOT_UNDERSTOOD: 3, RowFate.REFUSED: 5}


def test_an_older_catalogues_currency_is_kept_where_it_comes_from_our_own_tables(
        shop: Shop, piece: int, tmp_path: Path) -> None:
    book = tmp_path / "book.csv"
    book.write_text("\n".join(BOOK.splitlines()[:1] + BOOK.splitlines()[4:5]), encoding="utf-8")
    assert import_orders(shop.db, shop.home.settings, book, own=True).counts == {RowFate.RECORDED: 1}
    assert orders.all_lines(shop.db)[0].currency == "Taler"
