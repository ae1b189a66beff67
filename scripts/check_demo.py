"""Check the demo as a person meets it: paint it, make its catalogue, count what it asks of them, and what it costs.

    python scripts/check_demo.py            exit 1 where the demo is not the sound shop it should be

The tests read the same archive with fewer pixels; here it has all of them, so that print sizes can be judged. Times are
processor time of this process and its children.
"""

import os
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from catalogue.commands.demo import fill_catalogue
from catalogue.ledger.repeat import propose
from catalogue.progress import data_size
from catalogue.records import browsing, findings
from catalogue.records.database import Database
from catalogue.settings import Home

PAINTING_SECONDS = 40.0  # of processor time: 20 s on two cores
FINDINGS = {"single copy": 4, "changed": 1, "missing": 1, "truncated": 1, "no profile": 1, "no off-site copy": 1}
PIECES_WITH_A_SIGN = 4
CAUTIOUS_LINES = 15  # of 120: the six exceptional orders, those of the edition nearly out and of the damaged masters


def main() -> int:
    from paint_archive import painting_bar
    from painting.demo import paint_demo

    wrong = 0
    with tempfile.TemporaryDirectory() as temporary:
        disks, home = Path(temporary) / "disks", Home(Path(temporary) / "home")
        home.folder.mkdir()
        disks.mkdir()
        began = spent()
        with painting_bar() as report:
            paint_demo(disks, 7, report)
        painting = spent() - began
        sizes = [path.stat().st_size for path in disks.rglob("*") if path.is_file()]
        print(f"painted: {len(sizes)} files, {data_size(sum(sizes))}, {painting:.1f} s")
        began, waited = spent(), time.monotonic()
        db, _ = fill_catalogue(home, disks)
        print(f"catalogue made: {spent() - began:.1f} s; {time.monotonic() - waited:.1f} s by the clock")
        wrong += painting > PAINTING_SECONDS
        wrong += judged("findings", findings.by_kind(db) == FINDINGS, findings.by_kind(db))
        signs = [piece.title for piece in browsing.pieces(db, None, None, 500) if piece.damaged or piece.findings]
        wrong += judged("pieces with a sign", len(signs) == PIECES_WITH_A_SIGN, signs)
        lines, cautions = cautious_lines(db, home)
        wrong += judged(f"order lines of {lines} that warn when repeated", len(cautions) <= CAUTIOUS_LINES,
                        dict(Counter(kind for kinds in cautions.values() for kind in kinds)))
        db.close()
    return min(1, wrong)


def spent() -> float:
    """Processor time so far, of this process and of its children that have ended."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def judged(what: str, right: bool, found: object) -> int:
    print(f"{'as it should be' if right else 'WRONG'}: {what}: {found}")
    return int(not right)


def cautious_lines(db: Database, home: Home) -> tuple[int, dict[int, list[str]]]:
    """How many order lines there are, and the kinds of caution that repeating one calls for, if any."""
    lines = [int(row[0]) for row in db.execute("SELECT id FROM order_line ORDER BY id")]
    kinds = {line: [caution.kind for caution in propose(db, home, line_id=line).cautions] for line in lines}
    return len(lines), {line: cautions for line, cautions in kinds.items() if cautions}


if __name__ == "__main__":
    sys.exit(main())
