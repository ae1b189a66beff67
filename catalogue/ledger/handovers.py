"""Prints handed over: a number of prints of an order line on a day, at once or in parts; as text in CSV tables."""

import re
from collections.abc import Container, Iterable, Sequence
from datetime import date

from catalogue.errors import Refused
from catalogue.ledger.whereabouts import at_hand
from catalogue.records import editions, handovers, orders, print_moves
from catalogue.records.database import Database, transaction
from catalogue.records.editions import LinePrint
from catalogue.records.handovers import NewHandover
from catalogue.records.numbers import Number, numbered, numbers_text, parse_numbers
from catalogue.records.orders import Line
from catalogue.records.print_moves import PrintMove
from catalogue.untrusted import shell_word

_PART = re.compile(r"(?P<quantity>[1-9][0-9]{0,8})(?: \((?P<numbers>[^)]+)\))?:"
                   r"\s*(?P<day>[0-9]{4}-[0-9][0-9]-[0-9][0-9])(?:\s+(?P<notes>.+))?")


def hand_over(db: Database, line_id: int, *, quantity: int | None = None, numbers: Sequence[Number] = (),
              day: str = "", notes: str = "") -> Line:
    """Record that prints of a line were handed over to the buyer, on an ISO ``day``, today where none is given.

    Without a ``quantity`` all that are left. Of a numbered line the ``numbers`` that went, or the lowest that are in
    the shop; those prints exist from then on, and are with the buyer. Raises NotFound; Refused: the line is cancelled,
    has fewer prints left, or a number is not among them.
    """
    with transaction(db):
        line = orders.get_line(db, line_id)
        name, left = f"Line {line.id} of order {line.number}", line.quantity - line.handed
        if line.status == "cancelled":
            raise Refused(f"{name} is cancelled.", hint="Nothing was recorded.")
        if line.status == "collected":
            raise Refused(f"All prints of line {line.id} of order {line.number} have already been handed over.",
                          hint="Nothing was recorded.")
        wanted = quantity or len(numbers) or left
        if numbers and len(numbers) != wanted:
            raise Refused(f"Edition numbers given: {len(numbers)}; prints: {wanted}.",
                          hint="Give one number for each print.")
        if wanted > left:
            raise Refused(f"{name} has {left} {'print' if left == 1 else 'prints'} left to hand over, not {wanted}.",
                          hint=f"{line.handed} of {line.quantity} were handed over before." if line.handed else "")
        gone = _numbers_of(db, line, wanted, numbers)
        with transaction(db, f"order {line.number}: {wanted} of {line.quantity} prints of line {line.id} handed over"):
            record(db, NewHandover(line.id, day or date.today().isoformat(), wanted, numbers_text(gone), notes.strip()))
        return orders.get_line(db, line.id)


def record(db: Database, handover: NewHandover) -> None:
    """Record a handover; its numbered prints exist, and are with the buyer from that day on."""
    handovers.add(db, handover)
    numbers = parse_numbers(handover.numbers)[0]
    editions.mark_printed(db, handover.line_id, numbers)
    line = orders.get_line(db, handover.line_id)
    for each in editions.of_line(db, handover.line_id) if numbers and line.edition_id else ():
        if (each.series, each.number) in numbers and each.state == "printed":
            print_moves.add(db, PrintMove(line.edition_id or 0, each.series, each.number, each.nth, handover.day,
                                          "buyer", notes=handover.notes))


