"""The details shown for the piece under the cursor of a list."""

from dataclasses import dataclass, replace

from catalogue.records import current
from catalogue.records.browsing import PIECE_COLUMNS, PieceItem
from catalogue.records.copies import of_scan
from catalogue.records.rows import Database, fetch_one


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance(PieceItem):
    """What stands under a piece's picture.

    ``present`` counts files of the current master that are there; ``stores``, ``disks`` and ``checked_at`` are of its
    sound copies, as in :class:`catalogue.records.copies.Copies`. ``caution`` says why the current master is doubtful.
    """

    width_mm: float | None
    height_mm: float | None
    scan_id: int | None
    width: int | None
    height: int | None
    bits: int | None
    ppi_x: float | None
    ppi_y: float | None
    has_preview: int | None
    lines: int
    present: int = 0
    stores: int = 0
    disks: int = 0
    checked_at: str | None = None
    caution: str = ""


def glance(db: Database, piece_id: int) -> Glance | None:
    """One piece for the panel under its picture; None if it has gone."""
    row = fetch_one(db, Glance, f"""
        SELECT {PIECE_COLUMNS}, p.width_mm, p.height_mm, m.id AS scan_id, m.width, m.height, m.bits, m.ppi_x, m.ppi_y,
               m.has_preview, (SELECT count(*) FROM order_line l WHERE l.piece_id = p.id) AS lines
        FROM piece p JOIN artist a ON a.id = p.artist_id LEFT JOIN scan m ON m.id = p.current_scan_id
        WHERE p.id = ?""", [piece_id])
    if row is None:
        return None
    held = of_scan(db, row.scan_id or 0)
    return replace(row, present=held.present, stores=held.stores, disks=held.disks, checked_at=held.checked_at,
                   caution=current.caution(db, piece_id))
