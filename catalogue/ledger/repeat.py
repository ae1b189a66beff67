"""Repeating an order: what was printed, from which bytes, whether it can be printed like that again; and recording
it."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date
from typing import TypeVar

from catalogue import money
from catalogue.errors import Refused, refusing
from catalogue.ledger import editions, evidence
from catalogue.ledger.cautions import cautions_for
from catalogue.ledger.evidence import Evidence
from catalogue.ledger.fit import fit_of
from catalogue.ledger.health import Health, health
from catalogue.ledger.prices import Prices, stated_prices
from catalogue.ledger.proposal import Caution, Proposal
from catalogue.records import buyers, orders, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.numbers import MOST, Number, numbers_text
from catalogue.records.orders import Line, NewLine
from catalogue.records.paths import display_path
from catalogue.records.pieces import Piece
from catalogue.records.scans import Scan
from catalogue.settings import Home

__all__ = ["Caution", "Proposal", "as_recorded", "propose", "record"]

T = TypeVar("T")


def propose(db: Database, home: Home, *, line_id: int | None = None, piece_id: int | None = None,
            width_mm: float | None = None, height_mm: float | None = None, medium: str | None = None,
            border_mm: float | None = None, wrap_mm: float | None = None, edge: str | None = None,
            quantity: int | None = None, as_last_time: bool = False, afresh: bool = False,
            measure: bool = False) -> Proposal:
    """What a repeat of one line, or of a piece's last line that was not cancelled, would be.

    Whatever is given differs from last time; the rest stays, the price of one print too where last time's size and
    medium do (last time's total divided, where it divides evenly and no unit price is on record). The print is made
    from the current master, or with ``as_last_time`` from the same scan as last time. ``afresh`` repeats nothing: a
    print like none before. Where the two scans differ and nothing is known of them, ``measure`` compares their
    previews, in about a second.

    Raises NotFound: no such line or piece. Refused: a first order and no size given, last time's scan is unknown, or
    the border leaves no room for the picture.
    """
    piece, last, also = _subject(db, line_id, piece_id, afresh, (width_mm, height_mm, medium))
    if last is None and (width_mm is None or height_mm is None):
        raise Refused("The first print of a piece needs a size." if afresh else
                      f"{piece.title!r} has never been ordered, so there is nothing to repeat.", hint="Give the size.")
    old = scans.by_digest(db, last.scan_sha256) if last and last.scan_sha256 else None
    current = scans.by_id(db, piece.current_scan_id) if piece.current_scan_id else None
    used, master = _healths(db, old, current)
    if as_last_time and used is None:
        raise Refused("Last time's scan is not known, so it cannot be printed from again.")
    printing = used if as_last_time else master
    line = NewLine(
        piece.id, _or(width_mm, last.width_mm if last else 0.0), _or(height_mm, last.height_mm if last else 0.0),
        _or(quantity, last.quantity if last else 1), medium=_or(medium, last.medium if last else ""),
        border_mm=_or(border_mm, last.border_mm if last else 0.0),
        wrap_mm=_or(wrap_mm, last.wrap_mm if last else 0.0), edge=_or(edge, last.edge if last else ""),
        scan_sha256=printing.scan.sha256 if printing else "", scan_name=_file_name(printing),
        profile=last.profile if last else "", settings=last.settings if last else "",
        repeat_of=last.id if last else None)
    line = _priced_like(last, line)
    if line.width_mm <= 0 or line.height_mm <= 0 or not 1 <= line.quantity <= MOST:
        raise Refused(f"A print must have a size, and 1 to {MOST:,} can be ordered.")
    edition = editions.applying(db, piece.id, line.width_mm, line.height_mm, line.medium)
    proposal = Proposal(
        piece, last, replace(line, edition_id=edition.id if edition else None), used, master, printing,
        _relation(db, home, old, current, measure),
        fit_of(printing.scan, line, home.settings.print_ppi) if printing else None,
        editions.state(db, edition) if edition else None, (last.currency if last else "") or home.settings.currency,
        also, numbers=numbers_text(editions.next_numbers(db, edition, line.quantity)) if edition else "")
    return replace(proposal, cautions=cautions_for(proposal, home.settings))


def as_recorded(db: Database, home: Home, line_id: int) -> Proposal:
    """A recorded line as a proposal: what it was, or will be, printed from, with the cautions of today.

    ``last`` is the line it repeats, else the piece's line before it. Its numbers are out, so the edition is left
    aside. Raises NotFound.
    """
    this = orders.get_line(db, line_id)
    piece = pieces.get_piece(db, this.piece_id)
    before = [line for line in orders.lines_of_piece(db, piece.id)
              if line.status != "cancelled" and (line.placed, line.id) < (this.placed, this.id)]
    last = (orders.line(db, this.repeat_of) if this.repeat_of else None) or next(iter(before), None)
    used_scan = scans.by_digest(db, this.scan_sha256) if this.scan_sha256 else None
    old = scans.by_digest(db, last.scan_sha256) if last and last.scan_sha256 else None
    printing, used = _healths(db, used_scan, old)
    line = NewLine(**{name: getattr(this, name) for name in NewLine.__dataclass_fields__})
    proposal = Proposal(piece, last, line, used, printing, printing, _relation(db, home, old, used_scan, False),
                        fit_of(printing.scan, line, home.settings.print_ppi) if printing else None, None, this.currency)
    return replace(proposal, cautions=cautions_for(proposal, home.settings))


def _healths(db: Database, scan_a: Scan | None, scan_b: Scan | None) -> tuple[Health | None, Health | None]:
    """The health of both scans, looked up once if they are the same."""
    first = health(db, scan_a) if scan_a else None
    return first, first if scan_a and scan_b and scan_a.id == scan_b.id else health(db, scan_b) if scan_b else None


def _relation(db: Database, home: Home, used: Scan | None, other: Scan | None, measure: bool) -> Evidence | None:
    if used is None or other is None or used.id == other.id:
        return None
    return evidence.known(db, used, other) or (evidence.measured(db, home, used, other) if measure else None)


def _or(given: T | None, otherwise: T) -> T:
    return otherwise if given is None else given


def _subject(db: Database, line_id: int | None, piece_id: int | None, afresh: bool,
             given: tuple[float | None, float | None, str | None]) -> tuple[Piece, Line | None, tuple[Line, ...]]:
    """The piece, the line that is repeated, and the further lines of the piece in the same order.

    Of several lines, the one whose size (also turned) and medium match is repeated, else the newest.
    """
    if line_id is not None:
        line = orders.get_line(db, line_id)
        return pieces.get_piece(db, line.piece_id), line, ()
    piece = pieces.get_piece(db, piece_id or 0)
    standing = [] if afresh else [line for line in orders.lines_of_piece(db, piece.id) if line.status != "cancelled"]
    together = [line for line in standing if line.order_id == standing[0].order_id]
    width, height, medium = given

    def fits(line: Line) -> tuple[bool, bool]:
        return {width, height} == {line.width_mm, line.height_mm}, line.medium == medium

    last = max(together, key=fits, default=None)
    return piece, last, tuple(line for line in together if line is not last)


def _priced_like(last: Line | None, line: NewLine) -> NewLine:
    """The line at last time's unit price; without a price where size or medium differ, or it would be absurd."""
    if last is None or any(getattr(last, name) != getattr(line, name) for name in ("width_mm", "height_mm", "medium")):
        return line
    unit = last.unit_price or money.unit_price(last.price, last.quantity, last.currency)
    with suppress(ValueError):
        return replace(line, unit_price=unit, price=money.total_price(unit, line.quantity, last.currency))
    return line


def _file_name(printing: Health | None) -> str:
    copies = printing.copies if printing else ()
    return display_path(copies[0].file.path).rpartition("/")[2] if copies else ""


def record(db: Database, proposal: Proposal, *, quantity: int | None = None, number: str = "", placed: str = "",
           buyer: str = "", status: str = "", currency: str = "", price: str | None = None,
           unit_price: str | None = None, profile: str | None = None, settings: str | None = None, notes: str = "",
           order_notes: str = "", proofs: bool = False, numbers: Sequence[Number] = (), unnumbered: bool = False,
           replacing: Sequence[Number] = ()) -> Line:
    """Record a proposal as a line of a new order, or of the order called ``number``.

    Edition numbers are given out with it, the lowest free ones, or exactly ``numbers``, and then as many prints as
    numbers unless ``quantity`` says otherwise. ``proofs`` takes proofs instead; ``unnumbered`` none. ``unit_price`` is
    that of one print, ``price`` that of all of them, as typed; one implies the other, and with neither the proposed
    unit price holds. ``replacing`` prints destroyed numbers again. ``status`` is ``requested`` for a new order unless
    given; what is given of an order that is on record must agree with it. Line and numbers are recorded together or not
    at all, and two programs at once never give out the same number.

    Raises Refused: beyond N, a number that is out, a closed edition, numbers that do not match the quantity, an order
    that was cancelled, or a price or currency that is none.
    """
    chosen = list(replacing or numbers)
    count = _or(quantity, len(chosen) or proposal.line.quantity)
    if not 1 <= count <= MOST:
        raise Refused(f"1 to {MOST:,} prints can be ordered.")
    if chosen and len(chosen) != count:
        raise Refused(f"{len(chosen)} numbers were given for {count} prints.")
    status = orders.STATUS_SPELLINGS.get(status, status)
    if status and (status not in orders.STATUSES or status == "cancelled"):
        raise Refused(f"A new order cannot be {status!r}.")
    edition_id = None if unnumbered else proposal.line.edition_id
    if edition_id is None and (chosen or proofs):
        raise Refused("This print belongs to no edition, so it has no number.", hint="Set one: catalogue edition set.")
    line = replace(proposal.line, quantity=count, notes=notes, edition_id=edition_id,
                   profile=_or(profile, proposal.line.profile), settings=_or(settings, proposal.line.settings))
    with transaction(db):
        with refusing():    # a currency that an older order has under a different name from its code stays so
            code = currency if currency in ("", proposal.currency) else money.currency_code(currency)
        order_id = _order(db, number, placed, buyer, status, code, order_notes, proposal.currency)
        prices = _prices(db, order_id, proposal, count, price, unit_price)
        line = replace(line, unit_price=prices.unit_price, price=prices.price)
        line_id = orders.add_line(db, order_id, line)
        if edition_id is not None:
            if replacing:
                editions.replace(db, edition_id, replacing, line_id)
            elif numbers:
                editions.issue_these(db, edition_id, line_id, numbers)
            else:
                editions.issue(db, edition_id, line_id, count, proofs=proofs)
        return orders.get_line(db, line_id)


def _prices(db: Database, order_id: int, proposal: Proposal, count: int, price: str | None, unit: str | None) -> Prices:
    """The prices of a line in its order's currency, from what was typed, else from the proposal."""
    order = orders.by_id(db, order_id)
    currency = order.currency if order else proposal.currency
    if price is None and unit is None:
        unit = proposal.line.unit_price
        if unit and currency != proposal.currency:
            raise Refused(f"Last time's price is in {proposal.currency}, this order is in {currency}.",
                          hint="Give the price.")
    return stated_prices(count, currency, price=price, unit=unit)


def _order(db: Database, number: str, placed: str, buyer: str, status: str, currency: str, notes: str,
           usual_currency: str) -> int:
    """The order of that number, or a new one, in the usual currency unless another is said.

    Raises Refused if what is said of an order is not what is on record.
    """
    known = orders.find_by_number(db, number) if number else None
    if known is None:
        day = placed or date.today().isoformat()
        return orders.add(db, number or orders.next_number(db, day[:4]), day, buyer=buyer, status=status or "requested",
                          currency=currency or usual_currency, notes=notes)
    if known.status == "cancelled":
        raise Refused(f"Order {number!r} was cancelled.", hint="Use another number.")
    compared = {"date": (placed, known.placed), "buyer": (buyer, known.buyer), "status": (status, known.status),
            "currency": (currency, known.currency), "notes": (notes, known.notes)}
    if buyers.key_of(db, buyer) == buyers.key_of(db, known.buyer):
        del compared["buyer"]   # another spelling
    other = [f"its {name} is {ours or 'empty'!r}, not {given!r}" for name, (given, ours) in compared.items()
             if given and given != ours]
    if other:
        raise Refused(f"Order {number!r} is already on record: {'; '.join(other)}. Nothing was recorded.",
                      hint="Leave that out to add the print to this order, use another number for another order, or "
                           "correct the order first: catalogue order correct.")
    return known.id
