"""Recovering orders and edition numbers from the job sheets on disk."""

import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from catalogue.dates import read_day
from catalogue.errors import Refused
from catalogue.records import editions, orders, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.numbers import parse_numbers

MOST_BYTES = 64 << 10
_FIRST = re.compile(r"JOB SHEET  order (?P<dated>.+, .*), (?:requested|asked|approved|printed|collected|cancelled)")


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """One text sheet. ``numbers`` are edition numbers as written, empty if the print has none."""

    path: Path
    number: str
    artist: str
    title: str
    numbers: str


def read_sheets(folder: Path, dates: str) -> Iterator[SheetFacts]:
    """Every job sheet below a folder, in the order of their paths; files that are none are passed over. ``dates``: how
    the shop writes days."""
    for path in sorted(folder.rglob("*.txt")):
        try:
            with path.open("rb") as file:
                lines = file.read(MOST_BYTES).decode("utf-8", "replace").splitlines()
        except OSError:
            continue
        first = _FIRST.fullmatch(lines[0]) if lines else None
        if first is None or len(lines) < 2:
            continue
        artist, _, title = lines[1].partition(": ")
        numbers = next((line.partition(":")[2].strip() for line in lines if line.startswith("edition numbers:")), "")
        yield SheetFacts(path, _order_number(first["dated"], dates), artist, title, numbers)


def _order_number(dated: str, dates: str) -> str:
    """The number in ``"A-1, May 31, 2026"``: without the day, in which, as in a number, there may be commas."""
    parts = dated.split(", ")
    for count in range(1, len(parts)):
        with suppress(ValueError):
            read_day(", ".join(parts[-count:]), dates)
            return ", ".join(parts[:-count])
    # another form of days than now: one that ends in a year of its own has a comma
    return ", ".join(parts[:-2] if len(parts) > 2 and parts[-1].isdecimal() else parts[:-1])


def hold_numbers(db: Database, folder: Path, dates: str) -> list[str]:
    """Reserve edition numbers named on job sheets whose orders are not on record; returns what to enter again."""
    doubts = []
    for sheet in read_sheets(folder, dates):
        if orders.find_by_number(db, sheet.number) is not None:
            continue
        with transaction(db, f"known from the job sheet {sheet.path.name}"):
            orders.note_known(db, sheet.number, sheet.path.name)
            held = _hold(db, sheet)
        doubts.append(f"The job sheet {sheet.path.name} names the order {sheet.number} ({sheet.artist}: {sheet.title}"
                      f"{', numbers ' + sheet.numbers if sheet.numbers else ''}), which is not on record"
                      f"{'; its numbers are held' if held else ''}: enter it again.")
    return doubts


def _hold(db: Database, sheet: SheetFacts) -> bool:
    piece_id = pieces.known_piece(db, sheet.artist, sheet.title)
    known = editions.of_piece(db, piece_id) if piece_id and sheet.numbers else []
    if len(known) != 1:
        return False
    try:
        free = [number for number in parse_numbers(sheet.numbers)[0]
                if number.number not in editions.taken(db, known[0].id, number.series)]
        editions.take(db, known[0].id, free, None)
    except (ValueError, Refused):
        return False
    return bool(free)
