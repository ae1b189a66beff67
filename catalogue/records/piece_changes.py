"""Merges and splits made before there was a log of statements: listed, and undone once more as they were kept then.

Newer ones are statements in the event log (``records.history``).
"""

import json
from dataclasses import dataclass
from typing import Any

from catalogue.errors import GONE, Refused
from catalogue.records import stated_facts
from catalogue.records.rows import Database, fetch, fetch_one, now
from catalogue.records.transactions import recompute, transaction


@dataclass(frozen=True, slots=True)
class PieceChange:
    """One merge or split. ``before`` is JSON: the pieces' rows as they were and what moved: table, column, rowids."""

    id: int
    at: str
    kind: str
    detail: str
    before: str
    undone: str | None


def by_id(db: Database, change_id: int) -> PieceChange | None:
    """The older change of that id; None if there is none."""
    return fetch_one(db, PieceChange, "SELECT * FROM piece_change WHERE id = ?", [change_id])


def recent(db: Database, limit: int = 20) -> list[PieceChange]:
    """Merges and splits, newest first."""
    return fetch(db, PieceChange, "SELECT * FROM piece_change ORDER BY id DESC LIMIT ?", [limit])


def later(db: Database, change: PieceChange) -> list[PieceChange]:
    """Changes made after this one, not undone, that touch one of its pieces."""
    mine = _touched(change)
    return [c for c in fetch(db, PieceChange, "SELECT * FROM piece_change WHERE id > ? AND undone IS NULL", [change.id])
            if _touched(c) & mine]


def undo(db: Database, change: PieceChange) -> None:
    """Put the pieces back as they were kept then; what was stated since stays.

    Raises Refused if the artist of the piece is gone.
    """
    before = json.loads(change.before)
    with transaction(db, f"undone: {change.kind} {change.detail}"):
        for row in before["pieces"]:
            if row["id"] == before.get("removed"):
                _state_as_it_was(db, row)
        recompute(db)  # the piece must be there again before a line can refer to it
        for moved in before["moved"]:
            for rowid in moved["rowids"]:
                _move_back(db, moved, rowid)
        made = before.get("made")
        if made is not None and not stated_facts.is_referred_to(db, int(made)):
            db.execute("DELETE FROM piece_stated WHERE piece_id = ?", [made])
        recompute(db)
        db.execute("UPDATE piece_change SET undone = ? WHERE id = ?", [now(), change.id])


def _state_as_it_was(db: Database, row: dict[str, Any]) -> None:
    artist = db.execute("SELECT name, key FROM artist WHERE id = ?", [row["artist_id"]]).fetchone()
    if artist is None:
        raise Refused(f"The artist of {row['title']!r} {GONE}.",
                      hint="Split the scans off under the artist they belong to: catalogue piece split.")
    chosen = db.execute("SELECT sha256 FROM scan WHERE id = ?", [row["current_scan_id"]]).fetchone()
    stated_facts.state_new_piece(
        db, int(row["id"]), (artist[0], artist[1], row["title"], row["key"]),
        {"artist_id": row["artist_id"], "title": row["title"],
         **{name: row[name] for name in ("year", "series", "inventory_number", "width_mm", "height_mm", "relief_mm",
                                         "notes") if row[name] not in (None, "")},
         "current_sha256": chosen[0] if chosen and row["current_source"] == "person" else None})


def _move_back(db: Database, moved: dict[str, Any], rowid: int) -> None:
    if moved["table"] == "scan":
        row = db.execute("SELECT sha256 FROM scan WHERE id = ?", [rowid]).fetchone()
        if row is not None:
            stated_facts.state_scan(db, str(row[0]), {"piece_id": int(moved["from"])}, pin=False)
    else:
        db.execute(f"UPDATE {moved['table']} SET {moved['column']} = ? WHERE rowid = ?", [moved["from"], rowid])


def _touched(change: PieceChange) -> set[int]:
    before = json.loads(change.before)
    made = {int(before["made"])} if "made" in before else set()
    return {int(row["id"]) for row in before["pieces"]} | made
