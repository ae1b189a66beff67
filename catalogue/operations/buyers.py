"""Buyers: state name, contact and notes; merge two spellings."""

from collections.abc import Callable
from dataclasses import dataclass

from catalogue.ledger import buyers
from catalogue.operations.wording import counted
from catalogue.records.buyers import Buyer
from catalogue.records.database import Database, last_statement, statement_since, transaction

__all__ = ["BuyerChanged", "describe_buyer", "merge_buyers", "summarize"]


@dataclass(frozen=True, slots=True)
class BuyerChanged:
    """A buyer as stated now. ``event`` undoes it; None if nothing changed."""

    buyer: Buyer
    event: int | None


def describe_buyer(db: Database, key: str, *, name: str | None = None, contact: str | None = None,
                   notes: str | None = None) -> BuyerChanged:
    """State what is known of a buyer; what is None stays. Raises NotFound, Refused."""
    facts = {fact: value for fact, value in (("name", name), ("contact", contact), ("notes", notes))
            if value is not None}
    return _changed(db, lambda: buyers.describe(db, key, facts))


def merge_buyers(db: Database, keep_key: str, gone_key: str) -> BuyerChanged:
    """All orders of one buyer are the other's. Raises NotFound, Refused."""
    return _changed(db, lambda: buyers.merge(db, keep_key, gone_key))


def _changed(db: Database, change: Callable[[], Buyer]) -> BuyerChanged:
    before = last_statement(db)
    with transaction(db):
        buyer = change()
    return BuyerChanged(buyer, statement_since(db, before))


def summarize(result: BuyerChanged) -> list[str]:
    """The buyer, and how many orders are theirs."""
    buyer = result.buyer
    state = "" if result.event else " Nothing to change."
    return [f"{buyer.name}: {counted(buyer.orders, 'order')}.{state}"]
