"""Terms agreed with an artist: a share of the price, an amount for each print, or nothing; and from which day.

How destroyed, replaced and proof prints count unless agreed otherwise: common practice, no source.
"""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal, InvalidOperation

from catalogue import money
from catalogue.dates import shown_day
from catalogue.errors import Refused, refusing, sentence
from catalogue.records import artist_statements, pieces, stated_facts
from catalogue.records.artist_statements import BASES, Terms
from catalogue.records.database import Database, transaction

RATE_DECIMALS = 4   # of a percentage
MOST_PERCENT = 100


def set_terms(db: Database, artist_id: int, basis: str, rate: str = "", currency: str = "", *, since: str | None = None,
              destroyed: bool = True, replaced: bool = False, proofs: bool = False) -> Terms:
    """State what is agreed with an artist for orders from a day on.

    Args:
        basis: ``percentage`` of each print's price, ``fixed`` for each print, or ``none``.
        rate: as typed: ``"40"``, ``"33.3333 %"``, ``"12,50"``.
        currency: of a fixed rate.
        since: an ISO date, or empty for the beginning; None only for an artist without terms, whose first they are.
        destroyed, replaced, proofs: what else is owed for (:class:`catalogue.records.artist_statements.Terms`).

    Raises NotFound; Refused: no such basis or rate, or terms are on record and it is not said since when these hold.
    """
    if basis not in BASES:
        raise Refused(f"Terms are {', '.join(BASES[:-1])} or {BASES[-1]}, not {basis!r}.")
    with refusing():
        code = money.currency_code(currency) if basis == "fixed" else ""
        owed = _percentage(rate) if basis == "percentage" else money.read_amount(rate, code) if basis == "fixed" else ""
        day = date.fromisoformat(since).isoformat() if since else ""
    if basis == "fixed" and not owed:
        raise Refused("Give the amount owed for each print.")
    if basis == "none" and rate.strip():
        raise Refused("If nothing is owed, give no rate.")
    with transaction(db):
        pieces.get_artist(db, artist_id)
        if since is None and artist_statements.terms_of(db, artist_id):
            raise Refused("There are already terms on record for this artist.",
                          hint="Give the day from which these apply, or say that they apply from the start.")
        terms = Terms(artist_id, day, basis, owed, code, int(destroyed), int(replaced), int(proofs))
        stated_facts.state_artist(db, artist_id, {})    # has stated facts now, so never treated as a guess
        artist_statements.state_terms(db, terms)
    return terms


def _percentage(text: str) -> str:
    typed = text.strip().removesuffix("%").strip().replace(",", ".")
    try:
        rate = Decimal(typed)
    except InvalidOperation:
        raise ValueError(f"{text!r} is not a percentage") from None
    if not rate.is_finite() or not 0 <= rate <= MOST_PERCENT:
        raise ValueError(f"{text!r} is not a percentage from 0 to {MOST_PERCENT}")
    if rate != round(rate, RATE_DECIMALS):
        raise ValueError(f"{text!r} has more than {RATE_DECIMALS} decimals")
    return f"{rate.normalize():f}"


def terms_on(terms: Sequence[Terms], day: str) -> Terms | None:
    """The terms in force for an order of that day."""
    return max((agreed for agreed in terms if agreed.since <= day), default=None, key=lambda agreed: agreed.since)


def in_words(terms: Terms, dates: str) -> str:
    """``"From 1 Mar 2026: 40 % of the price of each print; prints destroyed after the sale count …"``."""
    owed = {"percentage": f"{terms.rate} % of the price of each print",
            "fixed": f"{money.show_amount(terms.rate, terms.currency)} for each print",
            "none": "nothing is owed for prints"}[terms.basis]
    when = f"From {shown_day(terms.since, dates)}: " if terms.since else ""
    text = f"{when}{owed}"
    if terms.basis != "none":
        counts = ("count", "do not count")
        text += (f"; prints destroyed after the sale {counts[not terms.destroyed]}, replacements of destroyed prints "
                 f"{counts[not terms.replaced]}, artist's proofs {counts[not terms.proofs]}")
    return sentence(text)
