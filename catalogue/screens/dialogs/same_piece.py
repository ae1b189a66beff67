"""The questions before "same piece" is recorded: whether a whole group is one, and which of several pieces stays."""

from collections.abc import Callable, Sequence
from typing import Any

from textual.app import App

from catalogue.operations.judging import PieceInQuestion
from catalogue.screens.dialogs.confirm import Choice, confirm
from catalogue.screens.texts.formats import counted, safe

NAMED = 12      # files named in a question


def ask_one_piece(app: App[Any], files: Sequence[str], filed: Sequence[PieceInQuestion],
                  then: Callable[[], object]) -> None:
    """Ask whether all scans of a group, named by their ``files``, show one piece."""
    lines = [f"  {name}" for name in files[:NAMED]]
    if len(files) > NAMED:
        lines.append(f"  and {counted(len(files) - NAMED, 'more file')}")
    if len(filed) == 1:
        lines.append(f"All are filed under {safe(filed[0].piece.artist)}: {safe(filed[0].piece.title)}.")
    confirm(app, f"Do these {len(files)} scans show one piece?", "\n".join(lines), then, yes="Same piece")


def ask_which_stays(filed: Sequence[PieceInQuestion]) -> Choice:
    """Ask which piece stays; the answer is its number, negative where only the scans in question must move to it."""
    rows = [(each.piece.id, f"Keep {each.piece.title}, {each.piece.artist}", _held(each)) for each in filed]
    rows += [(-each.piece.id, f"{_moving(filed, each)}, to {each.piece.title}", "the others stay")
             for each in filed if any(other.others for other in filed if other is not each)]
    return Choice("One piece: which one stays?", rows,
                  "Scans, orders and editions of the other move to it. u to undo.")


def _held(each: PieceInQuestion) -> str:
    return ", ".join(filter(None, (
        counted(len(each.scans) + each.others, "scan"), counted(each.lines, "order") if each.lines else "",
        counted(each.editions, "edition") if each.editions else "",
        "corrected" if each.stated else "")))


def _moving(filed: Sequence[PieceInQuestion], to: PieceInQuestion) -> str:
    count = sum(len(each.scans) for each in filed if each is not to)
    return "This scan only" if count == 1 else f"These {count} scans only"
