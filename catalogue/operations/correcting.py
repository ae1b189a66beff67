"""Corrections: what a person states of artists, pieces and scans. Later index runs follow; each is undone exactly."""

from collections.abc import Mapping, Sequence

from catalogue.indexing import corrections
from catalogue.indexing.corrections import Correction
from catalogue.likeness import merging
from catalogue.records import pieces
from catalogue.records.database import Database, transaction
from catalogue.records.piecechanges import PieceChange
from catalogue.records.pieces import Artist, Piece


def merge_pieces(db: Database, keep_id: int, gone_id: int) -> Correction:
    """File all of one piece under another. Raises NotFound, Refused."""
    return merging.merge(db, keep_id, gone_id)


def split_piece(db: Database, piece_id: int, scan_ids: Sequence[int], title: str) -> Correction:
    """File some scans of a piece under a new one of the same artist. Raises NotFound, Refused."""
    return merging.split(db, piece_id, scan_ids, title)


def undo_older_change(db: Database, change_id: int) -> PieceChange:
    """Take back a merge or split from before statements were logged. Raises NotFound, Refused."""
    return merging.undo_older(db, change_id)


def undo_statement(db: Database, event_id: int | None = None) -> Correction:
    """Take back a statement, or the last one that still stands. Raises NotFound; Refused where it was changed since."""
    return corrections.undo(db, event_id)


def describe_piece(db: Database, piece_id: int, said: Mapping[str, object], *,
                   artist: str | None = None) -> tuple[Correction, Piece]:
    """State what is known of an original; gives the piece as it stands then. Raises NotFound, Refused."""
    done = corrections.set_piece(db, piece_id, said, artist=artist)
    return done, corrections.piece_of(db, piece_id)


def describe_scan(db: Database, scan_id: int, *, role: str | None = None, piece_id: int | None = None) -> Correction:
    """State a scan's role, or which piece it shows. Raises NotFound, Refused."""
    return corrections.set_scan(db, scan_id, role=role, piece_id=piece_id)


def file_under_new_piece(db: Database, scan_id: int, artist: str, title: str, *,
                         role: str | None = None) -> Correction:
    """State that a scan shows a piece that is not in the catalogue yet. Raises NotFound, Refused."""
    return corrections.move_to_new_piece(db, scan_id, artist, title, role=role)


def choose_current_master(db: Database, piece_id: int, scan_id: int) -> None:
    """State which scan prints of a piece are made from; the one before stays in the archive, superseded."""
    with transaction(db):
        pieces.set_current(db, piece_id, scan_id, "person")


def describe_artist(db: Database, artist_id: int, *, contact: str | None = None, terms: str | None = None,
                    notes: str | None = None) -> Artist:
    """Note how to reach an artist and what was agreed; what is None stays. Raises NotFound."""
    with transaction(db):
        artist = corrections.artist_of(db, artist_id)
        pieces.describe_artist(db, artist.id, contact=artist.contact if contact is None else contact,
                               terms=artist.terms if terms is None else terms,
                               notes=artist.notes if notes is None else notes)
    return corrections.artist_of(db, artist_id)


def rename_artist(db: Database, artist_id: int, name: str) -> Correction:
    """Spell an artist's name otherwise. Raises NotFound, Refused."""
    return corrections.rename_artist(db, artist_id, name)


def merge_artists(db: Database, keep_id: int, gone_id: int) -> Correction:
    """File all of one artist's pieces under another. Raises NotFound, Refused."""
    return corrections.merge_artists(db, keep_id, gone_id)


def summarize(done: Correction) -> list[str]:
    """What was corrected, or that it was so already."""
    return [f"{done.detail[:1].upper()}{done.detail[1:]}." if done.id else "Nothing to change: it is so already."]