def _numbers_of(db: Database, line: Line, wanted: int, asked: Sequence[Number]) -> list[Number]:
    """Which numbered prints go: those asked for, else the lowest in the shop. Raises Refused."""
    prints = editions.of_line(db, line.id)
    before = handovers.of_line(db, line.id)
    gone = {number for each in before for number in parse_numbers(each.numbers)[0]}
    left = [number for each in prints if each.state != "destroyed"
            and (number := Number(each.series, each.number)) not in gone]
    if missing := [number for number in asked if number not in left]:
        raise Refused(f"Line {line.id} of order {line.number} has no {numbered(numbers_text(missing))} to hand over.",
                      hint=f"Still to hand over: {numbered(numbers_text(left))}." if left else "")
    if asked or not prints:
        return list(asked)
    in_shop = at_hand(db, line.edition_id, left)
    unnumbered = line.quantity - len(prints) - sum(
        each.quantity - len(parse_numbers(each.numbers)[0]) for each in before)
    if wanted > len(in_shop) + max(unnumbered, 0):
        raise Refused(f"Of line {line.id} of order {line.number} {len(in_shop)} numbered"
                      f" {'print is' if len(in_shop) == 1 else 'prints are'} in the shop, not {wanted}.",
                      hint=_lost_hint(line, prints, gone) or "See where they are: catalogue edition where.")
    return in_shop[:wanted]


def _lost_hint(line: Line, prints: Sequence[LinePrint], gone: Container[Number]) -> str:
    """What to do about prints that were destroyed before they were handed over; "" where there are none."""
    destroyed = (Number(each.series, each.number) for each in prints if each.state == "destroyed")
    lost = [number for number in destroyed if number not in gone]
    if not lost:
        return ""
    several = len(lost) > 1
    return (f"{numbered(numbers_text(lost)).capitalize()} {'were' if several else 'was'} destroyed; once nothing more"
            f" is to come: catalogue order status {shell_word(line.number)} collected.")


def handover_text(parts: Iterable[NewHandover]) -> str:
    """What was handed over of a line, for a CSV table: ``"5 (3–7): 2026-05-04 by courier | 5 (8–12): 2026-05-08"``."""
    return " | ".join(f"{part.quantity}{f' ({part.numbers})' if part.numbers else ''}: {part.day} "
                      f"{' '.join(part.notes.replace('|', '/').split())}".rstrip() for part in parts)


def read_handovers(text: str) -> list[NewHandover]:
    """The inverse of :func:`handover_text`, for line 0. Raises ValueError if it cannot be read."""
    parts = []
    for part in filter(None, (each.strip() for each in text.split("|"))):
        match = _PART.fullmatch(part)
        if match is None:
            raise ValueError(f"{part!r} is not a handover such as 5: 2026-05-04 by courier")
        date.fromisoformat(match["day"])
        numbers = parse_numbers(match["numbers"] or "")[0]
        if numbers and len(numbers) != int(match["quantity"]):
            raise ValueError(f"{part!r} hands over {match['quantity']} prints with {len(numbers)} edition numbers")
        parts.append(NewHandover(0, match["day"], int(match["quantity"]), numbers_text(numbers), match["notes"] or ""))
    return parts


def handovers_in(cell: str, *, own: bool) -> tuple[list[NewHandover], str]:
    """What a cell of an order book says, and a remark if that is not in our form: unless the book is our ``own``, it
    may be a date or a tick, which do not tell how many prints. Raises ValueError as :func:`read_handovers`."""
    if own or ":" in cell or not cell:
        return read_handovers(cell), ""
    return [], f"{cell!r} under handed over is not imported: write it as 5: 2026-05-04"


def check_handovers(parts: Sequence[NewHandover], quantity: int, numbers: Sequence[Number]) -> None:
    """Raise ValueError where more prints are handed over than a line has, a number that is not its own, or one twice.
    """
    if sum(part.quantity for part in parts) > quantity:
        raise ValueError(f"more prints were handed over than the {quantity} ordered")
    left, own = list(numbers), set(numbers)
    for number in (each for part in parts for each in parse_numbers(part.numbers)[0]):
        if number not in left:
            raise ValueError(f"number {numbers_text([number])} was handed over"
                             f"{' twice' if number in own else ', but is not among the numbers of the row'}")
        left.remove(number)


def on_record(db: Database, line_id: int, parts: Iterable[NewHandover]) -> bool:
    """Whether exactly these are on record of a line."""
    return handover_text(parts) == handover_text(handovers.of_line(db, line_id))
