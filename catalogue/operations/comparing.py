"""Compare: which scans show the same artwork."""

from catalogue.likeness.updating import Updated
from catalogue.likeness.updating import update as compare_scans
from catalogue.operations.wording import counted

__all__ = ["compare_scans", "summarize"]

MOST_NAMED = 20


def summarize(result: Updated) -> list[str]:
    """How many scans were compared, what was found, and whose preview cannot be used."""
    lines = [f"{counted(result.compared, 'scan')} compared, {counted(result.pairs, 'likeness', 'likenesses')} found."]
    lines += [f"The preview of {sha[:12]} cannot be used: run catalogue index --again."
              for sha in result.unreadable[:MOST_NAMED]]
    if len(result.unreadable) > MOST_NAMED:
        lines.append(f"and {counted(len(result.unreadable) - MOST_NAMED, 'more preview')}.")
    return lines
