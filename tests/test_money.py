"""Amounts as shops write them, exact, rounded to the coin of their currency."""

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue import money

# ISO 4217, List One, published 2026-01-01: every currency whose minor unit is not 2, and some whose it is.
MINOR_UNITS = {
    0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
    2: "AUD CAD CHF CNY CZK DKK EUR GBP HUF IDR INR MXN NOK NZD PLN SEK THB TRY USD ZAR",
    3: "BHD IQD JOD KWD LYD OMR TND", 4: "CLF UYW"}


def test_minor_units_are_those_of_the_standard() -> None:
    for digits, codes in MINOR_UNITS.items():
        assert {money.minor_units(code) for code in codes.split()} == {digits}
    assert len(set(money.CURRENCIES.values())) == 4
    assert sum(1 for digits in money.CURRENCIES.values() if digits > 2) == 9


@pytest.mark.parametrize(("text", "amount"), [
    ("85", "85.00"), ("85.5", "85.50"), ("85,50 €", "85.50"), ("EUR 1.234,50", "1234.50"), ("1,234.50", "1234.50"),
    ("1'234.50", "1234.50"), ("1 234,50", "1234.50"), ("1,234", "1234.00"), ("12.345.678,90", "12345678.90"),
    ("90.-", "90.00"), ("", ""), ("0", "0.00"), ("£ 7", "7.00"), ("0.120", "0.12"), ("999999999999.99",) * 2])
def test_amounts(text: str, amount: str) -> None:
    assert money.read_amount(text) == amount


@pytest.mark.parametrize("text", ["-5", "€ -5", "−5", "0.125", "1.234.50", "1,234,50", "1.234,567", "1.234.56,7,8",
                                  "12,34,56", "about 90", "12 50", "1e5", "free", "1000000000000", "9" * 5000, "nan",
                                  "Infinity", "5²"])
def test_what_is_no_amount_is_refused_rather_than_guessed(text: str) -> None:
    with pytest.raises(ValueError, match="price"):
        money.read_amount(text)


@pytest.mark.parametrize(("text", "currency", "amount"), [
    ("12000", "JPY", "12000"), ("12000.00", "JPY", "12000"), ("¥12,000", "JPY", "12000"), ("0.125", "KWD", "0.125"),
    ("1.234", "KWD", "1.234"), ("1,234.500", "KWD", "1234.500"), ("1.5", "CLF", "1.5000"), ("12.5", "Fr.", "12.50"),
    ("1 234,50 zł", "PLN", "1234.50"), ("90 kr", "NOK", "90.00"), ("kr. 90", "DKK", "90.00"),
    ("90 Kč", "CZK", "90.00")])
def test_an_amount_has_the_decimals_of_its_currency(text: str, currency: str, amount: str) -> None:
    assert money.read_amount(text, currency) == amount
    assert money.read_amount(amount, currency) == amount, "as it is recorded it is read again"


@pytest.mark.parametrize(("text", "currency", "why"), [
    ("120.5", "JPY", "no decimals"), ("1,234", "KWD", "could be"), ("0.125", "EUR", "2 decimals"),
    ("-5", "EUR", "below zero")])
def test_a_refusal_says_why(text: str, currency: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        money.read_amount(text, currency)


@pytest.mark.parametrize(("text", "currency"), [("CHF 90", "EUR"), ("90 EUR", "CHF"), ("£ 7", "EUR"), ("$7", "EUR"),
                                                ("7 €", "USD"), ("¥700", "USD"), ("90 zł", "EUR"), ("90 kr", "EUR"),
                                                ("kr. 90", "PLN"), ("90 Kč", "PLN")])
def test_an_amount_of_another_currency_is_none(text: str, currency: str) -> None:
    with pytest.raises(ValueError, match=f"in {currency}"):
        money.read_amount(text, currency)


@pytest.mark.parametrize(("text", "currency"), [("CHF 90", "CHF"), ("Fr. 90", "CHF"), ("$90", "USD"), ("90 kr", "SEK"),
                                                ("$ 90", "AUD"), ("£90", "GBP"), ("90 eur", "EUR"), ("€ 90", "EUR")])
def test_an_amount_may_name_its_currency(text: str, currency: str) -> None:
    assert money.read_amount(text, currency) == "90.00"


@given(st.decimals(0, 10**7, places=2))
def test_either_habit_reads_back(amount: object) -> None:
    english = f"{amount:,.2f}"
    german = english.translate(str.maketrans(",.", ".,"))
    assert money.read_amount(english) == money.read_amount(german) == f"{amount:.2f}"


@pytest.mark.parametrize(("amount", "currency", "rounded"), [
    ("0.125", "EUR", "0.13"), ("0.124999", "EUR", "0.12"), ("2.5", "JPY", "3"), ("1.5", "JPY", "2"),
    ("0.0005", "KWD", "0.001"), ("58.335", "EUR", "58.34")])
def test_half_is_rounded_up(amount: str, currency: str, rounded: str) -> None:
    assert money.round_amount(Decimal(amount), currency) == Decimal(rounded)


def test_a_line_costs_its_quantity_times_one_print() -> None:
    assert money.total_price("117.00", 10, "EUR") == "1170.00"
    assert money.unit_price("1170.00", 10, "EUR") == "117.00"
    assert money.unit_price("100.00", 3, "EUR") == "", "3 × 33.33 is 99.99: nobody said that"
    assert money.unit_price("12000.00", 4, "JPY") == "3000", "as an older catalogue wrote it"
    assert money.total_price("", 3, "EUR") == money.unit_price("", 3, "EUR") == ""
    with pytest.raises(ValueError, match="more than"):
        money.total_price("999999999999.99", 100_000, "EUR")


@given(st.decimals(0, 10**6, places=2), st.integers(1, 100_000))
def test_unit_price_and_total_give_each_other(unit: Decimal, quantity: int) -> None:
    total = money.total_price(f"{unit:.2f}", quantity, "EUR")
    assert Decimal(total) == unit * quantity and money.unit_price(total, quantity, "EUR") == f"{unit:.2f}"


def test_currencies_are_codes() -> None:
    assert [money.currency_code(text) for text in ("EUR", " chf", "€", "DEM")] == ["EUR", "CHF", "EUR", "DEM"]
    for text in ("$", "Taler", "", "EU", "XXX"):
        with pytest.raises(ValueError, match=re.escape(repr(text))):
            money.currency_code(text)


@pytest.mark.parametrize(("amount", "currency", "shown"), [
    ("1234.50", "EUR", "1,234.50 EUR"), ("0.05", "EUR", "0.05 EUR"), ("", "EUR", ""), ("12000.00", "JPY", "12,000 JPY"),
    ("12.50", "JPY", "12.50 JPY"), ("5.00", "", "5.00")])
def test_amounts_are_shown_to_the_coin(amount: str, currency: str, shown: str) -> None:
    assert money.show_amount(amount, currency) == shown
