"""Importing orders from a CSV file: every row is accounted for, a dry run shows it, no row is recorded twice."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from catalogue import money
from catalogue.errors import CatalogueError, Refused
from catalogue.ledger import columns, editions, handovers, values
from catalogue.ledger.book_dates import BookDates
from catalogue.ledger.columns import Row, Table
from catalogue.ledger.handovers import check_handovers, handovers_in
from catalogue.ledger.prices import stated_prices
from catalogue.ledger.row_numbers import book, edition_of, not_on_record, numbers_of, unbooked
from catalogue.ledger.rows import (
    NoPiece,
    Rules,
    number_of,
    piece_of,
    quantity_of,
    scan_of,
    size_of,
    status_of,
    statuses_of,
)
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.records import buyers, files, numbers, orders, pieces
from catalogue.records.database import Database, RolledBack, transaction
from catalogue.records.order_states import stated_status
from catalogue.records.orders import NewLine, Order
from catalogue.settings import Settings

T = TypeVar("T")


class RowFate(StrEnum):
    """What happened to a row; the first two need no attention."""

    RECORDED = "recorded"
    KNOWN = "already on record"
    NO_PIECE = "no such piece"
    NOT_UNDERSTOOD = "not understood"
    REFUSED = "refused"

    @property
    def taken(self) -> bool:
        return self in (RowFate.RECORDED, RowFate.KNOWN)


@dataclass(frozen=True, slots=True)
class Fate:
    """What happened, or would happen, to one row. ``remarks`` are doubts a person should see."""

    row: int
    fate: RowFate
    text: str
    detail: str = ""
    remarks: tuple[str, ...] = ()
    line_id: int | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """A whole import. With ``dry_run`` nothing was recorded, and the fates are what would have been."""

    fates: tuple[Fate, ...]
    matched: Mapping[str, str]
    unused: tuple[str, ...]
    encoding: str
    dry_run: bool
    notes: tuple[str, ...] = ()     # how the file was read, where it could have been read otherwise

    @property
    def counts(self) -> dict[str, int]:
        """How many rows met which fate."""
        counts = Counter(f.fate for f in self.fates)
        return {fate: counts[fate] for fate in RowFate if counts[fate]}

    @property
    def left_out(self) -> int:
        """Rows not imported that need a person's attention."""
        return sum(not f.fate.taken for f in self.fates)


def import_orders(db: Database, settings: Settings, path: Path, *, mapping: Mapping[str, str] | None = None,
                  dates: Sequence[str] = (), status: str = "collected",
                  status_words: Mapping[str, str] | None = None, make_pieces: bool = False, own: bool = False,
                  dry_run: bool = False, report: Report = ignore_progress,
                  cancelled: Cancelled = never_cancelled) -> Outcome:
    """Import order lines from a CSV file, all in one transaction.

    Args:
        mapping: our column → heading in the file, where the heading alone does not tell (``columns.ORDERS``).
        dates: the file's date forms for strptime, besides what :class:`BookDates` reads of itself.
        status_words: what the file calls a status → ours.
        status: for rows that say none; old books are history, so the default is ``collected``.
        make_pieces: make artists and pieces that are not known; else such rows are left out and reported.
        own: the file was written by this program: a currency of an older catalogue is kept though it is no code.

    A row is linked to the exact bytes it was printed from when the file name it gives stands for one content only.

    Raises CatalogueError: the file cannot be read or has no usable columns, or the import was stopped (nothing is
    kept).
    """
    status = orders.known_status(status)
    table = columns.read_table(path, columns.ORDERS, mapping or {})
    sized = "size" in table.matched or {"width", "height"} <= set(table.matched)
    need_columns(table, path, ("piece", "date", *(() if sized else ("size (or width and height)",))), "piece=Motif")
    names = {files.bare_name(row.get("file")) for row in table.rows if row.get("file")}
    rows = list(_with_occurrence(table.rows))
    book_dates = BookDates((row.get("date") for row in table.rows), settings.dates, dates)
    words = {pieces.folded(theirs): orders.known_status(ours) for theirs, ours in (status_words or {}).items()}
    with transaction(db):
        known = {line for _, digest, nth in rows if (line := orders.imported_line(db, digest, nth)) is not None}
        rules = Rules(settings, table.units, book_dates, status, make_pieces,
                      files.find_by_filename(db, names),
                      known, words, statuses_of(table.rows, book_dates, status, words), {}, own,
                      money.decimal_sign(row.get(name) for row in table.rows for name in ("price", "unit_price")))
        done = import_rows(db, table, "Importing orders", rows, lambda row: _import_row(db, *row, rules),
                           dry_run=dry_run, report=report, cancelled=cancelled)
    return replace(done, notes=(*book_dates.notes, *_without_price(table)))


