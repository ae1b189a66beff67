"""What an artist is owed for a period: every print, its price, the artist's share; and corrections.

An issued statement never changes. Later changes to its orders (prices, prints lost, orders cancelled, recorded late or
moved to another day) are found by comparing what was stated for each order line with what would be stated now; the
difference goes into the next statement as a correction.

Arithmetic: a print's price is the line's unit price, otherwise its share of the line's price, split to the coin with
the larger parts first, so that the parts add up. A print's amount is its price times the rate, rounded half up to the
currency's coin; totals are sums of the rounded amounts, by currency.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from decimal import Decimal
from itertools import groupby

from catalogue import money
from catalogue.dates import shown_day
from catalogue.errors import NotFound, Refused
from catalogue.ledger.artist_terms import in_words, terms_on
from catalogue.ledger.periods import Period
from catalogue.ledger.values import shown_size
from catalogue.records import artist_statements, orders, pieces
from catalogue.records.artist_statements import SoldPrint, Terms
from catalogue.records.database import Database, transaction
from catalogue.records.numbers import numbers_text, roman
from catalogue.records.order_list import Money
from catalogue.records.orders import MADE, Line
from catalogue.untrusted import shell_word

FORMAT = 1


@dataclass(frozen=True, slots=True)
class Row:
    """Prints of one order line that are treated alike. Amounts are decimal text; ``each`` and ``amount`` are owed.

    ``price`` and ``currency`` are of one print, the price empty if none is on record. ``note`` says why nothing is
    owed; of a correction what was stated before.
    """

    line_id: int
    order: str
    date: str
    title: str
    size: str
    medium: str
    numbers: str
    prints: int
    price: str
    currency: str
    each: str
    amount: str
    owed_in: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Statement:
    """``issued`` is an ISO date; empty for a draft, which changes with the ledger. ``totals`` are owed, by currency,
    corrections included."""

    artist_id: int
    artist: str
    first: str
    last: str
    issued: str
    terms: tuple[str, ...]
    rows: tuple[Row, ...]
    corrections: tuple[Row, ...]
    totals: tuple[Money, ...]

    @property
    def period(self) -> Period:
        return Period(self.first, self.last)

    @property
    def prints(self) -> int:
        return sum(row.prints for row in self.rows)


def statement(db: Database, artist_id: int, period: Period, dates: str) -> Statement:
    """The statement of a period: as issued where it was, else a draft of what the ledger says now.

    Raises NotFound: no such artist, or nothing is agreed. Refused: part of the period was stated in another statement.
    """
    artist = pieces.get_artist(db, artist_id)
    issued = list(map(_read, artist_statements.issued(db, artist_id)))
    for earlier in issued:
        if (earlier.first, earlier.last) == (period.first, period.last):
            return earlier
    overlapping = [earlier for earlier in issued if earlier.first <= period.last and period.first <= earlier.last]
    if overlapping:
        raise Refused(f"Part of this period is already covered by the statement for"
                      f" {overlapping[0].period.in_words(dates)}.",
                      hint="Choose days that no statement covers.")
    terms = artist_statements.terms_of(db, artist_id)
    lines = artist_statements.sold(db, artist_id, period.first, period.last)
    rows = tuple(row for line in lines for row in owed(db, line, terms, artist.name, dates))
    corrections = tuple(_corrections(db, artist_id, issued, terms, artist.name, dates))
    spoken = list(filter(None, (terms_on(terms, day) for day in (period.last, *(line.placed[:10] for line in lines)))))
    if not spoken:
        raise _nothing_agreed(artist.name)
    words = tuple(in_words(earlier, dates) for earlier in sorted(set(spoken), key=lambda earlier: earlier.since))
    return Statement(artist_id, artist.name, period.first, period.last, "", words, rows, corrections,
                     _totals([*rows, *corrections]))


def issue(db: Database, artist_id: int, period: Period, dates: str, today: date) -> Statement:
    """Issue the statement of a period, or give it as it was issued.

    Raises as :func:`statement`; Refused before the period is over.
    """
    with transaction(db):
        made = statement(db, artist_id, period, dates)
        if made.issued:
            return made
        if period.last >= today.isoformat():
            raise Refused(f"The period runs to {shown_day(period.last, dates)} and is not over yet.",
                          hint="Issue it once the period is over.")
        made = replace(made, issued=today.isoformat())
        artist_statements.keep_issued(db, {"artist_id": artist_id, "first": made.first, "last": made.last,
                                           "issued": made.issued, "content": _write(made)})
    return made


def owed(db: Database, line: Line, terms: Sequence[Terms], artist: str, dates: str) -> list[Row]:
    """Rows of one order line. Raises NotFound if nothing is agreed for its day."""
    day = line.placed[:10]
    holding = terms_on(terms, day)
    if holding is None:
        raise _nothing_agreed(artist, shown_day(day, dates))
    prints: list[SoldPrint | None] = [*artist_statements.numbered_prints(db, line.id)]
    prints += [None] * (line.quantity - len(prints))
    rows = []
    priced = zip(prints, _prices(line, len(prints)), strict=True)
    for (price, reason, destroyed), group in groupby(
            ((sold, price) for sold, price in priced), key=lambda pair: (pair[1], *_reason(pair[0], holding, dates))):
        alike = [sold for sold, _ in group]
        owed_in = holding.currency or line.currency
        each = "" if reason else _each(price, owed_in, holding)
        note = reason or ("no price on record" if holding.basis == "percentage" and not price else destroyed)
        amount = money.write_amount(len(alike) * Decimal(each or 0), owed_in)
        rows.append(Row(line.id, line.number, day, line.title, shown_size(line.width_mm, line.height_mm),
                        line.medium, _numbers(sold for sold in alike if sold), len(alike), price, line.currency, each,
                        amount, owed_in, note))
    return rows


def _prices(line: Line, count: int) -> list[str]:
    """The price of each print of a line, as decimal text."""
    if line.unit_price or not line.price:
        return [line.unit_price] * count
    decimals = max(money.minor_units(line.currency), -int(Decimal(line.price).normalize().as_tuple().exponent))
    whole, remainder = divmod(Decimal(line.price).scaleb(decimals), count)
    return [f"{(whole + (n < remainder)).scaleb(-decimals):f}" for n in range(count)]


def _reason(sold: SoldPrint | None, terms: Terms, dates: str) -> tuple[str, str]:
    """Why nothing is owed for a print, or ""; and the remark shown in either case."""
    if sold is None:
        return "", ""
    lost = f"destroyed {shown_day(sold.destroyed, dates)}" if sold.destroyed else ""
    if sold.series == "proof" and not terms.proofs:
        return "artist's proof", lost
    if sold.nth > 1 and not terms.replaced:
        return "replaces a destroyed print", lost
    return (lost, lost) if lost and not terms.destroyed else ("", lost)


def _each(price: str, currency: str, terms: Terms) -> str:
    """The amount owed for one print; empty for nothing."""
    if terms.basis == "fixed":
        return terms.rate
    if terms.basis == "none" or not price:
        return ""
    return money.write_amount(Decimal(price) * Decimal(terms.rate) / 100, currency)


def _numbers(prints: Iterable[SoldPrint]) -> str:
    """``"3–5/25"``, ``"AP I/III"``, as they stand on the prints."""
    known = list(prints)
    if not known:
        return ""
    limit = known[0].size_limit
    return f"{numbers_text((sold.series, sold.number) for sold in known)}/" + (
        roman(limit) if known[0].series == "proof" else str(limit))


def _corrections(db: Database, artist_id: int, issued: Sequence[Statement], terms: Sequence[Terms],
                 artist: str, dates: str) -> Iterable[Row]:
    """A row for every order line in an earlier statement that would be stated differently now."""
    earlier_rows: dict[int, list[Row]] = {}
    for earlier in issued:
        for row in (*earlier.rows, *earlier.corrections):
            earlier_rows.setdefault(row.line_id, []).append(row)
    within = {line.id: line for earlier in issued
              for line in artist_statements.sold(db, artist_id, earlier.first, earlier.last)}
    for line_id in sorted({*earlier_rows, *within}):
        before, line = earlier_rows.get(line_id, []), within.get(line_id)
        now = owed(db, line, terms, artist, dates) if line else []
        for currency in dict.fromkeys(row.owed_in for row in (*now, *before)):
            stated, owing = (sum((Decimal(row.amount) for row in rows if row.owed_in == currency), Decimal(0))
                             for rows in (before, now))
            if stated == owing:
                continue
            base = (now or before)[-1]
            yield replace(
                base, numbers=", ".join(filter(None, dict.fromkeys(row.numbers for row in now or before))),
                prints=sum(row.prints for row in now), price="", each="", owed_in=currency,
                amount=money.write_amount(owing - stated, currency),
                note=f"{_why(db, before, line_id, artist_id, now)}: stated {_shown(stated, currency)}, "
                     f"now {_shown(owing, currency)}")


def _shown(amount: Decimal, currency: str) -> str:
    return money.show_amount(money.write_amount(amount, currency), currency)


def _why(db: Database, before: Sequence[Row], line_id: int, artist_id: int, now: Sequence[Row]) -> str:
    """What happened to an order line since it was stated."""
    if now:
        return "corrected" if before else "recorded or printed after that statement"
    line = orders.line(db, line_id)
    if line is None:
        return "removed from the record"
    if pieces.get_piece(db, line.piece_id).artist_id != artist_id:
        return "the work is another artist's"
    return "moved to another day" if line.status in MADE else "cancelled, or not printed yet"


def _totals(rows: Sequence[Row]) -> tuple[Money, ...]:
    currencies = sorted({row.owed_in for row in rows})
    return tuple(Money(currency, money.write_amount(sum((Decimal(row.amount) for row in rows
                                                         if row.owed_in == currency), Decimal(0)), currency))
                 for currency in currencies)


def _nothing_agreed(artist: str, day: str = "") -> NotFound:
    when = f" for orders of {day}" if day else ""
    return NotFound(f"No terms are on record with {artist}{when}.",
                    hint=f"Record them with: catalogue artist terms {shell_word(artist)} --percent 40")


def _write(made: Statement) -> str:
    return json.dumps({"format": FORMAT} | asdict(made), ensure_ascii=False, sort_keys=True)


def _read(content: str) -> Statement:
    facts = json.loads(content)
    facts.pop("format")
    return Statement(**facts | {
        "terms": tuple(facts["terms"]), "totals": tuple(Money(**fields) for fields in facts["totals"]),
        **{name: tuple(Row(**fields) for fields in facts[name]) for name in ("rows", "corrections")}})
