"""Wording of facts: dates, sizes, counts, and names made safe to show."""

import unicodedata
from collections.abc import Iterable
from datetime import UTC, datetime

from textual.content import Content

from catalogue.dates import shown_day
from catalogue.operations.wording import counted, number
from catalogue.records.orders import Line
from catalogue.records.paths import display_path

MM_PER_INCH = 25.4
__all__ = ["BAD", "DOUBT", "ago", "centimetres", "counted", "day", "duration", "file_name", "line", "lines",
           "number", "present", "safe", "scanned_cm", "size_cm"]


def safe(name: str) -> str:
    """A name without what would move the cursor or turn the line's direction: control and bidi signs become "�"."""
    if name.isprintable():      # none of them is: as most names are
        return name
    return "".join("\N{REPLACEMENT CHARACTER}" if unicodedata.category(c) in ("Cc", "Zl", "Zp", "Cs")
                   or c in "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f" else c for c in name)


# Sign and style by what it tells; the words beside it say the same.
GOOD, DOUBT, BAD = ("✓", "$success"), ("!", "$warning"), ("✗", "$error")


def line(*parts: "str | tuple[str, str]") -> Content:
    """One line; names in it are never read as markup."""
    return Content.assemble(*((safe(part) if isinstance(part, str) else (safe(part[0]), part[1])) for part in parts))


def lines(parts: Iterable[Content]) -> Content:
    return Content("\n").join(list(parts))


def file_name(path: str) -> str:
    """The last part of a stored path, for people."""
    return safe(display_path(path).rsplit("/", 1)[-1])


def day(moment: str | None, form: str) -> str:
    """An ISO date or time as the shop writes days; what does not parse is shown as it is."""
    if not moment:
        return "–"
    return safe(shown_day(moment, form))


def present() -> datetime:
    """The moment from which "ago" is counted."""
    return datetime.now(UTC)


def ago(moment: str | None) -> str:
    """How long since, in the largest unit that fits."""
    if not moment:
        return "never"
    try:
        then = datetime.fromisoformat(moment.replace("Z", "+00:00"))
    except ValueError:
        return safe(moment)
    if then.tzinfo is None:
        then = then.replace(tzinfo=UTC)
    days = (present() - then).days
    if days < 1:
        return "today"
    for unit, length in (("year", 365), ("month", 30), ("week", 7), ("day", 1)):
        if days >= length:
            number = days // length
            return f"{number} {unit}{'s' if number > 1 else ''} ago"
    return "today"


def centimetres(mm: float) -> str:
    """Millimetres as centimetres, one decimal where it matters."""
    return f"{mm / 10:.1f}".removesuffix(".0")


def size_cm(width_mm: float | None, height_mm: float | None) -> str:
    if not width_mm or not height_mm:
        return "–"
    return f"{centimetres(width_mm)} × {centimetres(height_mm)} cm"


def part_state(line: Line) -> str:
    """How far an order line is, in nine cells: ``printed``, ``part 3/10`` where 3 of 10 were handed over."""
    return f"part {line.handed}/{line.quantity}" if line.partly else line.status


def scanned_cm(width: int | None, height: int | None, ppi_x: float | None, ppi_y: float | None) -> str:
    """Size of the original as the scan's pixels and resolution give it."""
    if not (width and height and ppi_x and ppi_y):
        return "–"
    return size_cm(round(width / ppi_x * MM_PER_INCH), round(height / ppi_y * MM_PER_INCH))


def duration(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
