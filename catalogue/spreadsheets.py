"""CSV cells that a spreadsheet shows but never executes as formulas, and whole tables of them."""

import csv
import re
from collections.abc import Iterable
from io import StringIO

# OWASP, CSV Injection: = + - @, tab, CR, LF; the full-width forms count as well where such are typed
_COMPUTED = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_LED = re.compile("'+[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_NEGATIVE = re.compile(r"-[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?")


def csv_cell(value: object) -> str:
    """A value as the text of a CSV cell. Text that a spreadsheet would execute gets a leading apostrophe; numbers do
    not."""
    text = f"{value:g}" if isinstance(value, float) else "" if value is None else str(value)
    return f"'{text}" if _COMPUTED.match(text) and not _NEGATIVE.fullmatch(text) else text


def cell_text(cell: str) -> str:
    """The text of a cell: the inverse of :func:`csv_cell`."""
    return cell[1:] if _LED.match(cell) else cell


def csv_table(names: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A table of such cells under its headings (RFC 4180)."""
    out = StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(names)
    writer.writerows([csv_cell(value) for value in row] for row in rows)
    return out.getvalue()
