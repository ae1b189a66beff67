"""The repeat panel's form: its fields, what is typed in them as numbers, and what is asked about before recording."""

from collections.abc import Mapping
from dataclasses import dataclass

from catalogue import money
from catalogue.ledger import values
from catalogue.ledger.proposal import Proposal

# id, label
FIELDS = (("quantity", "Prints"), ("size", "Size"), ("medium", "Medium"), ("border", "Border"), ("wrap", "Wrap"),
          ("edge", "Edge"), ("buyer", "Buyer"), ("price", "Price each"), ("profile", "Profile"),
          ("settings", "Settings"), ("notes", "Notes"))
SHAPING = ("quantity", "size", "medium", "border", "wrap", "edge")  # what the proposal depends on
USUAL_WRAP_MM = (15.0, 100.0)   # bars are 18 to 50 mm deep, some with a turn-over; common practice, no source


@dataclass(frozen=True, slots=True)
class RequestedPrint:
    """The shaping fields as numbers; None where the person has not typed yet."""

    quantity: int | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    medium: str | None = None
    border_mm: float | None = None
    wrap_mm: float | None = None
    edge: str | None = None


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something unusual that is asked about once: the field it stands in, and what it says there."""

    field: str
    text: str


def quantity(text: str) -> int:
    """A number of prints. Raises ValueError with words for the person."""
    count = text.strip()
    if not (count.isascii() and count.isdecimal()) or int(count) < 1:
        raise ValueError(f"{text!r} is not a number of prints")
    return int(count)


def parse_request(typed: Mapping[str, str]) -> RequestedPrint:
    """What was typed, as numbers.

    Raises:
        ValueError: with words for the person.
    """
    count = quantity(typed["quantity"])
    width, height = values.size_mm(typed["size"])
    return RequestedPrint(count, width, height, typed["medium"].strip(), values.margin_mm(typed["border"]),
                 values.margin_mm(typed["wrap"]), typed["edge"].strip())


def total(typed: Mapping[str, str], currency: str) -> str:
    """What all the prints cost, as decimal text; empty where no price is typed, or no price or number of prints."""
    try:
        return money.total_price(money.read_amount(typed["price"], currency), quantity(typed["quantity"]), currency)
    except ValueError:
        return ""


def shown_length(mm: float) -> str:
    """A border or wrap with its unit: ``"30 mm"``, empty for none."""
    return f"{mm:g} mm" if mm else ""


def doubts(typed: Mapping[str, str], want: RequestedPrint, proposal: Proposal, kept_price: str) -> list[Doubt]:
    """What a person should be asked about before this is recorded, in the order of the form; grave matters apart.

    ``kept_price``: the price of one print that the form began with.
    """
    found = []
    last, wrap, price = proposal.last, want.wrap_mm or 0.0, typed["price"].strip()
    before = last.wrap_mm if last is not None else 0.0
    least, most = USUAL_WRAP_MM
    if wrap and wrap != before and not least <= wrap <= most:
        found.append(Doubt("wrap", f"a wrap of {wrap:g} mm ({least:g} to {most:g} mm is usual)"))
    if not typed["buyer"].strip():
        found.append(Doubt("buyer", "no buyer"))
    if not price:
        found.append(Doubt("price", "no price"))
    elif price == kept_price and not proposal.line.unit_price:
        found.append(Doubt("price", f"{price} each, as for last time's size and medium"))
    return found


def question(found: list[Doubt]) -> str:
    """``"No buyer and no price? Press Enter again to record it."``"""
    texts = [doubt.text for doubt in found]
    listed = f"{', '.join(texts[:-1])} and {texts[-1]}" if len(texts) > 1 else texts[0]
    return f"{listed[0].upper()}{listed[1:]}? Press Enter again to record it."
