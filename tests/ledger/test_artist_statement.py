"""Statements to artists, each sum worked out by hand beside it; corrections; the same period twice."""

import csv
import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from io import StringIO
from pathlib import Path

import pytest

from catalogue.errors import NotFound, Refused
from catalogue.indexing.corrections import merge_artists
from catalogue.ledger import editions
from catalogue.ledger.artist_statement import Row, Statement, issue, owed, statement
from catalogue.ledger.artist_terms import in_words, set_terms
from catalogue.ledger.periods import Period, month
from catalogue.ledger.statuses import correct, set_status
from catalogue.operations.artist_statements import look_at_statement, make_statement, summarize
from catalogue.records import artist_statements, orders, pieces
from catalogue.records.database import Database, last_statement, transaction
from catalogue.records.numbers import Number
from catalogue.records.orders import NewLine
from catalogue.records.replay import differences, undo
from catalogue.sheets.statement import TAX, statement_csv, statement_page

from .conftest import Shop

NOVEMBER, DECEMBER, JANUARY = month("2025-11"), month("2025-12"), month("2026-01")
DATES = "%d %b %Y"
Order = Callable[..., int]


@pytest.fixture
def db(shop: Shop) -> Database:
    """Artist 1 with pieces 1 and 2; of piece 1 an edition of 25 and 2 proofs. Artist 2 with piece 3."""
    for artist, title in (("Ada Quill", "Harbour"), ("Ada Quill", "Pier"), ("Bo Rand", "Mill")):
        shop.piece(artist, title)
    editions.define(shop.db, 1, 25, proofs=2)
    return shop.db


@pytest.fixture
def order(db: Database) -> Order:
    def made(number: str, placed: str, quantity: int = 1, *, unit: str = "", price: str = "", piece: int = 2,
             status: str = "collected", currency: str = "EUR", numbers: str = "", replacing: str = "") -> int:
        """An order of one line; ``numbers`` are those of edition 1: ``number`` or ``proof``, lowest free ones."""
        if unit:
            price = f"{Decimal(unit) * quantity:.2f}"
        with transaction(db):
            order_id = orders.add(db, number, placed, status=status, currency=currency)
            line = orders.add_line(db, order_id, NewLine(piece, 500.0, 700.0, quantity, "Cotton rag", unit_price=unit,
                                                         price=price, edition_id=1 if numbers or replacing else None))
            if numbers:
                editions.issue(db, 1, line, quantity, proofs=numbers == "proof")
            if replacing:
                editions.replace(db, 1, [Number("number", int(replacing))], line)
        return line

    return made


def amounts(rows: tuple[Row, ...]) -> list[tuple[str, int, str, str]]:
    return [(row.order, row.prints, row.amount, row.owed_in) for row in rows]


def totals(made: Statement) -> dict[str, str]:
    return {total.currency: total.amount for total in made.totals}


def issued(db: Database, period: Period, artist: int = 1) -> Statement:
    return issue(db, artist, period, DATES, date(2026, 6, 1))


def test_a_share_of_the_price_of_each_print(db: Database, shop: Shop, order: Order) -> None:
    set_terms(db, 1, "percentage", "40 %")
    order("N-1", "2025-11-03", 3, unit="117.00", piece=1, numbers="number")
    order("N-2", "2025-11-10", 3, price="100.00")
    order("N-3", "2025-11-12", 1, unit="80.00", piece=1, numbers="proof")
    order("N-4", "2025-11-30T17:00", 1, unit="12.30", currency="CHF")
    order("N-5", "2025-10-31", unit="500.00")
    order("N-6", "2025-12-01", unit="500.00")
    order("N-7", "2025-11-15", unit="500.00", status="approved")
    order("N-8", "2025-11-16", unit="500.00", piece=3)
    order("N-9", "2025-11-17", unit="500.00", status="cancelled")
    made = statement(db, 1, NOVEMBER, DATES)
    assert amounts(made.rows) == [
        ("N-1", 3, "140.40", "EUR"),  # 117.00 × 40 % = 46.80; 3 × 46.80 = 140.40
        ("N-2", 1, "13.34", "EUR"),   # 100.00 in three: 33.34 + 33.33 + 33.33; 33.34 × 40 % = 13.336, rounded 13.34
        ("N-2", 2, "26.66", "EUR"),   # 33.33 × 40 % = 13.332, rounded 13.33; 2 × 13.33 = 26.66
        ("N-3", 1, "0.00", "EUR"),    # an artist's proof, which these terms leave out
        ("N-4", 1, "4.92", "CHF")]    # 12.30 × 40 % = 4.92, on the last day of the month
    assert totals(made) == {"EUR": "180.40", "CHF": "4.92"}  # 140.40 + 13.34 + 26.66 = 180.40
    first = made.rows[0]
    assert (first.date, first.title, first.size, first.numbers, first.price, first.each) == (
        "2025-11-03", "Harbour", "50 × 70 cm", "1–3/25", "117.00", "46.80")
    assert (made.rows[3].numbers, made.rows[3].note, made.prints) == ("AP I/II", "artist's proof", 8)
    assert made.issued == "" and "draft" in summarize(look_at_statement(db, shop.home, 1, NOVEMBER), DATES)[0]


