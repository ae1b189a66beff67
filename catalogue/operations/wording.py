"""Counts and sums in words, shared by all summaries."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from catalogue.money import show_amount
from catalogue.records.numbers import numbered

if TYPE_CHECKING:
    from catalogue.ledger.proposal import Proposal
    from catalogue.records.order_list import OrderSums


def number(count: int) -> str:
    """A whole number, thousands set apart by a narrow no-break space (ISO 80000-1)."""
    return f"{count:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")


def counted(count: int, noun: str, plural: str = "") -> str:
    """``1 file``, ``3 files``."""
    return f"{number(count)} {noun if count == 1 else plural or noun + 's'}"


def numbers_to_issue(proposal: "Proposal") -> str:
    """``next are numbers 18, 24``: the numbers the proposed prints would get, or why they would get none."""
    state = proposal.edition
    if state is None or not proposal.numbers:
        return "closed" if state is not None and state.edition.closed else "none free"
    if state.numbers_left < proposal.line.quantity:
        return f"only {numbered(proposal.numbers)}"
    return f"next {'is' if proposal.line.quantity == 1 else 'are'} {numbered(proposal.numbers)}"


def kind_counts(kinds: Mapping[str, int]) -> str:
    """``2 × truncated, 1 × missing``: most frequent first, kinds that do not occur left out."""
    return ", ".join(f"{number(count)} × {kind}"
                     for kind, count in sorted(kinds.items(), key=lambda pair: (-pair[1], pair[0])) if count)


def masters_lacking(lacking: Mapping[str, int]) -> list[str]:
    """A line for each kind of copy that masters lack, of ``fixity.copies.review``'s counts."""
    return [f"{kind}: {counted(count, 'master')}" for kind, count in lacking.items() if count]


def summarize_sums(sums: "OrderSums") -> list[str]:
    """What all lines of a list amount to, and what of them is not counted; nothing if there are none."""
    if not sums.lines and not sums.cancelled:
        return []
    amounts = ", ".join(show_amount(total.amount, total.currency) for total in sums.money) or "no prices"
    lines = [f"{counted(sums.orders, 'order')}, {counted(sums.prints, 'print')}: {amounts}"]
    if sums.unpriced and sums.money:
        lines.append(f"{counted(sums.unpriced, 'line')} without a price.")
    if sums.cancelled:
        lines.append(f"{counted(sums.cancelled, 'cancelled line')} not counted.")
    return lines
