"""What "same piece" asks before it is recorded: whether a whole group is one, and which of several pieces stays."""

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
    """Ask which piece stays; the answer is its number, negative where only the scans in question shall move to it."""
    rows = [(one.piece.id, f"Keep {one.piece.title}, {one.piece.artist}", _held(one)) for one in filed]
    rows += [(-one.piece.id, f"{_moving(filed, one)}, to {one.piece.title}", "the rest stays put")
             for one in filed if any(other.others for other in filed if other is not one)]
    return Choice("One piece: which one stays?", rows,
                  "Keeping one moves the scans, orders and editions of the other there. u to undo.")


def _held(one: PieceInQuestion) -> str:
    return ", ".join(filter(None, (
        counted(len(one.scans) + one.others, "scan"), counted(one.lines, "order") if one.lines else "",
        counted(one.editions, "edition") if one.editions else "",
        "corrected" if one.stated else "")))


def _moving(filed: Sequence[PieceInQuestion], to: PieceInQuestion) -> str:
    count = sum(len(one.scans) for one in filed if one is not to)
    return "This scan only" if count == 1 else f"These {count} scans only"
