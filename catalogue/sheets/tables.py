"""The ledger as CSV tables, under the same headings that the import reads."""

from collections.abc import Iterator
from pathlib import Path

from catalogue.ledger.editions import label
from catalogue.ledger.handovers import handover_text
from catalogue.ledger.row_numbers import AFTER_PRINTING, Loss, loss_text
from catalogue.records import buyers, editions, handovers, orders, pieces, provenance
from catalogue.records.database import Database
from catalogue.records.folding import fold_name
from catalogue.records.numbers import numbers_text
from catalogue.records.paths import display_path
from catalogue.spreadsheets import csv_table
from catalogue.storage.atomic import write_atomically

ORDERS = ("number", "date", "artist", "piece", "buyer", "width_mm", "height_mm", "medium", "border_mm", "wrap_mm",
          "edge", "quantity", "numbers", "price", "unit_price", "currency", "status", "notes", "file", "sha256",
          "profile", "settings", "order_notes", "edition", "replacing", "lost", "handed_over")
ARTISTS = ("artist", "contact", "terms", "notes")
BUYERS = ("buyer", "contact", "notes", "spellings")
PIECES = ("artist", "piece", "year", "series", "inventory", "medium", "width_mm", "height_mm", "relief_mm",
          "notes")
EDITIONS = ("artist", "piece", "limit", "proofs", "scope", "width_mm", "height_mm", "medium", "opened", "closed",
            "notes")
FILES = ("store", "path", "state", "sha256", "role", "artist", "title", "year",
         *(f"{name} {part}" for name in ("role", "artist", "title", "year") for part in ("origin", "reason")))


def orders_csv(db: Database) -> str:
    """Every order line, oldest first; importing it into an empty catalogue of the same pieces gives the same lines."""
    return csv_table(ORDERS, _order_rows(db))


def editions_csv(db: Database) -> str:
    """Every edition, by artist and title."""
    return csv_table(EDITIONS, _edition_rows(db))


def artists_csv(db: Database) -> str:
    """Every artist with contact, terms and notes."""
    return csv_table(ARTISTS,
                  ((artist.name, artist.contact, artist.terms, artist.notes) for artist in pieces.artists_whole(db)))


def pieces_csv(db: Database) -> str:
    """Every piece with what a person stated about its original."""
    return csv_table(PIECES, (
        (piece.artist, piece.title, piece.year, piece.series, piece.inventory_number, piece.medium, piece.width_mm,
         piece.height_mm, piece.relief_mm, piece.notes) for piece in pieces.every(db)))


def files_csv(db: Database) -> str:
    """Every file of the stores in use with what it is filed as, and for each of these whether a person stated it, the
    file's tags say it or it was guessed, and why. Not for the import: paths stand as on the disk."""
    return csv_table(FILES, (
        (file.store, display_path(file.path), file.state, file.sha256, file.role, file.artist, file.title, file.year,
         *(text for name in ("role", "artist", "title", "year")
           for text in (file.origins[name].source, file.origins[name].why)))
        for file in provenance.of_files(db)))


def buyers_csv(db: Database) -> str:
    """Every buyer with contact, notes, and the other spellings that lead to them."""
    return csv_table(BUYERS, _buyer_rows(db))


def write_tables(db: Database, folder: Path) -> None:
    """Artists, pieces, editions, orders and buyers into ``folder``, as ``catalogue import`` reads them."""
    for name, table in TABLES.items():
        write_atomically(folder / f"{name}.csv", table(db).encode())


TABLES = {"artists": artists_csv, "pieces": pieces_csv, "editions": editions_csv, "orders": orders_csv,
          "buyers": buyers_csv}
EXPORTS = TABLES | {"files": files_csv}


def _order_rows(db: Database) -> Iterator[tuple[object, ...]]:
    known = {edition.id: edition for edition in editions.listed(db)}
    held, anew, lost = editions.by_line(db)
    handed = handovers.by_line(db)
    notes = {order.number: order.notes for order in orders.every(db)}
    for line in orders.all_lines(db):
        mine, edition = held.get(line.id, []), known.get(line.edition_id or 0)
        printed = line.id in held or line.id in anew
        status = AFTER_PRINTING if line.status == "cancelled" and printed else line.status
        yield (line.number, line.placed, line.artist, line.title, line.buyer, line.width_mm, line.height_mm,
               line.medium, line.border_mm, line.wrap_mm, line.edge, line.quantity, numbers_text(mine), line.price,
               line.unit_price, line.currency, status, line.notes, line.scan_name, line.scan_sha256, line.profile,
               line.settings,
               notes[line.number], label(edition) if edition else "", numbers_text(anew.get(line.id, [])),
               loss_text([Loss(*loss) for loss in lost.get(line.id, [])]), handover_text(handed.get(line.id, [])))


def _buyer_rows(db: Database) -> Iterator[tuple[object, ...]]:
    for buyer in buyers.listed(db):
        others = [key for key in (buyer.key, *buyers.joined(db, buyer.key)) if key != fold_name(buyer.name)]
        yield buyer.name, buyer.contact, buyer.notes, " | ".join(others)


def _edition_rows(db: Database) -> Iterator[tuple[object, ...]]:
    for edition in editions.listed(db):
        piece = pieces.by_id(db, edition.piece_id)
        yield (piece.artist if piece else "", piece.title if piece else "", edition.size_limit, edition.proofs,
               edition.scope, edition.width_mm, edition.height_mm, edition.medium, edition.opened, edition.closed,
               edition.notes)
