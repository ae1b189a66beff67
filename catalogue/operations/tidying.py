"""Tidy: names and places by the shop's rule, and back again. Both services do the whole of it."""

from catalogue.intake.moving import Tidied, apply_tidying, undo_tidying
from catalogue.operations.wording import counted
from catalogue.records.paths import display_path, escape_path

__all__ = ["Tidied", "apply_tidying", "summarize", "undo_tidying"]


def summarize(done: Tidied) -> list[str]:
    """How many files were renamed, which were not and why, and the file that brings them back."""
    lines = [f"Renamed {counted(len(done.moved), 'file')}.",
             *(f"  left: {display_path(escape_path(str(left.path)))}: {left.why}" for left in done.left)]
    return [*lines, f"To undo: catalogue tidy --undo {done.undo}"] if done.undo else lines
