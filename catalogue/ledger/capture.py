"""Capture notes: how an original was scanned, in free fields with units."""

from collections.abc import Mapping

from catalogue.errors import NotFound, Refused
from catalogue.records import pieces, scans
from catalogue.records.database import Database, transaction


def note_capture(db: Database, piece_id: int, notes: Mapping[str, str], *, relief_mm: float | None = None) -> None:
    """Add to the capture notes of a piece's current master; an empty value takes a field away.

    Raises NotFound without such a piece, Refused where it has no current master to add notes to.
    """
    with transaction(db):
        piece = pieces.by_id(db, piece_id)
        if piece is None:
            raise NotFound(f"There is no piece number {piece_id}.")
        if notes:
            if piece.current_scan_id is None:
                raise Refused(f"{piece.title!r} has no current master to add notes to.")
            merged = scans.capture(db, piece.current_scan_id) | dict(notes)
            scans.set_capture(db, piece.current_scan_id, {name: value for name, value in merged.items() if value})
        if relief_mm is not None:
            pieces.describe(db, piece_id, year=piece.year, series=piece.series, inventory_number=piece.inventory_number,
                            width_mm=piece.width_mm, height_mm=piece.height_mm, relief_mm=relief_mm,
                            notes=piece.notes)
