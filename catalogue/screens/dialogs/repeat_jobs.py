"""The repeat panel's jobs on other threads: the proposal for what is typed, and recording it."""

from dataclasses import asdict
from typing import Any

from catalogue.errors import CatalogueError, Refused
from catalogue.ledger import repeat as ledger
from catalogue.ledger.print_recipe import EarlierRecipe, earlier_recipe
from catalogue.ledger.proposal import Proposal
from catalogue.operations.orders import record_order
from catalogue.records import orders
from catalogue.records.database import Database
from catalogue.records.orders import Line
from catalogue.screens.dialogs.repeat_form import RequestedPrint
from catalogue.settings import Home

Answer = tuple[Proposal, EarlierRecipe | None]  # with the recipe whose choices a print file of the new line takes over


def proposed(db: Database, home: Home, subject: dict[str, Any], want: RequestedPrint,
             as_last_time: bool) -> Proposal:
    """The ledger's proposal for the request."""
    return ledger.propose(db, home, **subject, **asdict(want), as_last_time=as_last_time)


def answer_to(db: Database, home: Home, subject: dict[str, Any], want: RequestedPrint,
              as_last_time: bool) -> Answer | CatalogueError:
    """The proposal with the recipe of the last print, or why there is none."""
    try:
        proposal = proposed(db, home, subject, want, as_last_time)
        return proposal, earlier_recipe(db, proposal.line, proposal.last.id if proposal.last else None,
                                        printing_of(proposal) or "")
    except CatalogueError as error:
        return error


def record_request(db: Database, *, home: Home, subject: dict[str, Any], seen: str | None, as_last_time: bool,
                   typed: dict[str, str], want: RequestedPrint) -> Line | Exception | None:
    """None if another scan would be printed now than ``seen``, the one that was shown."""
    try:
        proposal = proposed(db, home, subject, want, as_last_time)
        if seen is not None and printing_of(proposal) != seen:
            return None
        order = orders.find_by_number(db, typed["order"])
        if order is not None and order.status not in ("requested", "approved"):
            raise Refused(f"Order {order.number!r} is {order.status}.",
                          hint="Clear its number for a new order.")
        return record_order(db, proposal, number=typed["order"], buyer=typed["buyer"], unit_price=typed["price"],
                            notes=typed["notes"], profile=typed["profile"], settings=typed["settings"])
    except Exception as error:  # a worker's edge: whatever it is, the panel must not stay shut
        return error


def printing_of(proposal: Proposal) -> str | None:
    """SHA-256 of the scan that would be printed."""
    return proposal.printing.scan.sha256 if proposal.printing is not None else None
