"""Dates and times in the shop's format. Everywhere else (catalogue, JSON, CSV, file names) they are ISO 8601."""

import re
from datetime import UTC, date, datetime


def read_day(text: str, style: str) -> str:
    """A date as ISO text. ISO is read first, then ``style`` (as strptime knows it). Raises ValueError."""
    written = text.strip()
    if re.match(r"[0-9]{4}-[0-9][0-9]-[0-9][0-9]", written):
        return date.fromisoformat(written[:10]).isoformat()
    try:
        return datetime.strptime(written, style).date().isoformat()
    except ValueError:
        example = datetime(2024, 5, 31).strftime(style)
        raise ValueError(f"{text!r} is not a date such as 2024-05-31 or {example}") from None


def shown_day(iso: str, style: str) -> str:
    """An ISO date, or the date of an ISO time, in the shop's format; any other text unchanged."""
    try:
        return date.fromisoformat(iso[:10]).strftime(style)
    except ValueError:
        return iso


def shown_moment(iso: str, style: str) -> str:
    """``"31 May 2024, 14:05"``: an ISO moment, which is UTC where it names no zone, by the clock of this machine."""
    try:
        moment = datetime.fromisoformat(iso)
    except ValueError:
        return iso
    local = (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).astimezone()
    return f"{local.strftime(style)}, {local:%H:%M}"
