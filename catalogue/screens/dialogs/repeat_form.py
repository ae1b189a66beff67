"""The repeat panel's form: its fields, parsing them, and what is asked about before recording."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from textual.containers import Grid
from textual.widget import Widget
from textual.widgets import Input, Label, Static

from catalogue import money
from catalogue.ledger import values
from catalogue.ledger.proposal import Proposal
from catalogue.records.orders import NewLine

# id, label
FIELDS = (("quantity", "Prints"), ("size", "Size"), ("medium", "Medium"), ("border", "Border"), ("wrap", "Wrap"),
          ("edge", "Edge"), ("buyer", "Buyer"), ("order", "Order"), ("price", "Price each"), ("profile", "Profile"),
          ("settings", "Settings"), ("notes", "Notes"))
SHAPING = ("quantity", "size", "medium", "border", "wrap", "edge")  # what the proposal depends on
USUAL_WRAP_MM = (15.0, 100.0)   # bars are 18 to 50 mm deep, some with a turn-over; common practice, no source


@dataclass(frozen=True, slots=True)
class RequestedPrint:
    """The fields as numbers; None where nothing was typed."""

    quantity: int | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    medium: str | None = None
    border_mm: float | None = None
    wrap_mm: float | None = None
    edge: str | None = None


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something unusual that is asked about once: its field, and the text shown there."""

    field: str
    text: str


class RepeatForm(Grid):
    """The fields of the order, by name, and the ``total``: what all its prints cost."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self.fields = {name: Input(id=f"repeat-{name}", compact=True) for name, _ in FIELDS}
        self.total = Static("", id="repeat-total", markup=False)

    def compose(self) -> Iterable[Widget]:
        for name, label in FIELDS:
            yield Label(label)
            yield self.fields[name]
            if name == "price":
                yield Label("Total")
                yield self.total

    @property
    def typed(self) -> dict[str, str]:
        return {name: field.value.strip() for name, field in self.fields.items()}

    def fill(self, texts: Mapping[str, str]) -> None:
        """Show these texts, and empty the other fields."""
        with self.prevent(Input.Changed):
            for name, field in self.fields.items():
                field.value, field.placeholder = texts.get(name, ""), ""

    def show_total(self, currency: str) -> None:
        """What all the prints cost, as typed so far."""
        self.total.update(money.show_amount(total(self.typed, currency), currency) or "–")


def quantity(text: str) -> int:
    """A number of prints. Raises ValueError with words for the person."""
    count = text.strip()
    if not (count.isascii() and count.isdecimal()) or int(count) < 1:
        raise ValueError(f"{text!r} is not a number of prints")
    return int(count)


def parse_request(typed: Mapping[str, str]) -> RequestedPrint:
    """What was typed, as numbers. Raises ValueError with words for the person."""
    count = quantity(typed["quantity"])
    width, height = values.print_size_mm(typed["size"])
    return RequestedPrint(count, width, height, typed["medium"], values.margin_mm(typed["border"]),
                 values.margin_mm(typed["wrap"]), typed["edge"])


def total(typed: Mapping[str, str], currency: str) -> str:
    """What all the prints cost, as decimal text; empty if no price is typed, or no price or number of prints."""
    try:
        return money.total_price(money.read_amount(typed["price"], currency), quantity(typed["quantity"]), currency)
    except ValueError:
        return ""


def texts_of(line: NewLine) -> dict[str, str]:
    """The fields as they are filled with a line; its size is written so that it is read again exactly."""
    return {"quantity": str(line.quantity), "size": values.shown_size(line.width_mm, line.height_mm),
            "medium": line.medium, "border": shown_length(line.border_mm), "wrap": shown_length(line.wrap_mm),
            "edge": line.edge, "price": line.unit_price, "profile": line.profile, "settings": line.settings}


def shown_length(mm: float) -> str:
    """A border or wrap with its unit: ``"30 mm"``, empty for none."""
    return f"{mm:g} mm" if mm else ""


def doubts(typed: Mapping[str, str], want: RequestedPrint, proposal: Proposal, kept_price: str) -> list[Doubt]:
    """What a person should be asked about before this is recorded, in the order of the form; grave matters apart.

    ``kept_price``: the price of one print that the form began with.
    """
    unusual = []
    last, wrap, price = proposal.last, want.wrap_mm or 0.0, typed["price"]
    before = last.wrap_mm if last is not None else 0.0
    least, most = USUAL_WRAP_MM
    if wrap and wrap != before and not least <= wrap <= most:
        unusual.append(Doubt("wrap", f"a wrap of {wrap:g} mm ({least:g} to {most:g} mm is usual)"))
    if not typed["buyer"]:
        unusual.append(Doubt("buyer", "no buyer"))
    if not price:
        unusual.append(Doubt("price", "no price"))
    elif price == kept_price and not proposal.line.unit_price:
        unusual.append(Doubt("price", f"{price} each, as for last time's size and medium"))
    return unusual


def question(unusual: list[Doubt]) -> str:
    """``"No buyer and no price? Press Enter again to record it."``"""
    texts = [doubt.text for doubt in unusual]
    listed = f"{', '.join(texts[:-1])} and {texts[-1]}" if len(texts) > 1 else texts[0]
    return f"{listed[0].upper()}{listed[1:]}? Press Enter again to record it."
