"""The data behind statements to artists: agreed terms, prints of a period, and statements as issued."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass

from catalogue.records.database import Database, fetch
from catalogue.records.order_states import LINE_STATUS
from catalogue.records.orders import MADE, Line, lines_where
from catalogue.records.rows import insert_row, save_row

BASES = ("percentage", "fixed", "none")


@dataclass(frozen=True, slots=True)
class Terms:
    """What is agreed with an artist for orders from ``since`` (ISO date, empty: from the beginning) on.

    ``rate`` is decimal text: per cent of a print's price with basis ``percentage``, an amount in ``currency`` for each
    print with ``fixed``. ``destroyed``, ``replaced`` and ``proofs`` are 1 where something is owed for prints destroyed
    since, for prints made in place of destroyed ones, and for artist's proofs.
    """

    artist_id: int
    since: str
    basis: str
    rate: str
    currency: str
    destroyed: int
    replaced: int
    proofs: int


@dataclass(frozen=True, slots=True)
class SoldPrint:
    """A print under an edition number that a line took. ``destroyed`` is an ISO date, or empty."""

    line_id: int
    series: str
    number: int
    nth: int
    destroyed: str
    size_limit: int


_IDS = """WITH RECURSIVE same (id) AS (VALUES (?1) UNION
          SELECT s.artist_id FROM artist_stated s JOIN same ON s.joined_into = same.id)"""


def terms_of(db: Database, artist_id: int) -> list[Terms]:
    """An artist's terms, the earliest first; those of an artist merged into this one if there are none of their own."""
    rows = fetch(db, Terms, f"""{_IDS} SELECT * FROM artist_terms WHERE artist_id IN same
                                 ORDER BY artist_id <> ?1, artist_id, since""", [artist_id])
    return [terms for terms in rows if terms.artist_id == rows[0].artist_id]


def state_terms(db: Database, terms: Terms) -> None:
    """Keep terms; those of the same day are corrected."""
    values = asdict(terms)
    save_row(db, "artist_terms", {name: values.pop(name) for name in ("artist_id", "since")}, values)


def sold(db: Database, artist_id: int, first: str, last: str) -> list[Line]:
    """Lines of an artist's works ordered in a period and made, oldest first."""
    return lines_where(db, f""" WHERE p.artist_id = ? AND o.placed >= ? AND o.placed < ? || 'U' AND
        {LINE_STATUS} IN {MADE} ORDER BY o.placed, o.id, l.id""", [artist_id, first, last])


def numbered_prints(db: Database, line_id: int) -> list[SoldPrint]:
    """Prints of a line that have an edition number: numbers first, then proofs."""
    return fetch(db, SoldPrint, """
        SELECT n.line_id, n.series, n.number, n.nth, n.destroyed,
               CASE n.series WHEN 'number' THEN e.size_limit ELSE e.proofs END AS size_limit
        FROM edition_print n JOIN edition e ON e.id = n.edition_id WHERE n.line_id = ? AND n.state <> 'reserved'
        ORDER BY n.series, n.number, n.nth""", [line_id])


def issued(db: Database, artist_id: int) -> list[str]:
    """Statements issued to an artist, and to those merged into them, as JSON in the order of issue."""
    return [str(row[0]) for row in db.execute(
        f"{_IDS} SELECT content FROM artist_statement WHERE artist_id IN same ORDER BY id", [artist_id])]


def keep_issued(db: Database, statement: Mapping[str, object]) -> int:
    """Keep a statement as issued: ``artist_id``, ``first``, ``last``, ``issued`` and its ``content``; returns its
    id."""
    return insert_row(db, "artist_statement", statement)
