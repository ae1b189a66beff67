"""Refile: guess again after the place rules changed. The service does the whole of it."""

from catalogue.indexing.refiling import Refiled, refile
from catalogue.indexing.refiling import undo as undo_refiling
from catalogue.operations.wording import counted, number

__all__ = ["Refiled", "refile", "summarize", "undo_refiling"]

MOST_LISTED = 40


def summarize(refiled: Refiled) -> list[str]:
    """How many scans go from which name to which; whether it was done or only shown."""
    counts = refiled.counts
    lines = [f"{count:>5}  {before or 'not filed'} → {after or 'not filed'}"
             for (before, after), count in list(counts.items())[:MOST_LISTED]]
    if len(counts) > MOST_LISTED:
        lines.append(f"       and {number(len(counts) - MOST_LISTED)} more; --json has all.")
    roles = number(sum(move.role_before != move.role_after for move in refiled.moves))
    moved = counted(sum(counts.values()), "scan")
    if not refiled.moves:
        return [*lines, f"{counted(refiled.looked, 'scan')} checked; all are filed as the rules say."]
    if refiled.id:
        return [*lines, f"{moved} filed differently, {roles} given another role. Undo: catalogue refile --undo"]
    return [*lines, f"{moved} would be filed differently, {roles} given another role. To do it: catalogue refile --yes"]