def _without_price(table: Table) -> list[str]:
    if {"price", "unit_price"} & set(table.matched):
        return []
    column = next(iter(reversed(table.unused)), "Total")
    return [f"No column gives a price; map one, such as --map price={column} of the whole line, or --map "
            f"unit_price={column} of one print."]


def import_rows(db: Database, table: Table, stage: str, rows: Sequence[T], take: Callable[[T], Fate], *, dry_run: bool,
                report: Report, cancelled: Cancelled) -> Outcome:
    """Take rows of a table one after the other, all in one transaction; a dry run does the same work, then undoes it.

    Raises CatalogueError if it was stopped: nothing is kept.
    """
    fates: list[Fate] = []
    with suppress(RolledBack), transaction(db):
        for number, row in enumerate(rows):
            if cancelled():
                raise CatalogueError("The import was stopped; nothing of it was recorded.")
            report(Progress(stage, number, len(rows)))
            fates.append(take(row))
        if dry_run:
            raise RolledBack
    return Outcome(tuple(fates), table.matched, table.unused, table.encoding, dry_run)


def need_columns(table: Table, path: Path, needed: Sequence[str], example: str) -> None:
    """Raises CatalogueError if a table lacks columns; ``example`` is how one could be mapped."""
    missing = [name for name in needed if name not in table.matched]
    if missing:
        raise CatalogueError(f"The file has no column for: {', '.join(missing)}.",
                             hint=f"Map it, such as --map {example}.", path=path)


def _with_occurrence(rows: Iterable[Row]) -> Iterator[tuple[Row, str, int]]:
    """Rows with their digest, and which of the rows that say exactly the same each one is."""
    seen: Counter[str] = Counter()
    for row in rows:
        digest = columns.digest(row)
        seen[digest] += 1
        yield row, digest, seen[digest]


def _import_row(db: Database, row: Row, digest: str, nth: int, rules: Rules) -> Fate:
    text = " · ".join(filter(None, (row.get("number"), row.get("date"), row.get("artist"), row.get("piece"))))
    known = orders.imported_line(db, digest, nth)
    if known is not None:
        return Fate(row.number, RowFate.KNOWN, text, remarks=_linked_late(db, known, row, rules), line_id=known)
    return taken(db, row, text, lambda: replace(_record_row(db, row, digest, nth, rules), text=text))


def taken(db: Database, row: Row, text: str, take: Callable[[], Fate]) -> Fate:
    """The fate of one row: the result of ``take``, or why the row was left out. A row is recorded whole or not at
    all."""
    try:
        with transaction(db):  # a savepoint within the file's own
            return take()
    except NoPiece as error:
        return Fate(row.number, RowFate.NO_PIECE, text, str(error))
    except ValueError as error:
        return Fate(row.number, RowFate.NOT_UNDERSTOOD, text, str(error))
    except Refused as error:
        return Fate(row.number, RowFate.REFUSED, text, str(error))


def _linked_late(db: Database, line_id: int, row: Row, rules: Rules) -> tuple[str, ...]:
    """Link a line imported before its scan was indexed to that scan."""
    line = orders.line(db, line_id)
    if line is None or line.scan_sha256 or not line.scan_name:
        return ()
    sha256, _ = scan_of(row, line.piece_id, rules)
    if not sha256:
        return ()
    orders.set_scan(db, line_id, sha256)
    return ("now linked to its scan",)


