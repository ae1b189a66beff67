"""Capturing: plans of captures on the shop's beds, and notes of how a piece's current master was scanned."""

from catalogue.ledger.capture import note_capture
from catalogue.ledger.capture_plan import CapturePlan, capture_plans
from catalogue.ledger.values import shown_mm, shown_size
from catalogue.operations.wording import counted

__all__ = ["capture_plans", "note_capture", "summarize"]


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
