"""Two pieces that are one, one piece that is two: merged or split on a person's word, and undone."""

from collections.abc import Sequence

from catalogue.errors import NotFound, Refused
from catalogue.records import editions, events, piecechanges, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.piecechanges import PieceChange
from catalogue.records.pieces import Piece


def merge(db: Database, keep_id: int, gone_id: int) -> PieceChange:
    """File everything of one piece under another: scans, orders, editions. Undone by :func:`undo`."""
    with transaction(db):
        keep, gone = _piece(db, keep_id), _piece(db, gone_id)
        if keep.id == gone.id:
            raise Refused("A piece cannot be merged with itself.")
        if editions.of_piece(db, keep.id) and editions.of_piece(db, gone.id):
            raise Refused("Both pieces have editions.", hint="Settle first which edition holds, then merge.")
        detail = f"{gone.artist}: {gone.title} ({gone.id}) into {keep.artist}: {keep.title} ({keep.id})"
        number = piecechanges.merge(db, keep.id, gone.id, detail)
        pieces.propose_current(db, keep.id)
        events.append(db, "metadata modification", "success", detail=f"pieces merged: {detail}")
        return _change(db, number)


def split(db: Database, piece_id: int, scan_ids: Sequence[int], title: str) -> PieceChange:
    """File some of a piece's scans under a new piece of the same artist. Orders and editions stay."""
    with transaction(db):
        piece = _piece(db, piece_id)
        mine = {s.id for s in scans.of_piece(db, piece_id)}
        if not scan_ids or not set(scan_ids) <= mine:
            raise Refused("Only scans of that piece can be split off.", hint=f"See: catalogue show {piece_id}.")
        if pieces.known_piece(db, piece.artist, title) is not None:
            raise Refused(f"{piece.artist} already has a piece called {title!r}.", hint="Choose another title.")
        made = pieces.piece_called(db, piece.artist_id, title)
        detail = f"{len(scan_ids)} scans of {piece.artist}: {piece.title} ({piece.id}) to {title} ({made})"
        number = piecechanges.split(db, piece_id, scan_ids, made, detail)
        for one in (piece_id, made):
            pieces.propose_current(db, one)
        events.append(db, "metadata modification", "success", detail=f"piece split: {detail}")
        return _change(db, number)


def undo(db: Database, change_id: int) -> PieceChange:
    """Take a merge or split back. Refused while a later change of the same pieces stands."""
    with transaction(db):
        change = _change(db, change_id)
        if change.undone:
            raise Refused(f"Change {change_id} is undone already.")
        later = piecechanges.later(db, change)
        if later:
            raise Refused("The same pieces were changed again since.", hint=f"Undo change {later[-1].id} first.")
        piecechanges.undo(db, change)
        made = piecechanges.made_by(change)
        if made is not None and not piecechanges.remove_if_empty(db, made):
            pieces.propose_current(db, made)
        events.append(db, "metadata modification", "success", detail=f"undone: {change.kind} {change.detail}")
        return _change(db, change_id)


def _piece(db: Database, piece_id: int) -> Piece:
    piece = pieces.by_id(db, piece_id)
    if piece is None:
        raise NotFound(f"There is no piece {piece_id}.", hint="Try: catalogue find WORDS.")
    return piece


def _change(db: Database, change_id: int) -> PieceChange:
    change = piecechanges.by_id(db, change_id)
    if change is None:
        raise NotFound(f"There is no change {change_id}.", hint="List them: catalogue alike changes.")
    return change
