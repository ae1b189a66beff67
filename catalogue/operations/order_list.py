"""The order list in words: what all of its lines amount to."""

from catalogue.money import show_amount
from catalogue.operations.wording import counted
from catalogue.records.order_list import OrderSums


def summarize_sums(sums: OrderSums) -> list[str]:
    """What all lines of a list amount to, and what of them is not counted; nothing where there are none."""
    if not sums.lines and not sums.cancelled:
        return []
    amounts = ", ".join(show_amount(total.amount, total.currency) for total in sums.money) or "no prices"
    lines = [f"{counted(sums.orders, 'order')}, {counted(sums.prints, 'print')}: {amounts}"]
    if sums.unpriced and sums.money:
        lines.append(f"{counted(sums.unpriced, 'line')} without a price.")
    if sums.cancelled:
        lines.append(f"{counted(sums.cancelled, 'cancelled line')} not counted.")
    return lines
