"""Recovering orders and edition numbers from the job sheets on disk."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import Refused
from catalogue.records import editions, orders, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.numbers import parse_numbers

MOST_BYTES = 64 << 10
_FIRST = re.compile(r"JOB SHEET  order (?P<number>.+), [^,]*, (?:requested|asked|approved|printed|collected|cancelled)")


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """One text sheet. ``numbers`` are edition numbers as written, empty if the print has none."""

    path: Path
    number: str
    artist: str
    title: str
    numbers: str


def read_sheets(folder: Path) -> Iterator[SheetFacts]:
    """Every job sheet below a folder, in the order of their paths; files that are none are passed over."""
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
        yield SheetFacts(path, first["number"], artist, title, numbers)


def hold_numbers(db: Database, folder: Path) -> list[str]:
    """Reserve edition numbers named on job sheets whose orders are not on record; returns what to enter again."""
    doubts = []
    for sheet in read_sheets(folder):
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
