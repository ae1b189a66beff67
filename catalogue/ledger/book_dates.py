"""Dates in an order book, which several hands may have written: which of two figures is the day, the book itself tells,
or a person is asked. Pure."""

import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from datetime import date, datetime

from catalogue.dates import read_day

_FIGURES = re.compile(r"(?P<first>\d{1,2})(?P<sign>[./-])(?P<second>\d{1,2})(?P=sign)(?P<year>\d{4}|\d{2})")
_YEAR_FIRST = re.compile(r"(?P<year>\d{4})(?P<sign>[./])(?P<month>\d{1,2})(?P=sign)(?P<day>\d{1,2})")
DAY_FIRST, MONTH_FIRST = "day", "month"


class BookDates:
    """The dates of one book. ``forms`` were said by a person, for strptime, and are tried first, in turn.

    With each sign between figures ("3.4.2024", "04/03/24") a figure above twelve shows which of the two is the day,
    and so does the shop's ``usual`` form if it has that sign. Where nothing does, or they contradict each other, a date
    that could be two is not read.
    """

    def __init__(self, texts: Iterable[str], usual: str, forms: Sequence[str] = ()) -> None:
        self._usual, self._forms = usual, tuple(forms)
        self._shown: dict[str, dict[str, str]] = {}     # by sign: which is first, and a date that shows it
        for text in texts:
            match = _FIGURES.fullmatch(text.strip())
            if match is None or self._said(text.strip()):
                continue
            first, second = int(match["first"]), int(match["second"])
            if first > 12 >= second or second > 12 >= first:
                of_sign = self._shown.setdefault(match["sign"], {})
                of_sign.setdefault(DAY_FIRST if first > 12 else MONTH_FIRST, text.strip())

    def day(self, text: str) -> str:
        """ISO text of a date. Raises ValueError, with what to say, where it is none or could be two."""
        written = text.strip()
        known = self._said(written)
        if known:
            return known
        if match := _YEAR_FIRST.fullmatch(written):
            return _iso(written, int(match["year"]), int(match["month"]), int(match["day"]))
        match = _FIGURES.fullmatch(written)
        if match is None:
            return read_day(written, self._usual)
        first, second, year = int(match["first"]), int(match["second"]), _full_year(match["year"])
        order = self._order(match["sign"])
        if not order:
            if first == second or max(first, second) > 12:
                order = DAY_FIRST if first >= second else MONTH_FIRST
            else:
                raise ValueError(f"{written!r} could be {_long(year, second, first)} or {_long(year, first, second)}; "
                                 f"say which, with --dates {_form(match, DAY_FIRST)} or {_form(match, MONTH_FIRST)}")
        return _iso(written, year, *((second, first) if order == DAY_FIRST else (first, second)))

    @property
    def notes(self) -> list[str]:
        """How ambiguous dates were read, and what decided it."""
        return [f"Dates with {sign!r} were read with the {order} first, as in {example}."
                for sign, shown in sorted(self._shown.items()) if len(shown) == 1 for order, example in shown.items()]

    def _said(self, written: str) -> str:
        """The date by the formats a person gave for this book; "" if none fits."""
        for form in self._forms:
            with suppress(ValueError):
                return datetime.strptime(written, form).date().isoformat()
        return ""

    def _order(self, sign: str) -> str:
        """Which figure comes first with this separator; "" if unknown, or if the book contradicts the shop's format."""
        usual = re.fullmatch(rf"%(?P<first>[dm]){re.escape(sign)}%[dm]{re.escape(sign)}%[yY]", self._usual)
        orders = set(self._shown.get(sign, {}))
        if usual is not None:
            orders.add(DAY_FIRST if usual["first"] == "d" else MONTH_FIRST)
        return orders.pop() if len(orders) == 1 else ""


def _full_year(text: str) -> int:
    return datetime.strptime(text, "%Y" if len(text) == 4 else "%y").year


def _form(match: re.Match[str], order: str) -> str:
    days_and_months = ("%d", "%m") if order == DAY_FIRST else ("%m", "%d")
    return match["sign"].join((*days_and_months, "%Y" if len(match["year"]) == 4 else "%y"))


def _long(year: int, month: int, day: int) -> str:
    return f"{date(year, month, 1):{day} %B %Y}"


def _iso(written: str, year: int, month: int, day: int) -> str:
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        raise ValueError(f"{written!r} is not a date that exists") from None
