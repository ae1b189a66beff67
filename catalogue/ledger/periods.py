"""Periods of days as people write them: ``2025-11``, ``November 2025``, ``2025``, ``last month``. Pure."""

import re
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, timedelta

from catalogue.dates import shown_day

MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
          "december")
_MONTH = re.compile(r"(?P<year>[0-9]{4})-(?P<month>[0-9]{2})")
_QUARTER = re.compile(r"(?P<year>[0-9]{4})-?q(?P<quarter>[1-4])", re.IGNORECASE)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_YEAR = re.compile(r"(19|20)[0-9]{2}")


@dataclass(frozen=True, slots=True)
class Period:
    """From one day to another, both within, as ISO dates."""

    first: str
    last: str

    def in_words(self, dates: str) -> str:
        """``November 2025``, ``2nd quarter of 2025``, ``2025``, else ``3 Nov 2025 to 9 Nov 2025``."""
        first, last = date.fromisoformat(self.first), date.fromisoformat(self.last)
        if (first.day, last) == (1, _last_of(first)):
            return f"{MONTHS[first.month - 1].capitalize()} {first.year:04d}"
        if (first.month, first.day, last.month, last.day) == (1, 1, 12, 31) and first.year == last.year:
            return f"{first.year:04d}"
        for number, ordinal in enumerate(("1st", "2nd", "3rd", "4th"), 1):
            if self == _quarter(first.year, number):
                return f"{ordinal} quarter of {first.year:04d}"
        return " to ".join(dict.fromkeys(shown_day(day, dates) for day in (self.first, self.last)))


def _last_of(day: date) -> date:
    return day.replace(day=monthrange(day.year, day.month)[1])


def _month_of(day: date) -> Period:
    return Period(day.replace(day=1).isoformat(), _last_of(day).isoformat())


def year(number: int) -> Period:
    """The days of a calendar year."""
    return Period(f"{number:04d}-01-01", f"{number:04d}-12-31")


def month(text: str) -> Period:
    """``"2025-11"`` is November 2025 and nothing else. Raises ValueError."""
    match = _MONTH.fullmatch(text.strip())
    if match is None or not 1 <= int(match["month"]) <= 12 or int(match["year"]) < 1:
        raise ValueError(f"{text!r} is not a month such as 2025-11")
    return _month_of(date(int(match["year"]), int(match["month"]), 1))


def quarter(text: str) -> Period:
    """``"2025-Q1"`` is January to March 2025. Raises ValueError."""
    match = _QUARTER.fullmatch(text.strip())
    if match is None or int(match["year"]) < 1:
        raise ValueError(f"{text!r} is not a quarter such as 2025-Q1")
    return _quarter(int(match["year"]), int(match["quarter"]))


def _quarter(year_number: int, number: int) -> Period:
    last = date(year_number, 3 * number, 1)
    return Period(last.replace(month=last.month - 2).isoformat(), _last_of(last).isoformat())


def between(first: str, last: str) -> Period:
    """From one ISO date to another. Raises ValueError if the second is before the first."""
    if last < first:
        raise ValueError("the period ends before it begins")
    return Period(first, last)


def take_period(words: list[str], today: date) -> tuple[Period | None, list[str]]:
    """The first period among words, and the words without it.

    A period is ``2025-11``, ``2025-11-03``, ``2025``, ``2025-q1``, ``november 2025``, ``q1 2025``, ``this month``,
    ``last quarter``, ``this year``, or two of the first four joined by ``..``. A month's name without a year is a word.
    """
    for at, word in enumerate(words):
        after = words[at + 1] if at + 1 < len(words) else ""
        two = _two_words(word.casefold(), after.casefold(), today)
        if two is not None:
            return two, words[:at] + words[at + 2:]
        single = _one_word(word)
        if single is not None:
            return single, words[:at] + words[at + 1:]
    return None, words


def _one_word(word: str) -> Period | None:
    if ".." in word:
        first, _, last = word.partition("..")
        start, end = _one_word(first), _one_word(last)
        return Period(start.first, end.last) if start and end and start.first <= end.last else None
    try:
        if _DAY.fullmatch(word):
            return Period(date.fromisoformat(word).isoformat(), word)
        if _YEAR.fullmatch(word):
            return year(int(word))
        return quarter(word) if _QUARTER.fullmatch(word) else month(word)
    except ValueError:
        return None


def _two_words(word: str, after: str, today: date) -> Period | None:
    named = next((n for n, name in enumerate(MONTHS, 1) if len(word) >= 3 and name.startswith(word)), None)
    if named is not None and _YEAR.fullmatch(after):
        return _month_of(date(int(after), named, 1))
    if _YEAR.fullmatch(after) and _QUARTER.fullmatch(f"{after}-{word}"):
        return quarter(f"{after}-{word}")
    if word not in ("this", "last") or after not in ("month", "quarter", "year"):
        return None
    if after == "quarter":
        at = 4 * today.year + (today.month - 1) // 3 - (word == "last")
        return _quarter(at // 4, at % 4 + 1)
    if after == "year":
        return year(today.year - (word == "last"))
    return _month_of(today if word == "this" else today.replace(day=1) - timedelta(days=1))
