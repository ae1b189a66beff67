"""Lengths, sizes, dates and edition numbers as shops write them."""

import time
from collections.abc import Iterator
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.dates import read_day, shown_day, shown_moment
from catalogue.ledger import values
from catalogue.records import numbers
from catalogue.records.numbers import Number


@pytest.mark.parametrize(("text", "size"), [
    ("50x70", (500, 700)), ("50 × 70 cm", (500, 700)), ("500x700mm", (500, 700)), ("50cm x 700mm", (500, 700)),
    ("50,5x70.2", (505, 702)), ('20x30"', (508, 762)), ("20 in x 30 in", (508, 762))])
def test_sizes(text: str, size: tuple[float, float]) -> None:
    assert values.size_mm(text) == size


@pytest.mark.parametrize("text", ["50", "50x", "0x70", "ax b", "50x70x80", "-5x7", "1e9x5"])
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        values.size_mm(text)


@pytest.mark.parametrize(("text", "mm"), [("", 0), ("0", 0), ("none", 0), ("-", 0), ("25", 25), ("2.5 cm", 25)])
def test_margins(text: str, mm: float) -> None:
    assert values.margin_mm(text) == mm


def test_dates_are_iso_first_then_as_the_shop_writes_them() -> None:
    assert read_day("2024-05-31", "%d/%m/%Y") == read_day("31/05/2024", "%d/%m/%Y") == "2024-05-31"
    assert read_day("2024-05-31T10:00", "%d %b %Y") == "2024-05-31"
    for bad in ("2024-02-30", "05/31/2024", "", "soon"):
        with pytest.raises(ValueError):
            read_day(bad, "%d/%m/%Y")


@pytest.fixture
def two_hours_ahead(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The zone in POSIX's form (POSIX.1, 8.3), which names the hours to add to reach UTC."""
    monkeypatch.setenv("TZ", "SHOP-2")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("two_hours_ahead")
def test_a_moment_is_shown_by_the_clock_on_the_wall() -> None:
    assert shown_moment("2024-05-31T22:30:15.123Z", "%d/%m/%Y") == "01/06/2024, 00:30"
    assert shown_moment("2024-05-31T22:30:15+02:00", "%d/%m/%Y") == "31/05/2024, 22:30"
    assert shown_moment("earlier", "%d/%m/%Y") == shown_day("earlier", "%d/%m/%Y") == "earlier"


# Roman numerals: subtractive notation as in every almanac; from memory.
@pytest.mark.parametrize(("number", "text"), [(1, "I"), (4, "IV"), (9, "IX"), (14, "XIV"), (40, "XL"), (90, "XC"),
                                              (400, "CD"), (1994, "MCMXCIV")])
def test_roman(number: int, text: str) -> None:
    assert numbers.roman(number) == text


@given(st.sets(st.tuples(st.sampled_from(["number", "proof"]), st.integers(1, 400)), max_size=40))
def test_numbers_read_back_as_written(chosen: set[tuple[str, int]]) -> None:
    assert set(numbers.parse_numbers(numbers.numbers_text(chosen))[0]) == {Number(*one) for one in chosen}


@pytest.mark.parametrize(("text", "found", "limit"), [
    ("3-5", [("number", 3), ("number", 4), ("number", 5)], None), ("4/25", [("number", 4)], 25),
    ("AP 1 and AP II", [("proof", 1), ("proof", 2)], None), ("A.P. i/iii", [("proof", 1)], None),
    ("1; 2", [("number", 1), ("number", 2)], None), ("", [], None), ("7 of 30", [("number", 7)], 30)])
def test_numbers_as_written_in_old_books(text: str, found: list[tuple[str, int]], limit: int | None) -> None:
    assert numbers.parse_numbers(text) == ([Number(*one) for one in found], limit)


@pytest.mark.parametrize("text", ["II", "AP II", "ii/iv", "proof 2"])
def test_roman_numerals_are_proofs(text: str) -> None:
    assert numbers.parse_numbers(text) == ([Number("proof", 2)], None)


@pytest.mark.parametrize("text", ["0", "5-3", "3, 3", "3-5, 4", "y", "IIII", "1.5", "1-9999999"])
def test_what_is_no_edition_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        numbers.parse_numbers(text)


@pytest.mark.parametrize(("name", "size"), [
    ("A0", (841, 1189)), ("a1", (594, 841)), ("A2", (420, 594)), (" A3 ", (297, 420)), ("DIN A4", (210, 297)),
    ("A5", (148, 210)), ("dina6", (105, 148))])     # ISO 216, from memory
def test_a_print_may_be_named_by_its_paper_size(name: str, size: tuple[int, int]) -> None:
    assert values.print_size_mm(name) == size
    with pytest.raises(ValueError, match="not a size"):
        values.size_mm(name)


def test_each_paper_size_is_the_larger_one_halved() -> None:
    """ISO 216: the shorter side of one is half the longer side of the one before, rounded down."""
    for (width, height), (narrow, wide) in pairwise(values.ISO_A_MM):
        assert (narrow, wide) == (height // 2, width)


@pytest.mark.parametrize("text", ["A7", "B3", "A", "3", "A3 x A4", "AA3"])
def test_what_is_no_paper_size_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a"):
        values.print_size_mm(text)
