"""Options that the commands of orders share: a status under its spellings, and the facts of a print."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

from catalogue.errors import refusing
from catalogue.ledger import values
from catalogue.records.numbers import MOST, parse_numbers
from catalogue.records.orders import STATUS_SPELLINGS, STATUSES

F = TypeVar("F", bound=Callable[..., Any])


class StatusChoice(click.Choice[str]):
    """A status of an order; also taken by its other spellings."""

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        return super().convert(STATUS_SPELLINGS.get(value, value), param, ctx)


# What a print is, whether it is newly ordered or its line corrected; and how it was, or is to be, printed.
SHAPE = (
    click.option("--size", help="Width and height, such as 50x70 (cm), 500x700mm or A3."),
    click.option("--quantity", type=click.IntRange(1, MOST), help="How many prints."),
    click.option("--medium", help="Paper or canvas."),
    click.option("--border", help="White border in mm, within the size."),
    click.option("--wrap", help="Canvas wrap in mm, each side, beyond the size."),
    click.option("--edge", help="Edge of a wrapped canvas, such as picture, mirrored or white."))
PRINTING = (
    click.option("--profile", help="Printer profile."),
    click.option("--settings", "print_notes", help="Print notes: rendering intent, settings."))


def options(*decorators: Callable[[Any], Any]) -> Callable[[F], F]:
    """Several options of a command as one decorator, in this order."""
    def decorated(function: F) -> F:
        for option in reversed(decorators):
            function = option(function)
        return function

    return decorated


print_options = options(    # what a print may be told
    *SHAPE,
    click.option("--number", default="", help="Invoice or job number; otherwise the next free one."),
    click.option("--date", "placed", default="", help="Date of the order; otherwise today."),
    click.option("--buyer", default="", help="Who orders."),
    click.option("--unit-price", help="Price of one print; otherwise last time's; \"\" for none."),
    click.option("--price", help="Price of the whole line, in place of --unit-price."),
    click.option("--currency", default="", help="Such as EUR; otherwise last time's, or that of the settings."),
    *PRINTING,
    click.option("--notes", default="", help="Notes on the line."),
    click.option("--status", type=StatusChoice(STATUSES[:-1]),
                 help="State of a new order; otherwise requested."),
    click.option("--proofs", is_flag=True, help="Issue artist's proofs instead of numbers."),
    click.option("--numbers", default="", help="Issue these edition numbers, such as 3-5."),
    click.option("--replacing", default="", help="Reprint these destroyed numbers."),
    click.option("--unnumbered", is_flag=True, help="Issue no edition numbers."),
    click.option("--yes", is_flag=True, help="Record without asking, despite serious warnings."))


def print_facts(given: dict[str, Any]) -> dict[str, Any]:
    """The print described by the options, as arguments for ``propose``."""
    measures: dict[str, Any] = {}
    with refusing():
        if given["size"]:
            measures["width_mm"], measures["height_mm"] = values.print_size_mm(given["size"])
        if given["border"] is not None:
            measures["border_mm"] = values.margin_mm(given["border"])
        if given["wrap"] is not None:
            measures["wrap_mm"] = values.margin_mm(given["wrap"])
        chosen = parse_numbers(given.get("numbers") or given.get("replacing") or "")[0]
        if chosen and given["quantity"] is None:
            measures["quantity"] = len(chosen)  # as many prints as numbers, unless something else is said
    return measures | {name: given[name] for name in ("medium", "edge", "quantity") if given[name] is not None}
