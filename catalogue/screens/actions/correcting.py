"""Correcting artists, pieces and scans from any page that names them, and taking the last correction back."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from catalogue.errors import NotFound
from catalogue.indexing.corrections import Correction
from catalogue.operations import correcting
from catalogue.operations.correcting import summarize
from catalogue.operations.wording import counted
from catalogue.records import editions, history, pieces, provenance, scans
from catalogue.records.database import Database
from catalogue.records.history import Statement
from catalogue.records.pieces import Artist, Piece
from catalogue.records.provenance import Origin
from catalogue.screens.dialogs.confirm import Choice, ConfirmDialog
from catalogue.screens.dialogs.correction_forms import (
    PieceFacts,
    ScanFacts,
    artist_form,
    piece_form,
    pieces_form,
    scans_form,
)
from catalogue.screens.dialogs.form import FormDialog
from catalogue.screens.page import Dialog, Page

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

Host = Page | Dialog[Any]
T = TypeVar("T")



def edit_artist(host: Host, artist_id: int, then: Callable[[], object]) -> None:
    """Open the form of an artist; ``then`` once something was corrected."""
    def read(db: Database) -> tuple[Artist, dict[str, Origin]]:
        artist = pieces.artist_by_id(db, artist_id)
        if artist is None:
            raise NotFound("This artist is no longer in the catalogue.")
        return artist, provenance.of_artist(db, artist_id)

    _open(host, read, lambda found: artist_form(*found), then)


def edit_pieces(host: Host, piece_ids: Sequence[int], then: Callable[[], object]) -> None:
    """Open the form of one piece or of several."""
    def read(db: Database) -> list[PieceFacts]:
        known = [piece for piece_id in piece_ids if (piece := pieces.by_id(db, piece_id))]
        if len(known) < len(piece_ids):
            raise NotFound(f"{'This piece is' if len(piece_ids) == 1 else 'One of these pieces is'} "
                           "no longer in the catalogue.")
        return [PieceFacts(piece, provenance.of_piece(db, piece.id), tuple(editions.of_piece(db, piece.id)))
                for piece in known]

    _open(host, read, lambda found: piece_form(found[0]) if len(found) == 1 else pieces_form([f.piece for f in found]),
          then)


def edit_scans(host: Host, digests: Sequence[str], name: str, then: Callable[[], object]) -> None:
    """Open the form of one scan, called ``name``, or of several."""
    def read(db: Database) -> list[ScanFacts]:
        known = [scan for sha256 in digests if (scan := scans.by_digest(db, sha256))]
        if len(known) < len(digests):
            raise NotFound(f"{'This scan is' if len(digests) == 1 else 'One of these scans is'} "
                           "no longer in the catalogue.")
        return [ScanFacts(scan, pieces.by_id(db, scan.piece_id) if scan.piece_id is not None else None,
                          provenance.of_scan(db, scan.sha256)) for scan in known]

    _open(host, read, lambda found: scans_form(found, name), then)


def _open(host: Host, read: Callable[[Database], T], form: Callable[[T], FormDialog],
          then: Callable[[], object]) -> None:
    shop = host.catalogue_app

    def corrected(done: Correction | None) -> None:
        if done is not None:
            announce_correction(shop, done)
            then()

    host.ask(read, lambda found: shop.push_screen(form(found), corrected), group="form", holds=shop)


def announce_correction(shop: "CatalogueApp", done: Correction) -> None:
    """Say what was corrected and how to take it back, and show it everywhere."""
    if done.id:
        shop.corrected.append(done)
    seen = shop.changes.seen()
    where = "" if seen is not None and seen.PLACE in ("browse", "piece") else " in Browse"
    shop.say(" ".join(summarize(done)) + (f" u{where} to undo." if done.id else ""))
    shop.vocabulary = None
    shop.changed()


def merge_pieces(host: Page, piece_ids: Sequence[int], then: Callable[[], object]) -> None:
    """Ask which of two pieces stays, then file the other's scans, orders and editions under it."""
    def read(db: Database) -> list[tuple[Piece, int]]:
        known = [(piece, len(scans.of_piece(db, piece.id)))
                 for piece_id in piece_ids if (piece := pieces.by_id(db, piece_id))]
        if len(known) < len(piece_ids):
            raise NotFound("One of these pieces is no longer in the catalogue.")
        return known

    def ask_direction(found: list[tuple[Piece, int]]) -> None:
        rows = [(piece.id, f"{piece.title}, {piece.artist}",
                 ", ".join(filter(None, (piece.year, counted(count, "scan"))))) for piece, count in found]
        host.catalogue_app.push_screen(Choice("Merge into one piece. Which one stays?", rows,
                                     "Scans, orders and editions of the other move to it. u to undo."), chosen)

    def chosen(keep: int | None) -> None:
        if keep is not None:
            gone = next(piece_id for piece_id in piece_ids if piece_id != keep)
            host.catalogue_app.writes.add("merging the two pieces", lambda db: correcting.merge_pieces(db, keep, gone),
                                 merged, holds=host)

    def merged(done: Correction) -> None:
        announce_correction(host.catalogue_app, done)
        then()

    host.ask(read, ask_direction, group="form", holds=host.catalogue_app)


# Taking back


def take_back(host: Page) -> None:
    """Undo the last correction of this sitting; where there is none, ask about the last statement there is."""
    shop = host.catalogue_app

    def undone(done: Correction) -> None:
        shop.corrected = [one for one in shop.corrected if one.id != done.id]
        shop.say(f"{done.detail}.")
        shop.vocabulary = None
        shop.changed()

    def undo(event_id: int, detail: str) -> None:
        shop.writes.add(f"undo: {detail}", lambda db: correcting.undo_statement(db, event_id), undone, holds=host)

    if shop.corrected:
        last = shop.corrected.pop()
        undo(last.id, last.detail)
        return

    def offer(found: Statement | None) -> None:
        if found is None:
            shop.say("There is nothing to undo.")
            return
        when = found.at[:16].replace("T", " ")
        shop.push_screen(ConfirmDialog("Undo this?", f"{found.detail}\n{when}, {found.agent}", yes="Undo",
                                  careful=True), lambda yes: undo(found.id, found.detail) if yes else None)

    host.ask(lambda db: next((one for one in history.statements(db) if one.undone_by is None and one.undoes is None),
                             None), offer, group="undo", holds=shop)
