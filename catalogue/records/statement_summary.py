"""A statement in words, from the rows it changed: the order and line, and their values before and after."""

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from catalogue.records.numbers import Number, numbered, numbers_text
from catalogue.records.rows import Database, fetch_text

if TYPE_CHECKING:
    from catalogue.records.statements import Change, Row

NAMED_AT_MOST = 3   # rows of one table that are named one by one; more are counted
LONGEST = 40        # characters of a value
_COLUMNS = {"placed": "date", "width_mm": "width", "height_mm": "height", "border_mm": "border", "wrap_mm": "wrap",
            "scan_sha256": "scan", "piece_id": "piece"}
_HIDDEN = frozenset({"scan_name", "edition_id", "repeat_of"})    # follow from other columns
# What a stated row is called where the table's name would not do.
_ROWS = {"orders": "order", "handover": "handover", "edition_print": "numbered print",
         "order_number_known": "order number", "finding_accepted": "accepted finding", "likeness_verdict": "verdict",
         "artist_terms": "terms"}


def row_words(table: str) -> str:
    """A stated row as people call it, without its key: ``order line``."""
    return _ROWS.get(table) or table.removesuffix("_stated").replace("_", " ")


def summary(db: Database, changes: Sequence["Change"]) -> str:
    """``"order 2026-0007: buyer Ada Quill → Tomas Quill"``, ``"order 2026-0007 added; numbers 18, 24 issued"``."""
    tables = dict.fromkeys(change.table for change in changes)
    return "; ".join(part for table in tables
                     for part in _of_table(db, table, [c for c in changes if c.table == table], changes))


def _of_table(db: Database, table: str, rows: list["Change"], changes: Sequence["Change"]) -> Iterator[str]:
    if table == "edition_print":
        yield from _of_numbers(rows)
    elif table in ("orders", "order_line") and len(rows) <= NAMED_AT_MOST:
        yield from (f"{_name(db, row, changes)}{_fate(db, row)}" for row in rows)
    else:
        noun = row_words(table)
        for word, alike in groupby(sorted(rows, key=_verb), _verb):
            count = len(list(alike))
            yield f"{count} {noun}{'s' * (count != 1 and not noun.endswith('s'))} {word}"


def _of_numbers(rows: list["Change"]) -> Iterator[str]:
    def fate(change: "Change") -> str:
        return ("issued" if change.before is None else "freed" if change.after is None else
                str(change.after["state"]) if "state" in change.changed else "changed")

    for word, alike in groupby(sorted(rows, key=fate), fate):
        numbers = [Number(row["series"], row["number"]) for change in alike
                   if (row := change.after or change.before) is not None]
        yield f"{numbered(numbers_text(numbers))} {word}"


def _verb(change: "Change") -> str:
    return "added" if change.before is None else "removed" if change.after is None else "changed"


def _name(db: Database, change: "Change", changes: Sequence["Change"]) -> str:
    row = change.after or change.before or {}
    if change.table == "orders":
        return f"order {row['number']}"
    order_id = row["order_id"]
    inside = next((str((other.after or other.before or {}).get("number")) for other in changes
                   if other.table == "orders" and other.key == (order_id,)), "")
    number = inside or fetch_text(db, "SELECT number FROM orders WHERE id = ?", [order_id])
    return f"line {change.key[0]} of order {number or order_id}"


def _fate(db: Database, change: "Change") -> str:
    """``" added"``, or ``": quantity 2 → 3"``."""
    before, after = change.before, change.after
    if before is None or after is None:
        return f" {_verb(change)}"
    if change.table == "order_line" and "cancelled" in change.changed:
        return " cancelled" if after["cancelled"] else " no longer cancelled"
    return ": " + ", ".join(f"{_COLUMNS.get(name, name.replace('_', ' '))} {_shown(db, before, name)} → "
                            f"{_shown(db, after, name)}" for name in before if name in change.changed - _HIDDEN)


def _shown(db: Database, row: "Row", name: str) -> str:
    value = row.get(name)
    if name == "piece_id":
        value = fetch_text(db, "SELECT title FROM piece WHERE id = ?", [value]) or value
    text = f"{value:g}" if isinstance(value, float) else " ".join(str("" if value is None else value).split())
    text = text[:12] if name.endswith("sha256") else text
    return (text if len(text) <= LONGEST else text[:LONGEST - 1] + "…") or "none"
