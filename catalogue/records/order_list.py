"""The list of order lines: filtered, sorted, a page at a time, and what all that fit amount to."""

from dataclasses import dataclass
from decimal import Decimal

from catalogue.money import exact_amount
from catalogue.records.database import Database
from catalogue.records.folding import separated
from catalogue.records.order_states import LINE_CANCELLED, LINE_STATUS, PARTLY
from catalogue.records.orders import PARTLY_COLLECTED, SELECT_LINE, Line, find_by_number, line_of
from catalogue.records.rows import fetch_int

Value = str | float


@dataclass(frozen=True, slots=True)
class OrderFilter:
    """Which order lines: all that is given must hold. ``first`` and ``last`` are ISO dates, both within.

    ``buyer`` is a buyer's key (:mod:`catalogue.records.buyers`), ``medium`` stands anywhere in the line's medium, and
    each of the ``words`` begins a word of its artist, title, buyer, medium, size, number or notes; words that are an
    order's number mean that order. ``statuses`` are statuses of a line, or ``PARTLY_COLLECTED``.
    """

    first: str = ""
    last: str = ""
    artist_id: int | None = None
    piece_id: int | None = None
    buyer: str = ""
    statuses: tuple[str, ...] = ()
    medium: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class ListedLine:
    """A line with its buyer's key and name. ``position`` is where it stands in the list, for the page beyond it."""

    line: Line
    buyer_key: str
    buyer: str
    position: tuple[Value, int]


@dataclass(frozen=True, slots=True)
class Money:
    """Decimal text in one currency."""

    currency: str
    amount: str


@dataclass(frozen=True, slots=True)
class OrderSums:
    """Totals of all matching lines without cancelled ones: orders, lines, prints, and money by currency.

    ``unpriced`` counts lines without a price; ``cancelled`` counts cancelled lines, which no other total includes.
    """

    orders: int
    lines: int
    prints: int
    money: tuple[Money, ...]
    unpriced: int
    cancelled: int


# What a list can be sorted by. Within equals the line's id decides.
SORTS = {
    "date": "o.placed", "number": "o.number", "artist": "a.key", "piece": "p.key", "buyer": "b.buyer",
    "medium": "l.medium", "quantity": "l.quantity", "price": "CAST(l.price AS REAL)",
    "status": f"""CASE {LINE_STATUS} WHEN 'requested' THEN 0 WHEN 'approved' THEN 1 WHEN 'printed' THEN 2
                  WHEN 'collected' THEN 3 ELSE 4 END"""}
DESCENDING = frozenset({"date", "number", "quantity", "price"})     # their usual direction
_WORDS = f"""searchable(o.number || ' ' || o.placed || ' ' || o.buyer || ' ' || o.notes || ' ' || a.name || ' '
    || p.title || ' ' || l.medium || ' ' || l.notes || ' ' || {"|| 'x' ||".join(
        f"CAST(round(l.{side}_mm / 10) AS INTEGER)" for side in ("width", "height"))} || ' ' || {"|| 'x' ||".join(
        f"CAST(round(l.{side}_mm / 10) AS INTEGER)" for side in ("height", "width"))})"""

_HAS_WORD = f"instr(' ' || {_WORDS}, ?)"


def page(db: Database, wanted: OrderFilter, *, sort: str = "date", descending: bool | None = None,
         beyond: tuple[Value, int] | None = None, limit: int = 200, forward: bool = True) -> list[ListedLine]:
    """Lines that fit, from beyond a line's ``position`` on; with ``forward`` false those before it, in the same order.

    ``descending`` None is the sort's usual direction.
    """
    by = SORTS[sort]
    down = (sort in DESCENDING if descending is None else descending) == forward
    where, values = _where(db, wanted)
    if beyond is not None:
        where, values = f"{where} AND ({by}, l.id) {'<' if down else '>'} (?, ?)", [*values, *beyond]
    direction = "DESC" if down else "ASC"
    rows = db.execute(f"""
        SELECT l.id, {by}, b.buyer, coalesce((SELECT name FROM buyer_stated s WHERE s.key = b.buyer), o.buyer)
        FROM {_source(wanted, sort)} WHERE {where} ORDER BY {by} {direction}, l.id {direction} LIMIT ?""",
                      [*values, limit]).fetchall()
    ids = ", ".join(str(row[0]) for row in rows) or "NULL"
    lines = {row["id"]: line_of(row) for row in db.execute(f"{SELECT_LINE} WHERE l.id IN ({ids})")}
    listed = [ListedLine(lines[row[0]], row[2], row[3], (row[1], row[0])) for row in rows]
    return listed if forward else listed[::-1]


