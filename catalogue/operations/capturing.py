"""Capturing: plan captures on the shop's beds, and note how a piece's current master was scanned."""

from collections.abc import Mapping

from catalogue.errors import Refused
from catalogue.ledger.capture_plan import CapturePlan, capture_plans
from catalogue.ledger.values import shown_mm, shown_size
from catalogue.operations.wording import counted
from catalogue.records import pieces, scans
from catalogue.records.database import Database, transaction

__all__ = ["capture_plans", "note_capture", "summarize"]


def note_capture(db: Database, piece_id: int, notes: Mapping[str, str], *, relief_mm: float | None = None) -> None:
    """Add to the capture notes of a piece's current master, free fields with units; an empty value takes one away.

    Raises NotFound without such a piece, Refused if it has no current master to add notes to.
    """
    with transaction(db):
        piece = pieces.get_piece(db, piece_id)
        if notes:
            if piece.current_scan_id is None:
                raise Refused(f"{piece.title!r} has no current master to add notes to.")
            merged = scans.capture(db, piece.current_scan_id) | dict(notes)
            scans.set_capture(db, piece.current_scan_id, {name: value for name, value in merged.items() if value})
        if relief_mm is not None:
            pieces.describe(db, piece_id, relief_mm=relief_mm)


def summarize(plan: CapturePlan) -> list[str]:
    """``"90 × 90 cm on the usual bed (42 × 29.7 cm): 3 × 4 = 12 captures, overlapping 43 % across, 32 % down"``."""
    size, bed = shown_size(plan.width_mm, plan.height_mm), shown_size(*plan.bed_mm)
    if plan.captures == 1:
        return [f"{size} on the {plan.bed} ({bed}): one capture."]
    overlaps = [f"{share:.0%} {way}" for share, way in ((plan.overlap_across, "across"), (plan.overlap_down, "down"))
                if share is not None]
    lines = [f"{size} on the {plan.bed} ({bed}): {plan.across} × {plan.down}, {counted(plan.captures, 'capture')}, "
             f"overlapping {', '.join(overlaps)}."]
    for way, begins in (("left", plan.lefts), ("upper", plan.tops)):
        if len(begins) > 1:
            lines.append(f"  from the {way} edge: {', '.join(shown_mm(start) for start in begins)} cm")
    return lines
