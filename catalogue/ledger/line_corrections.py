"""Correcting what a recorded line prints: scan, edition and numbers follow its piece, size, medium and quantity."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from catalogue.errors import Refused
from catalogue.ledger.editions import applying, issue
from catalogue.records import editions, files, pieces, scans
from catalogue.records.database import Database
from catalogue.records.editions import Edition, LinePrint
from catalogue.records.numbers import numbered, numbers_text
from catalogue.records.orders import MADE, Line
from catalogue.records.paths import display_path

# What decides which edition a print counts in, and how many numbers it takes.
NUMBERED = {"piece_id", "width_mm", "height_mm", "medium", "quantity"}


def facts_that_follow(db: Database, line: Line, changes: Mapping[str, Any]) -> dict[str, object]:
    """Facts of a line that follow from ``changes`` of others: its scan and its edition. Numbers it no longer needs are
    freed, and those it lacks are issued; it keeps what it can. Call within a transaction.

    A line that took no number although its edition had some left it that way, and does so still.

    Raises NotFound: no such piece. Refused: the line is cancelled or its prints exist, more of them were handed over,
    it prints a destroyed number again, or its edition has too few numbers left. Of a line that is printed in part, the
    quantity can still be less: numbers not printed yet are freed.
    """
    changed = {name for name in NUMBERED & set(changes) if changes[name] != getattr(line, name)}
    prints = editions.of_line(db, line.id)
    if changes.get("quantity", line.quantity) < line.handed:
        raise Refused(f"{line.handed} prints of line {line.id} of order {line.number} were handed over.",
                      hint="Its quantity cannot be less.")
    if not changed or ("piece_id" not in changed and not prints and line.status not in ("requested", "approved")):
        return {}
    made = [each for each in prints if each.state != "reserved"]
    if changed == {"quantity"} and made and len(made) <= changes["quantity"] < len(prints) == line.quantity:
        waiting = [each for each in prints if each.state == "reserved"]     # the rest is not wanted after all
        editions.free(db, line.id, waiting[changes["quantity"] - len(made):])
        return {}
    _refuse(line, prints, changed)
    after = replace(line, **{name: changes[name] for name in changed})
    scan = _scan_facts(db, after.piece_id) if "piece_id" in changed else {}
    before, edition = (applying(db, each.piece_id, each.width_mm, each.height_mm, each.medium)
                       for each in (line, after))
    if not prints and before is not None:
        return {**scan, "edition_id": edition.id if edition and line.edition_id is not None else None}
    _renumber(db, line, prints, edition, after.quantity)
    return {**scan, "edition_id": edition.id if edition else None}


def _refuse(line: Line, prints: Sequence[LinePrint], changed: set[str]) -> None:
    """Raise Refused if the existing prints of a line rule a correction out."""
    name = f"Line {line.id} of order {line.number}"
    numbers = numbered(numbers_text((p.series, p.number) for p in prints))
    made = any(each.state != "reserved" for each in prints)
    if "piece_id" in changed and line.status == "cancelled":
        raise Refused(f"{name} is cancelled, so its piece stays what it was.",
                      hint="If it was not printed, record the right piece as a new order.")
    if "piece_id" in changed and (made or line.handed or line.status in MADE):
        raise Refused(f"{name} was printed as {line.title!r}, and a print that was made keeps its piece.",
                      hint="Cancel this line, then record the right piece as a new order.")
    if made:
        which = ", ".join(sorted({each.removesuffix("_mm") for each in changed}))
        raise Refused(f"{name} was printed with edition {numbers}, so its {which} cannot be changed.",
                      hint="Record further prints as a new order, and a print that was lost as destroyed.")
    if any(each.nth > 1 for each in prints):
        raise Refused(f"{name} prints {numbers} again, which only its own edition can.",
                      hint="Cancel this line and record it again.")


def _scan_facts(db: Database, piece_id: int) -> dict[str, object]:
    """The scan the line is printed from once it is of this piece. It is no longer a repeat of another piece's line."""
    current = pieces.get_piece(db, piece_id).current_scan_id
    master = scans.by_id(db, current) if current else None
    path = next((file.path for file in files.of_scan(db, master.id)), "") if master else ""
    return {"scan_sha256": master.sha256 if master else "", "scan_name": display_path(path).rpartition("/")[2],
            "repeat_of": None}


def _renumber(db: Database, line: Line, prints: Sequence[LinePrint], edition: Edition | None, count: int) -> None:
    """Let a line have ``count`` numbers of ``edition``, of proofs as many as it has, or all where it has nothing else.
    """
    proofs = [each for each in prints if each.series == "proof"]
    proofs_wanted = count if prints and len(proofs) == len(prints) else min(len(proofs), count)
    stays = edition is not None and edition.id == line.edition_id
    for series, wanted in (("proof", proofs_wanted), ("number", count - proofs_wanted)):
        of_series = [each for each in prints if each.series == series]
        count_kept = min(wanted, len(of_series)) if stays else 0
        editions.free(db, line.id, of_series[count_kept:])
        if edition is not None and wanted > count_kept:
            issue(db, edition.id, line.id, wanted - count_kept, proofs=series == "proof")