@pytest.mark.parametrize(("unit", "rate", "currency", "each"), [
    ("0.25", "50", "EUR", "0.13"),        # 0.125: half up; to even it would be 0.12
    ("0.35", "50", "EUR", "0.18"),        # 0.175
    ("100.00", "33.3333", "EUR", "33.33"),  # 33.3333
    ("99.99", "100", "EUR", "99.99"), ("99.99", "0", "EUR", "0.00"),
    ("1201", "12.5", "JPY", "150"),       # 150.125: a yen has no smaller coin
    ("0.003", "50", "KWD", "0.002")])     # 0.0015: three decimals
def test_each_print_is_rounded_half_up_to_the_coin(db: Database, order: Order, unit: str, rate: str, currency: str,
                                                   each: str) -> None:
    set_terms(db, 1, "percentage", rate)
    with transaction(db):
        line = orders.add_line(db, orders.add(db, "N-1", "2025-11-03", status="printed", currency=currency),
                               NewLine(2, 500.0, 700.0, 1, unit_price=unit, price=unit))
    row, = statement(db, 1, NOVEMBER, DATES).rows
    assert (row.line_id, row.each, row.amount) == (line, each, each)


def test_an_amount_for_each_print_and_nothing(db: Database, order: Order) -> None:
    set_terms(db, 1, "fixed", "12,50", "CHF")
    set_terms(db, 1, "none", since="2025-12-01")
    order("N-1", "2025-11-03", 3, unit="117.00", piece=1, numbers="number")
    order("N-2", "2025-11-04", 2)
    order("N-3", "2025-12-04", 2, unit="10.00")
    made = statement(db, 1, NOVEMBER, DATES)
    # 3 × 12.50 = 37.50; 2 × 12.50 = 25.00, though no price is on record; 37.50 + 25.00 = 62.50
    assert amounts(made.rows) == [("N-1", 3, "37.50", "CHF"), ("N-2", 2, "25.00", "CHF")]
    assert totals(made) == {"CHF": "62.50"}
    assert totals(statement(db, 1, DECEMBER, DATES)) == {"EUR": "0.00"}
    both = statement(db, 1, Period("2025-11-01", "2025-12-31"), DATES)
    assert len(both.terms) == 2 and both.terms[1].startswith("From 01 Dec 2025: ")


def test_without_a_price_a_share_is_nothing_and_said_to_be(db: Database, order: Order) -> None:
    set_terms(db, 1, "percentage", "40")
    order("N-1", "2025-11-03", 2)
    row, = statement(db, 1, NOVEMBER, DATES).rows
    assert (row.amount, row.note) == ("0.00", "no price on record")


@pytest.mark.parametrize(("destroyed", "replaced", "proofs", "expected"), [
    # of three prints at 100.00 and a share of 10 %: number 2 was destroyed and made anew (number 2 again), and one AP
    (True, False, False, "30.00"),   # 3 × 10
    (False, False, False, "20.00"),  # numbers 1 and 3
    (True, True, False, "40.00"),    # 3, and the one made anew
    (False, True, True, "40.00"),    # numbers 1 and 3, the one made anew, the proof
    (True, True, True, "50.00")])
