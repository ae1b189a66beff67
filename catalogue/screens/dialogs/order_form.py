"""The form that changes order lines in the list: one of them, or all marked, as one statement."""

from collections.abc import Callable, Mapping, Sequence

from catalogue.dates import read_day, shown_day
from catalogue.indexing.corrections import Correction
from catalogue.ledger import values
from catalogue.money import show_amount
from catalogue.operations.orders import OrdersChanged, change_listed, hand_over, summarize
from catalogue.records.database import Database
from catalogue.records.numbers import parse_numbers
from catalogue.records.orders import STATUSES, Line
from catalogue.screens.dialogs.correction_forms import piece_matches
from catalogue.screens.dialogs.form import Field, Filled, FormDialog, Match, Matches
from catalogue.screens.dialogs.repeat_form import quantity
from catalogue.screens.texts.formats import counted

MADE = "printed, so it stays; c cancels the line"
CANCELLED = "cancelled, so it stays"


def change_form(lines: Sequence[Line], day_form: str) -> FormDialog:
    """State, price of one print, notes, buyer and date of these lines and their orders; of one line also quantity,
    size, medium and piece. A line that was printed keeps its piece."""
    def field(name: str, label: str, matches: Matches | None = None) -> Field:
        values_typed = {line.order_state if name == "status" else str(getattr(line, name)) for line in lines}
        if name == "placed":
            values_typed = {shown_day(day, day_form) for day in values_typed}
        value, hint = (values_typed.pop(), "") if len(values_typed) == 1 else ("", "unchanged")
        if name == "unit_price" and not value and len(lines) == 1 and lines[0].price:
            hint = f"{show_amount(lines[0].price, lines[0].currency)} for all {lines[0].quantity}"
        return Field(name, label, value, hint=hint, matches=matches, only=matches is not None)

    title = f"Order {lines[0].number}: {lines[0].title}" if len(lines) == 1 else counted(len(lines), "order line")
    prints: tuple[Field, ...] = ()
    piece: tuple[Field, ...] = ()
    if len(lines) == 1:
        prints = (field("quantity", "Prints"),
                  Field("size", "Size", values.shown_size(lines[0].width_mm, lines[0].height_mm)),
                  field("medium", "Medium"))
        status = "printed" if lines[0].partly else lines[0].status
        stays = {"printed": MADE, "collected": MADE, "cancelled": CANCELLED}.get(status)
        piece = (Field("piece", "Piece", stays or lines[0].title, matches=order_matches, only=True,
                       id=lines[0].piece_id, fixed=stays is not None),)
    fields = (field("status", "State", _states), *prints, field("unit_price", "Price each"), field("notes", "Notes"),
              field("buyer", "Buyer"), field("placed", "Date"), *piece)
    return FormDialog(title, fields, lambda filled: _save(lines, filled, day_form))


def order_matches(db: Database, typed: str, texts: Mapping[str, str]) -> list[Match]:
    """Pieces whose titles or artists fit; only one that there is can be ordered."""
    return [match for match in piece_matches(db, typed, texts) if match.id is not None]


def _states(_: Database, typed: str, __: Mapping[str, str]) -> list[Match]:
    """States of an order, those that begin as typed first."""
    return [Match(state) for state in sorted(STATUSES, key=lambda state: not state.startswith(typed.casefold()))]


def _save(lines: Sequence[Line], filled: Filled, day_form: str) -> Callable[[Database], Correction]:
    changed = filled.changed
    if "status" in changed and not changed["status"]:
        raise ValueError(f"The state must be one of: {', '.join(STATUSES)}")
    placed = read_day(changed["placed"], day_form) if "placed" in changed else None
    prints = quantity(changed["quantity"]) if "quantity" in changed else None
    size = values.print_size_mm(changed["size"]) if "size" in changed else None
    piece = filled.chosen.get("piece")
    if "piece" in changed and piece is None:
        raise ValueError("Choose the piece from the list")
    seen = {line.number: line.order_status for line in lines if not line.cancelled}
    return lambda db: corrected(change_listed(
        db, [line.id for line in lines], status=changed.get("status"), seen=seen, unit_price=changed.get("unit_price"),
        notes=changed.get("notes"), buyer=changed.get("buyer"), placed=placed, quantity=prints, size=size,
        medium=changed.get("medium"), piece_id=piece.id if piece else None))


def handover_form(lines: Sequence[Line], today: str, day_form: str) -> FormDialog:
    """How many prints of a line are handed over, and which; of several lines all that are left. ``today``: ISO."""
    single = lines[0] if len(lines) == 1 else None
    left = f"{single.quantity - single.handed} of {single.quantity} left" if single else "all that are left"
    title = f"Hand over: order {single.number}, {single.title}, {left}" if single else \
        f"Hand over {counted(len(lines), 'order line')}, {left}"
    fields = [Field("day", "Date", shown_day(today, day_form)),
              Field("notes", "Notes", hint="who collected, or how it was sent")]
    if single is not None and single.numbers:
        fields.insert(0, Field("numbers", "Numbers", hint=f"the lowest of {single.numbers} in the shop"))
    if single is not None:
        fields.insert(0, Field("quantity", "Prints", str(single.quantity - single.handed)))

    def save(filled: Filled) -> Callable[[Database], Correction]:
        typed = filled.texts
        numbers = parse_numbers(typed.get("numbers", ""))[0]
        by_number = single is None or (numbers and "quantity" not in filled.changed)
        count = None if by_number else quantity(typed["quantity"])
        day = read_day(typed["day"], day_form)
        return lambda db: corrected(hand_over(db, [line.id for line in lines], quantity=count, numbers=numbers, day=day,
                                              notes=typed["notes"]))

    return FormDialog(title, fields, save, proposed=True)


def corrected(done: OrdersChanged) -> Correction:
    """A change of orders as what the screens take back."""
    return Correction(done.event or 0, "\n".join(summarize(done)).removesuffix("."))
