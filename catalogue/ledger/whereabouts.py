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

    ``since`` is an ISO date, empty if it is not known; ``stated`` tells whether a person said so.
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
    places = [whereabouts_of(made) for made in print_moves.prints(db, edition_id)]
    return [made for made in places if place in ("", made.place)]


def whereabouts_of(made: LivingPrint) -> Whereabouts:
    """Where one print is, of those on record."""
    place, holder, since, notes = made.place, made.holder, made.day, made.notes
    if made.state == "destroyed":
        place, holder, since, notes = "destroyed", "", made.destroyed, ""
    elif made.state == "reserved":
        place = "not printed"
    elif place == "buyer":
        holder = holder or made.buyer
    elif not place:
        place = {"collected": "buyer", "printed": "shop", "cancelled": "shop"}.get(made.status, "unknown")
        holder = made.buyer if place == "buyer" else ""
    return Whereabouts(made.edition_id, made.artist, made.title, Number(made.series, made.number), place, holder, since,
                       notes, bool(made.place) and made.state == "printed")


def move(db: Database, edition_id: int, numbers: Sequence[Number], place: str, *, holder: str = "", day: str = "",
         notes: str = "") -> list[Whereabouts]:
    """State that these prints went to a place, all or none; returns where they are now, by the newest day.

    Raises NotFound; Refused: no such place, consigned to nobody, a number not printed, destroyed, or not given out.
    """
    if place not in PLACES:
        raise Refused(f"{place!r} is not a place; choose {', '.join(PLACES[:-1])} or {PLACES[-1]}.")
    if place == "consigned" and not holder.strip():
        raise Refused("Say who has the prints on consignment.")
    if not numbers:
        raise Refused("Give the numbers.")
    with transaction(db, f"prints {numbers_text(numbers)} of edition {edition_id}: {place} {holder.strip()}".rstrip()):
        get_edition(db, edition_id)
        known = {Number(held.series, held.number): held for held in print_moves.prints(db, edition_id)}
        for number in dict.fromkeys(numbers):
            held = known.get(number)
            if held is None or held.state != "printed":
                why = "was never issued" if held is None else {
                    "reserved": "is not printed yet", "destroyed": "was destroyed"}[held.state]
                raise Refused(f"Number {numbers_text([number])} {why}.", hint="Nothing was recorded.")
            facts = (place, holder.strip(), notes.strip(), day or date.today().isoformat())
            if facts != (held.place, held.holder, held.notes, held.day):     # told once is told
                print_moves.add(db, PrintMove(edition_id, number.series, number.number, held.nth, facts[3], *facts[:3]))
    return [held for held in whereabouts(db, edition_id) if held.number in numbers]


def at_hand(db: Database, edition_id: int | None, numbers: Sequence[Number]) -> list[Number]:
    """Those of the numbers whose prints are in the shop, or are still to be made there."""
    places = {Number(held.series, held.number): whereabouts_of(held).place
              for held in print_moves.prints(db, edition_id)}
    return [number for number in numbers if places.get(number) in ("shop", "not printed", "unknown")]


def place_in_words(held: Whereabouts) -> str:
    """``"with the buyer: Ann Tarn"``, ``"on consignment with Gallery Umberlow"``."""
    words = {"buyer": "with the buyer", "shop": "in the shop", "artist": "with the artist",
             "consigned": "on consignment", "unknown": "not known"}.get(held.place, held.place)
    joint = " with " if held.place == "consigned" else ": "
    return f"{words}{joint}{held.holder}" if held.holder else words