def test_destroyed_replaced_and_proof_prints_count_as_agreed(
        db: Database, order: Order, destroyed: bool, replaced: bool, proofs: bool, expected: str) -> None:
    set_terms(db, 1, "percentage", "10", destroyed=destroyed, replaced=replaced, proofs=proofs)
    order("N-1", "2025-11-03", 3, unit="100.00", piece=1, numbers="number")
    editions.destroy(db, 1, [Number("number", 2)], "torn", day="2025-11-20")
    order("N-2", "2025-11-21", 1, unit="100.00", piece=1, replacing="2")
    order("N-3", "2025-11-22", 1, unit="100.00", piece=1, numbers="proof")
    made = statement(db, 1, NOVEMBER, DATES)
    assert totals(made) == {"EUR": expected} and made.prints == 5
    lost = next(row for row in made.rows if row.numbers == "2/25" and row.order == "N-1")
    assert lost.note == "destroyed 20 Nov 2025"
    words = in_words(artist_statements.terms_of(db, 1)[0], DATES)
    assert words.count("do not count") == 3 - destroyed - replaced - proofs


def test_an_issued_statement_stays_and_corrections_come_in_the_next(db: Database, order: Order) -> None:
    set_terms(db, 1, "percentage", "40")
    dear, other = order("N-1", "2025-11-03", 3, unit="117.00"), order("N-2", "2025-11-10", 2, unit="50.00")
    order("N-3", "2025-11-12", 1, unit="12.30", currency="CHF")
    order("N-4", "2025-11-20", 1, unit="50.00", status="approved")
    order("N-5", "2025-12-02", 1, unit="20.00")
    november = issued(db, NOVEMBER)
    assert totals(november) == {"EUR": "180.40", "CHF": "4.92"}  # 3 × 46.80 + 2 × 20.00; 12.30 × 40 %
    correct(db, "N-1", {}, line_id=dear, line={"unit_price": "120.00"})   # 3 × 48.00 = 144.00: + 3.60
    correct(db, "N-2", {"placed": "2025-12-24"}, line_id=other, line={})  # leaves November: − 40.00
    set_status(db, "N-3", "cancelled")                                    # − 4.92 CHF
    set_status(db, "N-4", "printed")                                      # 50.00 × 40 %: + 20.00
    order("N-6", "2025-11-29", 1, unit="10.00")                           # recorded late: + 4.00
    assert issued(db, NOVEMBER) == november == statement(db, 1, NOVEMBER, "%Y")
    december = issued(db, DECEMBER)
    assert amounts(december.rows) == [("N-5", 1, "8.00", "EUR"), ("N-2", 2, "40.00", "EUR")]
    assert {(row.order, row.amount, row.owed_in) for row in december.corrections} == {
        ("N-1", "3.60", "EUR"), ("N-2", "-40.00", "EUR"), ("N-3", "-4.92", "CHF"), ("N-4", "20.00", "EUR"),
        ("N-6", "4.00", "EUR")}
    assert totals(december) == {"EUR": "35.60", "CHF": "-4.92"}  # 8.00 + 40.00 + 3.60 − 40.00 + 20.00 + 4.00
    notes = {row.order: row.note for row in december.corrections}
    assert notes["N-1"] == "corrected: stated 140.40 EUR, now 144.00 EUR"
    assert notes["N-2"].startswith("moved to another day") and notes["N-3"].startswith("cancelled")
    assert notes["N-6"].startswith("recorded or printed after")
    january = issued(db, JANUARY)
    assert january.rows == january.corrections == january.totals == ()
    assert not differences(db)


