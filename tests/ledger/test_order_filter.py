"""What is typed to find orders: periods, states, words."""

from datetime import date

import pytest

from catalogue.ledger import periods
from catalogue.ledger.order_filter import read_filter
from catalogue.records.order_list import OrderFilter

TODAY = date(2026, 1, 15)


@pytest.mark.parametrize(("text", "first", "last"), [
    ("2025-11", "2025-11-01", "2025-11-30"), ("2024-02", "2024-02-01", "2024-02-29"),
    ("2025-12", "2025-12-01", "2025-12-31")])
def test_a_month_is_that_month_and_nothing_else(text: str, first: str, last: str) -> None:
    assert periods.month(text) == periods.Period(first, last)


@pytest.mark.parametrize("text", ["2025-13", "2025-00", "2025-1", "2025", "25-11", "2025-11-01", "november", "0000-01",
                                  "", "２０２５-11"])
def test_what_is_no_month_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a month"):
        periods.month(text)


@pytest.mark.parametrize(("text", "wanted"), [
    ("2025-11 quill canvas printed", OrderFilter("2025-11-01", "2025-11-30", statuses=("printed",),
                                                 words="quill canvas")),
    ("printed canvas quill november 2025", OrderFilter("2025-11-01", "2025-11-30", statuses=("printed",),
                                                       words="canvas quill")),
    ("Nov 2025", OrderFilter("2025-11-01", "2025-11-30")), ("2025", OrderFilter("2025-01-01", "2025-12-31")),
    ("2025-11-03", OrderFilter("2025-11-03", "2025-11-03")), ("last month", OrderFilter("2025-12-01", "2025-12-31")),
    ("2024-Q1 harbour", OrderFilter("2024-01-01", "2024-03-31", words="harbour")),
    ("q4 2025", OrderFilter("2025-10-01", "2025-12-31")), ("last quarter", OrderFilter("2025-10-01", "2025-12-31")),
    ("this quarter", OrderFilter("2026-01-01", "2026-03-31")), ("2025-Q5", OrderFilter(words="2025-Q5")),
    ("2025-11..2026-01", OrderFilter("2025-11-01", "2026-01-31")),
    ("this year", OrderFilter("2026-01-01", "2026-12-31")), ("last year", OrderFilter("2025-01-01", "2025-12-31")),
    ("requested approved", OrderFilter(statuses=("requested", "approved"))),
    ("asked", OrderFilter(statuses=("requested",))),
    ("Canceled", OrderFilter(statuses=("cancelled",))), ('"printed matter" 2025', OrderFilter(
        "2025-01-01", "2025-12-31", words="printed matter")),
    ("march hare", OrderFilter(words="march hare")), ("2025-13", OrderFilter(words="2025-13")),
    ("50x70 rag", OrderFilter(words="50x70 rag")), ("", OrderFilter()), ("2025-02-30", OrderFilter(words="2025-02-30")),
    ("2026-01..2025-11", OrderFilter(words="2026-01..2025-11")),
    ("2025-11 2025", OrderFilter("2025-11-01", "2025-11-30", words="2025"))])
def test_one_line_of_plain_words(text: str, wanted: OrderFilter) -> None:
    assert read_filter(text, TODAY) == wanted


def test_periods_in_words() -> None:
    for first, last, words in (("2025-11-01", "2025-11-30", "November 2025"), ("2025-01-01", "2025-12-31", "2025"),
                               ("2024-04-01", "2024-06-30", "2nd quarter of 2024"),
                               ("2025-11-03", "2025-11-09", "03 Nov 2025 to 09 Nov 2025"),
                               ("2025-11-03", "2025-11-03", "03 Nov 2025")):
        assert periods.between(first, last).in_words("%d %b %Y") == words
    with pytest.raises(ValueError, match="before it begins"):
        periods.between("2025-11-02", "2025-11-01")
