"""Counts in words."""

from catalogue.records.numbers import Number, numbered, numbers_text


def test_one_number_of_an_edition_is_a_number_and_several_are_numbers() -> None:
    single, run, gaps = ([3], [3, 4, 5], [3, 5])
    assert [numbered(numbers_text(Number("number", n) for n in group)) for group in (single, run, gaps, [])] == [
        "number 3", "numbers 3–5", "numbers 3, 5", ""]
    assert numbered(numbers_text([Number("proof", 2)])) == "number AP II"