def test_what_was_stated_always_adds_up_to_what_is_owed_now(db: Database, order: Order) -> None:
    """Whatever happens to orders between statements, all of them together state what is owed once the last is out."""
    rng = random.Random(18)
    set_terms(db, 1, "percentage", "37.5")
    count, lines = 0, list[int]()
    stated: dict[str, Decimal] = {}
    periods = [month(f"2025-{n:02}") for n in range(1, 13)]
    for at, period in enumerate(periods):
        for _ in range(6):
            count += 1
            day = f"2025-{rng.randint(max(1, at - 1), at + 1):02}-{rng.randint(1, 28):02}"
            lines.append(order(f"N-{count}", day, rng.randint(1, 3), price=f"{rng.randint(0, 9999) / 100:.2f}",
                               currency=rng.choice(("EUR", "CHF")), status=rng.choice(("printed", "requested"))))
        for line_id in rng.sample(lines, 5):
            line = orders.line(db, line_id)
            assert line is not None
            what = rng.randrange(4)
            if what == 0:
                correct(db, line.number, {}, line_id=line_id, line={"price": f"{rng.randint(0, 9999) / 100:.2f}"})
            elif what == 1:
                correct(db, line.number, {"placed": f"2025-{rng.randint(1, 12):02}-05"})
            elif what == 2:
                correct(db, line.number, {"currency": rng.choice(("EUR", "CHF"))})
            elif line.status != "cancelled":
                set_status(db, line.number, rng.choice(("printed", "cancelled", "requested")))
        for total in issued(db, period).totals:
            stated[total.currency] = stated.get(total.currency, Decimal(0)) + Decimal(total.amount)
        terms = artist_statements.terms_of(db, 1)
        owing: dict[str, Decimal] = dict.fromkeys(stated, Decimal(0))
        for line in artist_statements.sold(db, 1, "2025-01-01", period.last):
            for row in owed(db, line, terms, "Ada Quill", DATES):
                owing[row.owed_in] = owing.get(row.owed_in, Decimal(0)) + Decimal(row.amount)
        assert stated == owing, period


def test_a_work_filed_under_another_artist_is_taken_back_from_the_first(db: Database, order: Order) -> None:
    for artist in (1, 2):
        set_terms(db, artist, "percentage", "50")
    order("N-1", "2025-11-03", unit="10.00", piece=3)
    assert totals(issued(db, NOVEMBER, 2)) == {"EUR": "5.00"}
    with transaction(db):
        pieces.state(db, 3, {"artist_id": 1})
    assert totals(issued(db, NOVEMBER, 1)) == {"EUR": "5.00"}
    back = issued(db, DECEMBER, 2)
    assert totals(back) == {"EUR": "-5.00"} and back.corrections[0].note.startswith("the work is another artist's")


def test_artists_joined_keep_terms_and_statements(db: Database, order: Order) -> None:
    set_terms(db, 2, "percentage", "50")
    order("N-1", "2025-11-03", unit="10.00", piece=3)
    before = issued(db, NOVEMBER, 2)
    merge_artists(db, 1, 2)
    assert statement(db, 1, NOVEMBER, DATES) == before
    assert [terms.rate for terms in artist_statements.terms_of(db, 1)] == ["50"]
    assert issued(db, DECEMBER, 1).corrections == ()


def test_periods_do_not_overlap_and_are_over(db: Database, order: Order) -> None:
    set_terms(db, 1, "percentage", "40")
    issued(db, NOVEMBER)
    for first, last in (("2025-11-30", "2025-12-31"), ("2025-01-01", "2025-11-01"), ("2025-11-05", "2025-11-06"),
                        ("2025-01-01", "2025-12-31")):
        with pytest.raises(Refused, match="November 2025"):
            statement(db, 1, Period(first, last), DATES)
    with pytest.raises(Refused, match="not over"):
        issue(db, 1, DECEMBER, DATES, date(2025, 12, 31))
    assert issue(db, 1, DECEMBER, DATES, date(2026, 1, 1)).issued == "2026-01-01"


def test_an_issued_statement_is_undone_only_as_the_last(db: Database, order: Order) -> None:
    set_terms(db, 1, "percentage", "40")
    issued(db, NOVEMBER)
    first = last_statement(db)
    issued(db, DECEMBER)
    second = last_statement(db)
    assert first is not None and second is not None
    with pytest.raises(Refused, match="stays on record"):
        undo(db, first)
    undo(db, second)
    undo(db, first)
    assert artist_statements.issued(db, 1) == [] and not differences(db)


