"""Editions: which one a print belongs to, which numbers it gets, and what happens to them.

Numbered n/N with N fixed at launch and never exceeded, proofs outside N: common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice

from catalogue.errors import Refused, required
from catalogue.records import editions, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.editions import Edition
from catalogue.records.numbers import MOST, Number

SIZE_TOLERANCE_MM = 1.0  # sizes are cut and written to the millimetre


@dataclass(frozen=True, slots=True)
class State:
    """The state of an edition: numbers and proofs issued and left, and the next to be issued."""

    edition: Edition
    numbers_out: int
    proofs_out: int
    numbers_left: int
    proofs_left: int
    next_number: int | None
    lost: int


def state(db: Database, edition: Edition) -> State:
    """Counts of one edition as recorded now."""
    out, proofs = editions.taken(db, edition.id, "number"), editions.taken(db, edition.id, "proof")
    free = _free(edition.size_limit, out, 1)
    lost = sum(1 for print_ in editions.issued(db, edition.id) if print_.lost)
    return State(edition, len(out), len(proofs), edition.size_limit - len(out), edition.proofs - len(proofs),
                 free[0] if free else None, lost)


def define(db: Database, piece_id: int, size_limit: int, *, proofs: int = 0, scope: str = "all sizes",
           width_mm: float | None = None, height_mm: float | None = None, medium: str = "", opened: str = "",
           closed: str = "", notes: str = "") -> int:
    """Open an edition, or correct the one of the same scope and size; returns its id.

    Raises NotFound; Refused if numbers already out forbid it, or two editions would claim the same print.
    """
    if not 1 <= size_limit <= MOST or not 0 <= proofs <= MOST:
        raise Refused(f"An edition has 1 to {MOST:,} prints, and at most as many proofs.")
    if scope not in editions.SCOPES:
        raise Refused(f"An edition covers {' or '.join(editions.SCOPES)}, not {scope!r}.")
    if (scope == "one size") != (width_mm is not None and height_mm is not None):
        raise Refused("An edition of one size needs that size; an edition of all sizes takes none.")
    with transaction(db):
        pieces.get_piece(db, piece_id)
        for known in editions.of_piece(db, piece_id):
            if known.scope == scope and pieces.folded(known.medium) == pieces.folded(medium) and (
                    scope == "all sizes" or _same_size(known, width_mm or 0, height_mm or 0)):
                editions.change(db, known.id, size_limit=size_limit, proofs=proofs, opened=opened or known.opened,
                                closed=closed or known.closed, notes=notes or known.notes)
                return known.id
        return editions.add(db, piece_id, size_limit, proofs=proofs, scope=scope, width_mm=width_mm,
                            height_mm=height_mm, medium=medium, opened=opened, closed=closed, notes=notes)


def close(db: Database, edition_id: int, day: str = "") -> None:
    """Close the edition: no more numbers can be issued."""
    with transaction(db):
        get_edition(db, edition_id)
        editions.change(db, edition_id, closed=day or date.today().isoformat())


def get_edition(db: Database, edition_id: int) -> Edition:
    """The edition of that id; raises NotFound."""
    return required(editions.by_id(db, edition_id), f"There is no edition number {edition_id}.",
                    "List them with: catalogue edition list.")


def applying(db: Database, piece_id: int, width_mm: float, height_mm: float, medium: str) -> Edition | None:
    """The edition in which a print of this size and medium counts; None if there is none.

    One of exactly its size first, else one of all sizes; a size also matches turned. An edition of exactly the medium
    comes before one of any medium, an open one before a closed one.
    """
    fitting = [edition for edition in editions.of_piece(db, piece_id)
               if (not edition.medium or pieces.folded(edition.medium) == pieces.folded(medium))
               and (edition.scope == "all sizes" or _same_size(edition, width_mm, height_mm))]
    return min(fitting, default=None, key=lambda e: (e.scope == "all sizes", not e.medium, bool(e.closed)))


def _same_size(edition: Edition, width_mm: float, height_mm: float) -> bool:
    return any(abs((edition.width_mm or 0) - w) <= SIZE_TOLERANCE_MM
               and abs((edition.height_mm or 0) - h) <= SIZE_TOLERANCE_MM
               for w, h in ((width_mm, height_mm), (height_mm, width_mm)))


def _free(limit: int, out: set[int], count: int) -> list[int]:
    return list(islice((number for number in range(1, limit + 1) if number not in out), count))


def next_numbers(db: Database, edition: Edition, count: int, *, proofs: bool = False) -> list[Number]:
    """The numbers that :func:`issue` would give out; fewer where fewer are free, none of a closed edition."""
    series = "proof" if proofs else "number"
    limit = edition.proofs if proofs else edition.size_limit
    out = editions.taken(db, edition.id, series)
    return [] if edition.closed else [Number(series, n) for n in _free(limit, out, count)]


def issue(db: Database, edition_id: int, line_id: int | None, count: int, *, proofs: bool = False) -> list[Number]:
    """Give out the ``count`` lowest free numbers; all or none.

    Raises Refused when the edition is closed or has too few left. Two programs at once never get the same number:
    the write lock is held from the look to the last row, and the table's key would refuse it besides.
    """
    series = "proof" if proofs else "number"
    with transaction(db):
        edition = _open(get_edition(db, edition_id))
        numbers = next_numbers(db, edition, count, proofs=proofs)
        if len(numbers) < count:
            out = len(editions.taken(db, edition_id, series))
            raise Refused(f"The edition has {_counted(len(numbers), series)} left; {count} are needed.",
                          hint=f"{out} of {out + len(numbers)} are issued; the edition size is fixed.")
        editions.take(db, edition_id, numbers, line_id)
    return numbers


def issue_these(db: Database, edition_id: int, line_id: int | None, numbers: Sequence[Number], *,
                old: bool = False) -> None:
    """Issue exactly these numbers; all or none. ``old`` also records earlier prints in a closed edition."""
    with transaction(db):
        edition = get_edition(db, edition_id)
        if not old:
            _open(edition)
        editions.take(db, edition_id, numbers, line_id)


def _open(edition: Edition) -> Edition:
    if edition.closed:
        raise Refused("The edition is closed.", hint="No more numbers can be issued.")
    return edition


def _counted(count: int, kind: str) -> str:
    return f"no {kind}" if count == 0 else f"1 {kind}" if count == 1 else f"{count} {kind}s"


def destroy(db: Database, edition_id: int, numbers: Sequence[Number], reason: str, *, day: str = "") -> None:
    """Record that these prints were destroyed; their numbers are never free again, but may be reprinted."""
    if not reason.strip():
        raise Refused("Give the reason why the print was destroyed; it is kept on record.")
    with transaction(db):
        get_edition(db, edition_id)
        for number in numbers:
            editions.destroy(db, edition_id, number, day or date.today().isoformat(), reason.strip())


def replace(db: Database, edition_id: int, numbers: Sequence[Number], line_id: int) -> None:
    """Let a new order line print destroyed numbers again: the number stays, the loss stays on record.

    That a replacement keeps its number is from memory. A closed edition allows it, since no more numbers are issued.
    """
    with transaction(db):
        get_edition(db, edition_id)
        for number in numbers:
            editions.replace(db, edition_id, number, line_id)


def label(edition: Edition) -> str:
    """``"25 + 3 AP, all sizes"``."""
    proofs = f" + {edition.proofs} AP" if edition.proofs else ""
    size = edition.scope
    if edition.width_mm and edition.height_mm:
        size = f"{edition.width_mm / 10:g} × {edition.height_mm / 10:g} cm"
    medium = f", {edition.medium}" if edition.medium else ""
    return f"{edition.size_limit}{proofs}, {size}{medium}"
