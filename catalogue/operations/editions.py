"""Editions: open or correct one, close one, record prints as destroyed."""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.dates import shown_day
from catalogue.indexing.corrections import Correction
from catalogue.ledger import editions, whereabouts
from catalogue.ledger.editions import State, label
from catalogue.ledger.whereabouts import Whereabouts, place_in_words
from catalogue.operations.wording import number
from catalogue.records.database import Database, last_statement, statement_since
from catalogue.records.numbers import Number, numbers_text


def define_edition(db: Database, piece_id: int, size_limit: int, *, proofs: int = 0, width_mm: float | None = None,
                   height_mm: float | None = None, medium: str = "", opened: str = "", closed: str = "",
                   notes: str = "") -> State:
    """Open an edition of a piece, of one size where measures are given, or correct the one of that size.

    Raises: as :func:`catalogue.ledger.editions.define`.
    """
    edition_id = editions.define(db, piece_id, size_limit, proofs=proofs,
                                 scope="one size" if width_mm and height_mm else "all sizes", width_mm=width_mm,
                                 height_mm=height_mm, medium=medium, opened=opened, closed=closed, notes=notes)
    return editions.state(db, editions.get_edition(db, edition_id))


def open_edition(db: Database, piece_id: int, size_limit: int, *, dates: str, proofs: int = 0,
                 width_mm: float | None = None, height_mm: float | None = None, medium: str = "") -> Correction:
    """:func:`define_edition`, with what to undo. Raises as that."""
    before = last_statement(db)
    state = define_edition(db, piece_id, size_limit, proofs=proofs, width_mm=width_mm, height_mm=height_mm,
                           medium=medium)
    return Correction(statement_since(db, before) or 0, summarize(state, dates)[0])


def close_edition(db: Database, edition_id: int, day: str = "") -> State:
    """Stop issuing numbers from ``day`` on (default today). Raises NotFound, Refused."""
    editions.close(db, edition_id, day)
    return editions.state(db, editions.get_edition(db, edition_id))


def destroy_prints(db: Database, edition_id: int, numbers: Sequence[Number], reason: str, *, day: str = "") -> State:
    """Record that prints were destroyed; their numbers stay used. Raises NotFound, Refused."""
    editions.destroy(db, edition_id, numbers, reason, day=day)
    return editions.state(db, editions.get_edition(db, edition_id))


@dataclass(frozen=True, slots=True)
class PrintsMoved:
    """Where prints are after a move. ``event`` undoes it; None if all of it was on record."""

    prints: tuple[Whereabouts, ...]
    event: int | None


def move_prints(db: Database, edition_id: int, numbers: Sequence[Number], place: str, *, holder: str = "",
                day: str = "", notes: str = "") -> PrintsMoved:
    """State where prints went. Raises: as :func:`catalogue.ledger.whereabouts.move`."""
    before = last_statement(db)
    moved = whereabouts.move(db, edition_id, numbers, place, holder=holder, day=day, notes=notes)
    return PrintsMoved(tuple(moved), statement_since(db, before))


def summarize(result: State | PrintsMoved, dates: str) -> list[str]:
    """An edition's numbers: issued, left, destroyed; or each print that was moved, and where it is."""
    if isinstance(result, PrintsMoved):
        return [f"{numbers_text([moved.number])} is {place_in_words(moved)}." for moved in result.prints]
    state, edition = result, result.edition
    closed = f", closed {shown_day(edition.closed, dates)}" if edition.closed else ""
    lost = f", {number(state.lost)} destroyed" if state.lost else ""
    proofs = f", {state.proofs_left} of {edition.proofs} AP left" if edition.proofs else ""
    return [f"edition {edition.id}: {label(edition)}{closed}: {number(state.numbers_out)} issued, "
            f"{number(state.numbers_left)} left{proofs}{lost}"]
