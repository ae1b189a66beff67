"""Correcting artists, pieces and scans from any page that shows them, and undoing the last correction."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from catalogue.dates import shown_moment
from catalogue.errors import Gone
from catalogue.indexing.corrections import Correction
from catalogue.operations import correcting
from catalogue.operations.wording import counted
from catalogue.records import editions, history, pieces, provenance, scans
from catalogue.records.database import Database
from catalogue.records.history import Statement
from catalogue.records.pieces import Artist
from catalogue.records.provenance import Origin
from catalogue.screens.dialogs import correction_forms as forms
from catalogue.screens.dialogs.confirm import Choice, confirm
from catalogue.screens.dialogs.correction_forms import PieceFacts, ScanFacts
from catalogue.screens.dialogs.form import FormDialog
from catalogue.screens.keys import KEYS, UNDO
from catalogue.screens.page import Dialog, Page

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

Host = Page | Dialog[Any]
K = TypeVar("K")
T = TypeVar("T")


def edit_artist(host: Host, artist_id: int, then: Callable[[], object]) -> None:
    """Open the form of an artist; ``then`` once something was corrected."""
    def read(db: Database) -> tuple[Artist, dict[str, Origin]]:
        [artist] = _known(db, pieces.artist_by_id, [artist_id], "artist")
        return artist, provenance.of_artist(db, artist_id)

    _open(host, read, lambda facts: forms.artist_form(*facts), then)


def edit_pieces(host: Host, piece_ids: Sequence[int], then: Callable[[], object]) -> None:
    """Open the form of one piece or of several."""
    def read(db: Database) -> list[PieceFacts]:
        return [PieceFacts(piece, provenance.of_piece(db, piece.id), tuple(editions.of_piece(db, piece.id)))
                for piece in _known(db, pieces.by_id, piece_ids, "piece")]

    def form(facts: list[PieceFacts]) -> FormDialog:
        return forms.piece_form(facts[0]) if len(facts) == 1 else forms.pieces_form([each.piece for each in facts])

    _open(host, read, form, then)


def edit_scans(host: Host, digests: Sequence[str], name: str, then: Callable[[], object]) -> None:
    """Open the form of one scan, called ``name``, or of several."""
    def read(db: Database) -> list[ScanFacts]:
        return [ScanFacts(scan, pieces.by_id(db, scan.piece_id) if scan.piece_id is not None else None,
                          provenance.of_scan(db, scan.sha256))
                for scan in _known(db, scans.by_digest, digests, "scan")]

    _open(host, read, lambda facts: forms.scans_form(facts, name), then)


def _known(db: Database, read: Callable[[Database, K], T | None], keys: Sequence[K], kind: str) -> list[T]:
    """What ``read`` gives for each of ``keys``. Raises Gone if one of them is not there."""
    known = [row for key in keys if (row := read(db, key)) is not None]
    if len(known) < len(keys):
        which = f"This {kind}" if len(keys) == 1 else f"One of these {kind}s"
        raise Gone(which)
    return known


def _open(host: Host, read: Callable[[Database], T], form: Callable[[T], FormDialog],
          then: Callable[[], object]) -> None:
    def corrected(done: Correction | None) -> None:
        if done is not None:
            announce_correction(host.app, done)
            then()

    host.ask(read, lambda facts: host.app.push_screen(form(facts), corrected), group="form", holds=host.app)


def announce_correction(app: "CatalogueApp", done: Correction | None) -> None:
    """Show what was corrected and how to undo it, and update every page. None: nothing was corrected."""
    if done is None:
        return
    if done.id:
        app.corrected.append(done)
    seen = app.changes.seen()
    where = "" if seen is not None and UNDO in KEYS[seen.KEY_CONTEXT] else " in Browse"
    app.say(" ".join(correcting.summarize(done)) + (f" u{where} to undo." if done.id else ""))
    app.changed()


def merge_pieces(host: Page, piece_ids: Sequence[int], then: Callable[[], object]) -> None:
    """Ask which of two pieces stays, then file the other's scans, orders and editions under it."""
    def read(db: Database) -> list[tuple[int, str, str]]:
        return [(piece.id, f"{piece.title}, {piece.artist}",
                 ", ".join(filter(None, (piece.year, counted(len(scans.of_piece(db, piece.id)), "scan")))))
                for piece in _known(db, pieces.by_id, piece_ids, "piece")]

    def chosen(keep: int | None) -> None:
        if keep is not None:
            gone = next(piece_id for piece_id in piece_ids if piece_id != keep)
            host.record("merging the two pieces", lambda db: correcting.merge_pieces(db, keep, gone), merged)

    def merged(done: Correction) -> None:
        announce_correction(host.app, done)
        then()

    host.ask(read, lambda rows: host.app.push_screen(
        Choice("Merge into one piece. Which one stays?", rows,
               "Scans, orders and editions of the other move to it. u to undo."), chosen), group="form", holds=host.app)


# Undoing

def take_back(host: Page) -> None:
    """Undo the last correction of this session; if there is none, offer to undo the last statement on record."""
    app = host.app

    def undone(done: Correction) -> None:
        app.corrected = [other for other in app.corrected if other.id != done.id]
        app.say(f"{done.detail}.")
        app.changed()

    def undo(event_id: int, detail: str) -> None:
        host.record(f"undo: {detail}", lambda db: correcting.undo_statement(db, event_id), undone)

    def last_statement(db: Database) -> Statement | None:
        return next((made for made in history.statements(db) if made.undone_by is None and made.undoes is None), None)

    def offer(last: Statement | None) -> None:
        if last is None:
            app.say("There is nothing to undo.")
            return
        when = shown_moment(last.at, app.day_form)
        confirm(app, "Undo this?", f"{last.detail}\n{when}, {last.agent}", lambda: undo(last.id, last.detail),
                yes="Undo", careful=True)

    if app.corrected:
        done = app.corrected.pop()
        undo(done.id, done.detail)
    else:
        host.ask(last_statement, offer, group="undo", holds=app)
