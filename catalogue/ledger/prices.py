"""The two prices of an order line: of one print, and of all of them. A typed price implies the other or is refused."""

from typing import NamedTuple

from catalogue import money
from catalogue.errors import Refused, refusing


class Prices(NamedTuple):
    """Decimal text in the order's currency; empty if there is none. Fields are named as the line's."""

    unit_price: str = ""
    price: str = ""


def stated_prices(quantity: int, currency: str, *, price: str | None = None, unit: str | None = None,
                  decimal: str = "") -> Prices:
    """What to record of what was typed of either price; empty text says that there is none.

    With ``price`` alone the unit price is what it implies where it divides evenly, else empty. ``decimal`` is the sign
    before the cents, where it is known (:func:`catalogue.money.decimal_sign`).
    Raises Refused: no price, below zero, too much, finer than the currency's coin, or the two disagree.
    """
    with refusing():
        each, whole = (money.read_amount(text or "", currency, decimal=decimal) for text in (unit, price))
        total = money.total_price(each, quantity, currency)
        if each and whole and total != whole:
            shown = [money.show_amount(amount, currency) for amount in (each, total, whole)]
            raise Refused(f"{quantity} × {shown[0]} is {shown[1]}, not {shown[2]}.",
                          hint="Give only one of the two prices.")
        return Prices(each or money.unit_price(whole, quantity, currency), total or whole)


def corrected_prices(now: Prices, quantity: int, currency: str, *, price: str | None = None,
                     unit: str | None = None) -> Prices:
    """Both prices of a line after its quantity, currency or one of its prices was corrected.

    A unit price on record stays, and the total follows the quantity; a total without a unit price stays what it is.
    Raises Refused as :func:`stated_prices`.
    """
    if price is not None or unit is not None:
        return stated_prices(quantity, currency, price=price, unit=unit)
    if now.unit_price:
        return stated_prices(quantity, currency, unit=now.unit_price)
    return now._replace(price=stated_prices(quantity, currency, price=now.price).price)
