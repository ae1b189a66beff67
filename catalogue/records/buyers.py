"""Buyers: one for each name on orders, however it is spelt, with the name, contact and notes that were stated.

A buyer's key is a name folded by :func:`catalogue.records.folding.fold_name`. Stated facts, including which other
spellings are merged into a buyer, are in ``buyer_stated``; triggers derive ``order_buyer`` from it and from the orders.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from catalogue.records.database import Database, fetch, fetch_one
from catalogue.records.folding import fold_name
from catalogue.records.rows import fetch_text, insert_row, update_row


@dataclass(frozen=True, slots=True)
class Buyer:
    """``orders`` counts those that were not cancelled; ``last_order`` is the newest one's ISO date, or empty."""

    key: str
    name: str
    contact: str
    notes: str
    orders: int
    last_order: str


_KEYS = """SELECT buyer AS key FROM order_buyer WHERE buyer <> ''
           UNION SELECT key FROM buyer_stated WHERE joined_into IS NULL"""
_BUYER = """
    SELECT k.key, coalesce(s.name, (
               SELECT o.buyer FROM order_buyer b JOIN orders o ON o.id = b.order_id WHERE b.spelling = k.key
               ORDER BY o.placed DESC, o.id DESC LIMIT 1), k.key) AS name,
           coalesce(s.contact, '') AS contact, coalesce(s.notes, '') AS notes,
           (SELECT count(*) FROM order_buyer b JOIN orders o ON o.id = b.order_id
            WHERE b.buyer = k.key AND o.status <> 'cancelled') AS orders,
           coalesce((SELECT max(o.placed) FROM order_buyer b JOIN orders o ON o.id = b.order_id
                     WHERE b.buyer = k.key), '') AS last_order
    FROM ({keys}) k LEFT JOIN buyer_stated s ON s.key = k.key"""


def listed(db: Database, after: str = "", limit: int = -1) -> list[Buyer]:
    """Buyers by key, from ``after`` (a key, exclusive) on; at most ``limit``, -1 for all of them."""
    keys = f"SELECT key FROM ({_KEYS}) WHERE key > ? ORDER BY key LIMIT ?"
    return fetch(db, Buyer, _BUYER.format(keys=keys) + " ORDER BY k.key", [after, limit])


def matching(db: Database, words: str, limit: int = 20) -> list[Buyer]:
    """Buyers with a spelling or name of exactly these words; if there are none, those that contain them."""
    key = fold_name(words)
    if not key:
        return []
    spellings = """SELECT spelling, buyer FROM order_buyer WHERE spelling <> '' UNION
                   SELECT key, coalesce(joined_into, key) FROM buyer_stated UNION
                   SELECT folded(name), key FROM buyer_stated WHERE name IS NOT NULL"""
    for test in ("spelling = ?", "instr(spelling, ?)"):
        keys = [str(row[0]) for row in db.execute(
            f"SELECT DISTINCT buyer FROM ({spellings}) WHERE {test} ORDER BY buyer LIMIT ?", [key, limit])]
        if keys:
            return [buyer for matching_key in keys if (buyer := by_key(db, matching_key))]
    return []


def by_key(db: Database, key: str) -> Buyer | None:
    """The buyer with that key; None if no order or statement has it, or if it is a spelling of another buyer."""
    return fetch_one(db, Buyer, _BUYER.format(keys=f"SELECT key FROM ({_KEYS}) WHERE key = ?"), [key])


def key_of(db: Database, name: str) -> str:
    """The key of the buyer meant by a name on an order, known or not; "" for no name."""
    spelling = fold_name(name)
    return fetch_text(db, "SELECT joined_into FROM buyer_stated WHERE key = ?", [spelling]) or spelling


def spellings(db: Database, key: str) -> list[str]:
    """How the orders of a buyer spell the name, as written, most used first."""
    return [str(row[0]) for row in db.execute(
        """SELECT o.buyer FROM order_buyer b JOIN orders o ON o.id = b.order_id WHERE b.buyer = ?
           GROUP BY o.buyer ORDER BY count(*) DESC, o.buyer""", [key])]


def stated(db: Database, key: str) -> dict[str, object] | None:
    """The row of what a person stated about a spelling."""
    row = db.execute("SELECT * FROM buyer_stated WHERE key = ?", [key]).fetchone()
    return None if row is None else dict(row)


def state(db: Database, key: str, values: Mapping[str, object]) -> None:
    """Keep what a person says: any of name, contact, notes and joined_into. Call within a transaction."""
    row = stated(db, key)
    if row is None:
        insert_row(db, "buyer_stated",
                   {"key": key, "name": None, "contact": "", "notes": "", "joined_into": None, **values})
    elif changed := {name: value for name, value in values.items() if row[name] != value}:
        update_row(db, "buyer_stated", changed, {"key": key})


def joined(db: Database, key: str) -> list[str]:
    """Keys of the spellings that a person merged into a buyer."""
    return [str(row[0]) for row in db.execute("SELECT key FROM buyer_stated WHERE joined_into = ? ORDER BY key", [key])]