def test_terms_are_stated_from_a_day_on(db: Database, order: Order) -> None:
    with pytest.raises(NotFound, match="Ada Quill"):
        statement(db, 1, NOVEMBER, DATES)
    set_terms(db, 1, "percentage", "40", since="2025-11-10")
    order("N-1", "2025-11-03", unit="10.00")
    with pytest.raises(NotFound, match="orders of 03 Nov 2025"):
        statement(db, 1, NOVEMBER, DATES)
    with pytest.raises(Refused, match="already terms"):
        set_terms(db, 1, "percentage", "20")
    set_terms(db, 1, "percentage", "20", since="")
    order("N-2", "2025-11-10", unit="10.00")
    assert [row.amount for row in statement(db, 1, NOVEMBER, DATES).rows] == ["2.00", "4.00"]
    set_terms(db, 1, "percentage", "30", since="2025-11-10")
    assert [row.amount for row in statement(db, 1, NOVEMBER, DATES).rows] == ["2.00", "3.00"]


@pytest.mark.parametrize(("basis", "rate", "currency", "why"), [
    ("percentage", "101", "", "0 to 100"), ("percentage", "-1", "", "0 to 100"),
    ("percentage", "half", "", "percentage"),
    ("percentage", "", "", "percentage"), ("percentage", "nan", "", "percentage"), ("fixed", "", "EUR", "amount owed"),
    ("percentage", "33.33333", "", "4 decimals"), ("fixed", "-2", "EUR", "below zero"),
    ("fixed", "2", "Taler", "currency"), ("none", "5", "", "give no rate"), ("shares", "5", "", "Terms are"),
    ("percentage", "1e999999", "", "0 to 100")])
def test_what_are_no_terms_is_refused(db: Database, basis: str, rate: str, currency: str, why: str) -> None:
    with pytest.raises(Refused, match=why):
        set_terms(db, 1, basis, rate, currency)
    assert artist_statements.terms_of(db, 1) == []


def test_the_page_and_the_table_say_the_same_and_are_made_the_same_again(
        db: Database, shop: Shop, order: Order, tmp_path: Path) -> None:
    set_terms(db, 1, "percentage", "40")
    order("=1+2", "2025-11-03", 3, unit="117.00", piece=1, numbers="number")
    draft = statement_page(statement(db, 1, NOVEMBER, DATES), DATES)
    assert "Draft" in draft and TAX in draft and "half up" in draft
    done = make_statement(db, shop.home, 1, NOVEMBER, [tmp_path / "one.html", tmp_path / "one.csv"],
                          today=date(2025, 12, 1))
    page = done.files[0].read_text(encoding="utf-8")
    for fact in ("Issued 01 Dec 2025", "40 % of the price of each print", "117.00 EUR", "46.80 EUR", "140.40 EUR",
                 "1–3/25", "50 × 70 cm", "03 Nov 2025", "01 Nov 2025 to 30 Nov 2025"):
        assert fact in page, fact
    assert "Draft" not in page
    again = make_statement(db, shop.home, 1, NOVEMBER, [tmp_path / "two.html"], today=date(2026, 3, 4))
    assert again.files[0].read_text(encoding="utf-8") == page
    rows = list(csv.DictReader(StringIO(done.files[1].read_bytes().decode(), newline="")))
    assert [(row["kind"], row["order"], row["prints"], row["amount"], row["owed_in"]) for row in rows] == [
        ("print", "'=1+2", "3", "140.40", "EUR"), ("total", "", "3", "140.40", "EUR")]
    made = replace(done.statement, corrections=done.statement.rows)
    assert [row["kind"] for row in csv.DictReader(StringIO(statement_csv(made)))] == ["print", "correction", "total"]
    assert "Corrections of earlier statements" in statement_page(made, DATES)


def test_files_are_judged_before_anything_is_issued(db: Database, shop: Shop, tmp_path: Path) -> None:
    set_terms(db, 1, "percentage", "40")
    for wrong, why in ((tmp_path / "x.txt", "ending"), (shop.root / "x.html", "store")):
        with pytest.raises(Refused, match=why):
            make_statement(db, shop.home, 1, NOVEMBER, [wrong], today=date(2026, 1, 1))
    make_statement(db, shop.home, 1, NOVEMBER, [tmp_path / "x.html"], draft=True)
    assert artist_statements.issued(db, 1) == []


def test_a_pdf_is_made_of_the_page(db: Database, shop: Shop, tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    set_terms(db, 1, "percentage", "40")
    done = make_statement(db, shop.home, 1, NOVEMBER, [tmp_path / "one.pdf"], today=date(2025, 12, 1))
    assert done.files[0].read_bytes().startswith(b"%PDF-")
