"""Merging two pieces that are one, and splitting one piece that is two, as a person says.

Both are statements: remembered by later index runs, and undone like any other (``indexing.corrections.undo``).
"""

from collections.abc import Sequence

from catalogue.errors import AlreadyExists, NotFound, Refused
from catalogue.indexing import corrections
from catalogue.indexing.corrections import Correction, correction
from catalogue.records import editions, piece_changes, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.piece_changes import PieceChange
from catalogue.records.pieces import get_piece


def merge(db: Database, keep_id: int, gone_id: int) -> Correction:
    """File everything of one piece under another: scans, orders, editions, and what was stated of the original.

    Where both state something different, the survivor's holds and the other's is written into its notes. Raises
    Refused for a piece with itself, and where both have editions.
    """
    with correction(db) as made:
        keep, gone = get_piece(db, keep_id), get_piece(db, gone_id)
        if keep.id == gone.id:
            raise Refused("A piece cannot be merged with itself.")
        if editions.of_piece(db, keep.id) and editions.of_piece(db, gone.id):
            raise Refused("Both pieces have editions.", hint="Decide first which edition is valid, then merge.")
        made.say(f"pieces merged: {gone.artist}: {gone.title} ({gone.id}) into {keep.artist}: {keep.title} ({keep.id})")
        pieces.join(db, keep, gone)
    return made.result()


def split(db: Database, piece_id: int, scan_ids: Sequence[int], title: str) -> Correction:
    """File some of a piece's scans under a new piece of the same artist. Orders and editions stay."""
    with correction(db) as made:
        piece = get_piece(db, piece_id)
        mine = {s.id for s in scans.of_piece(db, piece_id)}
        if not scan_ids or not set(scan_ids) <= mine:
            raise Refused("Only scans of that piece can be split off.", hint=f"See: catalogue show {piece_id}.")
        if pieces.known_piece(db, piece.artist, title) is not None:
            raise AlreadyExists(f"{piece.artist} already has a piece called {title!r}.", hint="Choose another title.")
        new = pieces.piece_called(db, piece.artist_id, title)
        made.say(f"piece split: {len(scan_ids)} scan{'s' * (len(scan_ids) != 1)} of {piece.artist}: {piece.title}"
                 f" ({piece.id}) to {title} ({new})")
        for scan_id in scan_ids:
            scans.set_piece(db, scan_id, new)
    return made.result()


def undo(db: Database, event_id: int) -> Correction:
    """Take a merge or split back."""
    return corrections.undo(db, event_id)


def undo_older(db: Database, change_id: int) -> PieceChange:
    """Take back a merge or split that was made before there was a log of statements. Refused while a later one of the
    same pieces stands."""
    with transaction(db):
        change = piece_changes.by_id(db, change_id)
        if change is None:
            raise NotFound(f"There is no change {change_id}.", hint="List them: catalogue alike changes.")
        if change.undone:
            raise Refused(f"Change {change_id} is already undone.")
        later = piece_changes.later(db, change)
        if later:
            raise Refused("The same pieces were changed again since.", hint=f"Undo change {later[-1].id} first.")
        piece_changes.undo(db, change)
    return change
