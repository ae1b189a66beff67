"""Edition numbers in a row of an order book: issued, reprinted, and lost ones."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from catalogue.dates import shown_day
from catalogue.errors import Refused
from catalogue.ledger import editions
from catalogue.ledger.columns import Row
from catalogue.records import editions as recorded
from catalogue.records import numbers
from catalogue.records.database import Database
from catalogue.records.numbers import Number
from catalogue.records.orders import NewLine

AFTER_PRINTING = "cancelled after printing"  # the prints exist, so their numbers are out
_LOSS = re.compile(r"(?P<number>[^:]+):\s*(?P<day>[0-9]{4}-[0-9][0-9]-[0-9][0-9])\s+(?P<reason>.+)")


@dataclass(frozen=True, slots=True)
class Loss:
    """One print of the row that was destroyed: its number, the ISO date, why."""

    number: Number
    day: str
    reason: str


@dataclass(frozen=True, slots=True)
class Numbers:
    """What one row says of numbers. ``stated`` is the N it names, ``edition`` the edition's label, if any."""

    taken: Sequence[Number]
    replacing: Sequence[Number]
    losses: Sequence[Loss]
    stated: int | None
    edition: str
    remark: str = ""

    @property
    def any(self) -> bool:
        """Whether the row belongs to an edition."""
        return bool(self.taken or self.replacing)


def numbers_of(row: Row, status: str, quantity: str) -> Numbers:
    """Read a row's number columns. A row cancelled before printing took none.

    Raises ValueError if they cannot be read; Refused if they are not as many as its prints.
    """
    taken, stated = numbers.parse_numbers(row.get("numbers"))
    replacing, _ = numbers.parse_numbers(row.get("replacing"))
    losses = [_loss(text) for text in row.get("lost").split("|") if text.strip()]
    after = row.get("status").casefold() == AFTER_PRINTING
    remark = ""
    if taken and status == "cancelled" and not after:
        taken, remark = [], "cancelled, so its edition numbers stay free"
    count = len(taken) + len(replacing)
    if count and quantity and not after and (not quantity.isdecimal() or int(quantity[:9]) != count):
        raise Refused(f"It has {quantity} prints but {count} edition numbers.")
    return Numbers(taken, replacing, losses, stated, row.get("edition"), remark)


def _loss(text: str) -> Loss:
    match = _LOSS.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text.strip()!r} is not a loss such as 7: 2026-03-01 creased in the post")
    parsed, _ = numbers.parse_numbers(match["number"])
    if len(parsed) != 1:
        raise ValueError(f"{match['number']!r} is not a single edition number")
    return Loss(parsed[0], match["day"], match["reason"])


def loss_text(losses: Sequence[Loss]) -> str:
    """The inverse of reading them: ``"7: 2026-03-01 creased | AP I: …"``."""
    return " | ".join(f"{numbers.numbers_text([loss.number])}: {loss.day} "
                      f"{' '.join(loss.reason.replace('|', '/').split())}" for loss in losses)


def unbooked(losses: Sequence[Loss], why: str, dates: str) -> str:
    """The remark on losses in a row that are not recorded; ``dates``: the shop's date format."""
    shown = loss_text([replace(loss, day=shown_day(loss.day, dates)) for loss in losses])
    return f"its loss is not recorded ({shown}): {why}"


def not_on_record(db: Database, edition_id: int, row_numbers: Numbers) -> list[Loss]:
    """Losses of the row that the edition's record lacks, by number and day."""
    known = recorded.losses(db, edition_id)
    return [loss for loss in row_numbers.losses if (loss.number, loss.day) not in known]


def edition_of(db: Database, line: NewLine, row_numbers: Numbers) -> int:
    """The edition the row's numbers count in: the one it names, else the one its size and medium fall in.

    Raises Refused if there is none, or the row states another N.
    """
    named = next((e for e in recorded.of_piece(db, line.piece_id) if editions.label(e) == row_numbers.edition), None)
    edition = named or editions.applying(db, line.piece_id, line.width_mm, line.height_mm, line.medium)
    if edition is None:
        raise Refused("It gives edition numbers, but no edition of this piece and size is known.",
                      hint="Import the editions first, or set one with: catalogue edition set.")
    if row_numbers.stated is not None and row_numbers.stated != edition.size_limit:
        raise Refused(f"It says an edition of {row_numbers.stated}, but the edition has {edition.size_limit}.")
    return edition.id


def book(db: Database, edition_id: int, line_id: int, row_numbers: Numbers) -> None:
    """Record the row's numbers. Raises Refused if one is already issued, beyond N, or was never lost."""
    if row_numbers.taken:
        editions.issue_these(db, edition_id, line_id, row_numbers.taken, old=True)
    if row_numbers.replacing:
        editions.replace(db, edition_id, row_numbers.replacing, line_id)
    for loss in row_numbers.losses:
        editions.destroy(db, edition_id, [loss.number], loss.reason, day=loss.day)
