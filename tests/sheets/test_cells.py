"""Cells: nothing in them is computed, and our own import reads back what was meant."""

import csv
import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.spreadsheets import cell_text, csv_cell

DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")  # OWASP, CSV Injection, and full-width


@pytest.mark.parametrize("start", DANGEROUS)
@pytest.mark.parametrize("rest", ["cmd|' /C calc'!A0", "1+1", "HYPERLINK(1)", ""])
def test_what_a_spreadsheet_would_compute_is_led_by_an_apostrophe(start: str, rest: str) -> None:
    assert csv_cell(start + rest) == f"'{start}{rest}"


@pytest.mark.parametrize("value", [-5, -0.25, "-12.50", 203.2, "30 x 45", "²", "'twas", None])
def test_numbers_and_plain_text_stay(value: object) -> None:
    assert csv_cell(value) == ("" if value is None else str(value))


@given(st.text(max_size=12) | st.from_regex(re.compile("'{0,3}[=+@\t-].{0,5}"), fullmatch=True))
def test_a_cell_reads_back(text: str) -> None:
    assert cell_text(csv_cell(text)) == text
    assert not csv_cell(text).startswith(DANGEROUS) or re.fullmatch(r"-[0-9.]+(e[+-]?[0-9]+)?", text)
    out = io.StringIO(newline="")
    csv.writer(out).writerow([csv_cell(text), "end"])
    (row,) = csv.reader(io.StringIO(out.getvalue(), newline=""))
    assert cell_text(row[0]) == text
