"""Editions: open or correct one, close one, record prints as destroyed."""

from collections.abc import Sequence

from catalogue.ledger import editions
from catalogue.ledger.editions import State, label
from catalogue.operations.wording import number
from catalogue.records.database import Database
from catalogue.records.numbers import Number


def define_edition(db: Database, piece_id: int, size_limit: int, *, proofs: int = 0, width_mm: float | None = None,
                   height_mm: float | None = None, medium: str = "", opened: str = "", closed: str = "",
                   notes: str = "") -> State:
    """Open an edition of a piece, of one size where measures are given, or correct the one of that size.

    Raises: as :func:`catalogue.ledger.editions.define`.
    """
    edition_id = editions.define(db, piece_id, size_limit, proofs=proofs,
                                 scope="one size" if width_mm and height_mm else "all sizes", width_mm=width_mm,
                                 height_mm=height_mm, medium=medium, opened=opened, closed=closed, notes=notes)
    return editions.state(db, editions.wanted(db, edition_id))


def close_edition(db: Database, edition_id: int, day: str = "") -> State:
    """Let no further number go out from ``day`` on, else today. Raises NotFound, Refused."""
    editions.close(db, edition_id, day)
    return editions.state(db, editions.wanted(db, edition_id))


def destroy_prints(db: Database, edition_id: int, numbers: Sequence[Number], reason: str, *, day: str = "") -> State:
    """Record that prints were destroyed; their numbers stay out. Raises NotFound, Refused."""
    editions.destroy(db, edition_id, numbers, reason, day=day)
    return editions.state(db, editions.wanted(db, edition_id))


def summarize(state: State) -> list[str]:
    """An edition's numbers: out, left, destroyed."""
    edition = state.edition
    closed = f", closed {edition.closed}" if edition.closed else ""
    lost = f", {number(state.lost)} destroyed" if state.lost else ""
    proofs = f", {state.proofs_left} of {edition.proofs} AP left" if edition.proofs else ""
    return [f"edition {edition.id}: {label(edition)}{closed}: {number(state.numbers_out)} out, "
            f"{number(state.numbers_left)} left{proofs}{lost}"]
