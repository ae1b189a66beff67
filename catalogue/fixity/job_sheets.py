"""Reading orders and edition numbers back from the job sheets on the disk, for a recovery."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

MOST_BYTES = 64 << 10
_FIRST = re.compile(r"JOB SHEET  order (?P<number>.+), [^,]*, (?:requested|asked|approved|printed|collected|cancelled)")


@dataclass(frozen=True, slots=True)
class SheetFacts:
    """One text sheet. ``numbers`` are edition numbers as written, empty where the print has none."""

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
