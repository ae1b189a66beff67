"""Tidy: rename by the shop's rule, and undo. The services do all of it; this module words the result."""

from catalogue.intake.moving import Tidied, apply_tidying, undo_tidying
from catalogue.operations.wording import counted

__all__ = ["Tidied", "apply_tidying", "summarize", "undo_tidying"]


def summarize(tidied: Tidied) -> list[str]:
    """How many files were renamed, which were not and why, and the undo file."""
    lines = [f"Renamed {counted(len(tidied.moved), 'file')}.",
             *(f"  skipped: {item}" for item in tidied.skipped)]
    return [*lines, f"To undo: catalogue tidy --undo {tidied.undo}"] if tidied.undo else lines
