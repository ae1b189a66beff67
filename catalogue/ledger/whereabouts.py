"""Where each numbered print is: with the buyer, in the shop, with the artist, on consignment, or destroyed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from catalogue.errors import Refused
from catalogue.ledger.editions import get_edition
from catalogue.records import print_moves
from catalogue.records.database import Database, transaction
from catalogue.records.numbers import Number, numbers_text
from catalogue.records.print_moves import PLACES, LivingPrint, PrintMove


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a print is. ``place`` is one of ``PLACES``, ``destroyed``, ``not printed`` or ``unknown``.

    ``since`` is an ISO date, empty where it is not known; ``stated`` tells whether a person said so.
    """

    edition_id: int
    artist: str
    title: str
    number: Number
    place: str
    holder: str
    since: str
    notes: str
    stated: bool


def whereabouts(db: Database, edition_id: int | None = None, *, place: str = "") -> list[Whereabouts]:
    """Of every print of an edition, or of all editions, that was promised or made; of one place alone if it is said.

    Unless a move is on record a print is with the buyer once its order was collected, until then in the shop.
    Raises NotFound.
    """
    if edition_id is not None:
        get_edition(db, edition_id)
    found = [_of(one) for one in print_moves.prints(db, edition_id)]
    return [one for one in found if place in ("", one.place)]


def _of(one: LivingPrint) -> Whereabouts:
    place, holder, since, notes = one.place, one.holder, one.day, one.notes
    if one.state == "destroyed":
        place, holder, since, notes = "destroyed", "", one.destroyed, ""
    elif one.state == "reserved":
        place = "not printed"
    elif place == "buyer":
        holder = holder or one.buyer
    elif not place:
        place = {"collected": "buyer", "printed": "shop", "cancelled": "shop"}.get(one.status, "unknown")
        holder = one.buyer if place == "buyer" else ""
    return Whereabouts(one.edition_id, one.artist, one.title, Number(one.series, one.number), place, holder, since,
                       notes, bool(one.place) and one.state == "printed")


def move(db: Database, edition_id: int, numbers: Sequence[Number], place: str, *, holder: str = "", day: str = "",
         notes: str = "") -> list[Whereabouts]:
    """State that these prints went to a place, all or none; gives where they are now, by the newest day.

    Raises NotFound; Refused: no such place, consigned to nobody, a number not printed, destroyed, or not given out.
    """
    if place not in PLACES:
        raise Refused(f"A print is {', '.join(PLACES[:-1])} or {PLACES[-1]}, not {place!r}.")
    if place == "consigned" and not holder.strip():
        raise Refused("Give who has the prints on consignment.")
    if not numbers:
        raise Refused("Give the numbers.")
    with transaction(db, f"prints {numbers_text(numbers)} of edition {edition_id}: {place} {holder.strip()}".rstrip()):
        get_edition(db, edition_id)
        known = {Number(one.series, one.number): one for one in print_moves.prints(db, edition_id)}
        for number in dict.fromkeys(numbers):
            one = known.get(number)
            if one is None or one.state != "printed":
                why = "was never given out" if one is None else {
                    "reserved": "is not printed yet", "destroyed": f"was destroyed {one.destroyed}"}[one.state]
                raise Refused(f"Number {numbers_text([number])} {why}.", hint="Nothing was recorded.")
            said = (place, holder.strip(), notes.strip(), day or date.today().isoformat())
            if said != (one.place, one.holder, one.notes, one.day):     # told once is told
                print_moves.add(db, PrintMove(edition_id, number.series, number.number, one.nth, said[3], *said[:3]))
    return [one for one in whereabouts(db, edition_id) if one.number in numbers]


def place_in_words(one: Whereabouts) -> str:
    """``"with the buyer: Ann Tarn"``, ``"on consignment with Gallery Umberlow"``."""
    words = {"buyer": "with the buyer", "shop": "in the shop", "artist": "with the artist",
             "consigned": "on consignment", "unknown": "not known"}.get(one.place, one.place)
    joint = " with " if one.place == "consigned" else ": "
    return f"{words}{joint}{one.holder}" if one.holder else words