def sums(db: Database, wanted: OrderFilter) -> OrderSums:
    """What all lines that fit amount to. Money is added exactly, as decimals."""
    where, values = _where(db, wanted)
    source = _source(wanted)
    money: dict[str, list[Decimal]] = {}
    lines = prints = unpriced = cancelled = 0
    for currency, price, status, count, quantity in db.execute(f"""
            SELECT o.currency, l.price, {LINE_CANCELLED}, count(*), sum(l.quantity)
            FROM {source} WHERE {where} GROUP BY 1, 2, 3""", values):
        if status:
            cancelled += count
            continue
        lines, prints = lines + count, prints + quantity
        if price:
            money.setdefault(currency, []).append(count * Decimal(price))
        else:
            unpriced += count
    orders = fetch_int(db, f"""SELECT count(DISTINCT l.order_id) FROM {source} WHERE {where}
                               AND NOT {LINE_CANCELLED}""", values)
    return OrderSums(orders, lines, prints, tuple(Money(currency, exact_amount(sum(amounts, Decimal(0)), currency))
                                                  for currency, amounts in sorted(money.items())), unpriced, cancelled)


def _source(wanted: OrderFilter, sort: str = "") -> str:
    """The tables; along the orders' dates where that is the list's order, or all that narrows it. Without a ``sort``,
    for sums, none that only say what is listed."""
    by_piece = wanted.artist_id is not None or wanted.piece_id is not None
    along = (sort == "date" or wanted.first or wanted.last) and not (wanted.buyer or by_piece)
    tables = f"orders o {'CROSS ' if along else ''}JOIN order_line l ON l.order_id = o.id"
    if sort or wanted.buyer:
        tables += " JOIN order_buyer b ON b.order_id = o.id"
    if sort or by_piece or wanted.words:
        tables += " JOIN piece p ON p.id = l.piece_id JOIN artist a ON a.id = p.artist_id"
    return tables


def _where(db: Database, wanted: OrderFilter) -> tuple[str, list[object]]:
    tests: list[str] = ["1"]
    values: list[object] = []

    def add(test: str, *given: object) -> None:
        tests.append(test)
        values.extend(given)

    for test, value in (
            ("o.placed >= ?", wanted.first),
            ("o.placed < ? || 'U'", wanted.last),   # a time of the day, which an older record may have, sorts before it
            ("p.artist_id = ?", wanted.artist_id), ("p.id = ?", wanted.piece_id), ("b.buyer = ?", wanted.buyer),
            ("instr(folded(l.medium), folded(?))", wanted.medium)):
        if value not in ("", None):
            add(test, value)
    if wanted.statuses:
        partly = f" OR {PARTLY}" * (PARTLY_COLLECTED in wanted.statuses)
        add(f"({LINE_STATUS} IN ({', '.join('?' * len(wanted.statuses))}){partly})", *wanted.statuses)
    order = wanted.words and (find_by_number(db, wanted.words) or find_by_number(db, wanted.words.upper()))
    if order:   # "N-1" is that order, not every line with a word in n and one in 1
        add("o.id = ?", order.id)
    elif wanted.words:
        from catalogue.records import search  # not needed for the whole list

        terms = search.corrected_terms(db, wanted.words)
        add("+o.id IN (SELECT rowid FROM order_words WHERE order_words MATCH ?)", search.match_query(terms, "*"))
        # the index is of whole orders: where one has several lines, each line is looked at
        only_line = "NOT EXISTS (SELECT 1 FROM order_line other WHERE other.order_id = o.id AND other.id <> l.id)"
        for term in terms:
            add(f"({only_line} OR {' OR '.join([_HAS_WORD] * len(term))})", *(f" {separated(word)}" for word in term))
    return " AND ".join(tests), values