def _record_row(db: Database, row: Row, digest: str, nth: int, rules: Rules) -> Fate:
    remarks: list[str] = []
    if not row.get("piece"):
        raise ValueError("the row names no piece; perhaps it is a total")
    placed = rules.dates.day(row.get("date"))
    status = status_of(row.get("status"), rules.status, rules.status_words)
    width, height = size_of(row, rules.units)
    numbered = numbers_of(row, status, row.get("quantity"))
    quantity = quantity_of(row.get("quantity"), len(numbered.taken) + len(numbered.replacing))
    piece_id, taken_for = piece_of(db, row, rules.make_pieces, rules.names)
    sha256, remark = scan_of(row, piece_id, rules)
    after_today = "its date is after today" if placed > date.today().isoformat() else ""
    remarks += filter(None, [taken_for, remark, numbered.remark, after_today])
    line = NewLine(
        piece_id, width, height, quantity, medium=row.get("medium"), edge=row.get("edge"), scan_sha256=sha256,
        border_mm=values.margin_mm(row.get("border"), rules.units.get("border", "mm")),
        wrap_mm=values.margin_mm(row.get("wrap"), rules.units.get("wrap", "mm")), scan_name=row.get("file"),
        profile=row.get("profile"), settings=row.get("settings"), notes=row.get("notes"))
    handed, not_read = handovers_in(row.get("handed_over"), own=rules.own)
    remarks += filter(None, [not_read])
    check_handovers(handed, quantity, [*numbered.taken, *numbered.replacing])
    if numbered.any:
        line = replace(line, edition_id=edition_of(db, line, numbered))
    elif status != "cancelled" and editions.applying(db, piece_id, width, height, line.medium):
        remarks.append("belongs to an edition, but no numbers are given")
    if numbered.losses and not numbered.any:
        remarks.append(unbooked(numbered.losses, "the row has no edition number to record it under",
                                rules.settings.dates))
    order, fresh = _order(db, row, placed, status, rules)
    if not fresh and row.get("currency") and (said_currency := rules.currency(row)) != order.currency:
        raise Refused(f"The order is in {order.currency or 'no currency'}, this row in {said_currency}.")
    prices = stated_prices(quantity, order.currency, price=row.get("price"), unit=row.get("unit_price"),
                           decimal=rules.decimal)
    line = replace(line, unit_price=prices.unit_price, price=prices.price)
    line_cancelled = status == "cancelled" != order.status
    if not fresh:
        same_buyer = buyers.key_of(db, row.get("buyer")) == buyers.key_of(db, order.buyer)
        stated = stated_status(db, order.id)    # without what the file's earlier rows hand over
        theirs = status if row.get("status") and not line_cancelled and not handed else stated
        remarks += _disagreements(replace(order, status=stated), placed,
                                  order.buyer if same_buyer else row.get("buyer"), theirs)
    same = next((like.id for like in orders.lines_like(db, order.id, line) if like.id not in rules.claimed
                 and (not numbered.any
                      or like.numbers == numbers.numbers_text([*numbered.taken, *numbered.replacing]))), None)
    if same is not None:  # typed in by hand, or taken in from a file that wrote it otherwise
        rules.claimed.add(same)
        orders.note_imported(db, digest, nth, same)
        if line.edition_id is not None and (new := not_on_record(db, line.edition_id, numbered)):
            remarks.append(unbooked(new, "the line was already on record; to record it, use catalogue edition destroy",
                                    rules.settings.dates))
        if handed and not handovers.on_record(db, same, handed):
            remarks.append("the line was already on record; to record what was handed over of it, use"
                           " catalogue order handover")
        return Fate(row.number, RowFate.KNOWN, "", "an order line says the same", tuple(remarks), same)
    line_id = orders.add_line(db, order.id, line)
    if line_cancelled:
        orders.cancel_line(db, line_id)
    if line.edition_id is not None:
        book(db, line.edition_id, line_id, numbered)
    for part in handed:
        handovers.record(db, replace(part, line_id=line_id))
    rules.claimed.add(line_id)
    orders.note_imported(db, digest, nth, line_id)
    return Fate(row.number, RowFate.RECORDED, "", "", tuple(remarks), line_id)


def _order(db: Database, row: Row, placed: str, status: str, rules: Rules) -> tuple[Order, bool]:
    number = number_of(row, rules.dates)
    known = orders.find_by_number(db, number)
    if known is not None:
        return known, False
    orders.save(db, number, placed, buyer=row.get("buyer"), status=rules.statuses.get(number, status),
                currency=rules.currency(row), notes=row.get("order_notes"))
    return orders.by_number(db, number), True


def _disagreements(order: Order, placed: str, buyer: str, status: str) -> list[str]:
    pairs = (("date", order.placed, placed), ("buyer", order.buyer, buyer or order.buyer),
             ("status", order.status, status))
    return [f"the order's {name} is {ours!r}, this row says {theirs!r}" for name, ours, theirs in pairs
            if ours != theirs]
