"""Stating facts of buyers: name, contact, notes, and which spellings are one buyer."""

from collections.abc import Mapping, Sequence

from catalogue.errors import AlreadyExists, Ambiguous, NotFound, Refused, required
from catalogue.records import buyers
from catalogue.records.buyers import Buyer
from catalogue.records.database import Database, transaction
from catalogue.records.folding import fold_name


def buyer_of(db: Database, key: str) -> Buyer:
    """The buyer of that key. Raises NotFound."""
    return required(buyers.by_key(db, key), f"There is no buyer {key!r}.", "List them with: catalogue buyer list.")


def find_buyer(db: Database, words: str) -> Buyer:
    """The one buyer meant; raises NotFound, or Ambiguous with the matching buyers."""
    fitting = buyers.matching(db, words)
    if not fitting:
        raise NotFound(f"No buyer matches {words!r}.", hint="List them with: catalogue buyer list.")
    if len(fitting) > 1:
        raise Ambiguous(f"{len(fitting)} buyers match {words!r}.", hint="; ".join(b.name for b in fitting[:8]) + ".")
    return fitting[0]


def describe(db: Database, key: str, facts: Mapping[str, str]) -> Buyer:
    """State any of name, contact and notes of a buyer; what is not named stays.

    Under a new name the buyer is found as well, by orders recorded later too; those that stand keep what is written on
    them. Raises NotFound; Refused if the name is empty or another buyer's.
    """
    with transaction(db):
        buyer = buyer_of(db, key)
        values = {name: value.strip() for name, value in facts.items()}
        if "name" in values:
            spelling = fold_name(values["name"])
            if not spelling:
                raise Refused("A buyer needs a name.")
            other = buyers.by_key(db, buyers.key_of(db, values["name"]))
            if other is not None and other.key != key:
                raise AlreadyExists(f"There is already a buyer called {other.name!r}.",
                                    hint="If they are the same, merge them: catalogue buyer merge.")
            if spelling != key:
                buyers.state(db, spelling, {"joined_into": key})
        changed = {name: value for name, value in values.items() if value != getattr(buyer, name)}
        if changed:
            buyers.state(db, key, changed)
        return buyer_of(db, key)


def merge(db: Database, keep_key: str, gone_key: str) -> Buyer:
    """Two spellings are one buyer: all orders of ``gone_key`` are the other's, also those recorded later.

    Contact and notes are carried over; where both have some, the other's are added to the notes. Raises NotFound;
    Refused for a buyer with themselves.
    """
    with transaction(db):
        keep, gone = buyer_of(db, keep_key), buyer_of(db, gone_key)
        if keep.key == gone.key:
            raise Refused("A buyer cannot be merged with themselves.")
        contact = keep.contact or gone.contact
        notes = [keep.notes, gone.notes if gone.notes != keep.notes else "",
                 f"{gone.name}: {gone.contact}" if gone.contact not in ("", contact) else ""]
        with transaction(db, f"buyers merged: {gone.name} into {keep.name}"):
            buyers.state(db, keep.key, {"name": keep.name, "contact": contact,
                                        "notes": "\n".join(filter(None, notes))})
            for spelling in buyers.joined(db, gone.key):
                buyers.state(db, spelling, {"joined_into": keep.key})
            buyers.state(db, gone.key, {"joined_into": keep.key})
        return buyer_of(db, keep.key)


def take_in(db: Database, name: str, contact: str, notes: str, spellings: Sequence[str]) -> bool:
    """State what a list says of a buyer, known or new; returns whether any of it was new. What is empty stays as it is.

    Raises Refused if a spelling is another buyer's.
    """
    with transaction(db):
        key = buyers.key_of(db, name)
        before = buyers.by_key(db, key), buyers.joined(db, key)
        facts = {fact: value for fact, value in (("contact", contact), ("notes", notes)) if value}
        if before[0] is None or facts or buyers.stated(db, key) is not None:
            buyers.state(db, key, facts | ({"name": name.strip()} if before[0] is None else {}))
        for spelling in filter(None, map(fold_name, spellings)):
            meant = buyers.key_of(db, spelling)
            if meant == key:
                continue
            if buyers.stated(db, meant) is not None:
                raise Refused(f"{spelling!r} is another buyer with details on record.",
                              hint="If they are the same, merge them: catalogue buyer merge.")
            buyers.state(db, key, {"name": buyer_of(db, key).name})
            buyers.state(db, meant, {"joined_into": key})
        return (buyers.by_key(db, key), buyers.joined(db, key)) != before
