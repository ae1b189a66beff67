"""Merging and splitting pieces, with everything needed to undo it."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from catalogue.records.database import Database, fetch, fetch_one, inserted, now


@dataclass(frozen=True, slots=True)
class PieceChange:
    """One merge or split. ``before`` is JSON: the pieces' rows as they were and what moved: table, column, rowids."""

    id: int
    at: str
    kind: str
    detail: str
    before: str
    undone: str | None


def merge(db: Database, keep: int, gone: int, detail: str) -> int:
    """Move everything that refers to one piece to another and remove the emptied one; gives the change's id.

    Call within a transaction.
    """
    moved: list[dict[str, Any]] = []
    before: dict[str, Any] = {"pieces": [_row(db, keep), _row(db, gone)], "moved": moved, "removed": gone}
    for table, column in _referrers(db):
        rowids = [int(r[0]) for r in db.execute(f"SELECT rowid FROM {table} WHERE {column} = ?", [gone])]
        if rowids:
            moved.append({"table": table, "column": column, "rowids": rowids, "from": gone})
            db.execute(f"UPDATE {table} SET {column} = ? WHERE {column} = ?", [keep, gone])
    before["sources"] = _sources(db, moved)
    db.execute("DELETE FROM piece WHERE id = ?", [gone])
    return _record(db, "merge", detail, before)


def split(db: Database, piece_id: int, scan_ids: Sequence[int], new_piece_id: int, detail: str) -> int:
    """Move scans from one piece to another that was made for them; gives the change's id. Within a transaction."""
    moved = [{"table": "scan", "column": "piece_id", "rowids": list(scan_ids), "from": piece_id}]
    before = {"pieces": [_row(db, piece_id)], "moved": moved, "made": new_piece_id, "sources": _sources(db, moved)}
    for scan_id in scan_ids:
        db.execute("UPDATE scan SET piece_id = ?, piece_source = 'person' WHERE id = ?", [new_piece_id, scan_id])
    db.execute("UPDATE piece SET current_scan_id = NULL, current_source = 'proposed' WHERE id = ? AND current_scan_id"
               f" IN ({', '.join('?' * len(scan_ids))})", [piece_id, *scan_ids])
    return _record(db, "split", detail, before)


def undo(db: Database, change: PieceChange) -> None:
    """Put the rows back as they were. Within a transaction; rows added since stay where they are."""
    before = json.loads(change.before)
    gone = before.get("removed")
    for row in before["pieces"]:
        if row["id"] == gone:
            names = ", ".join(row)
            db.execute(f"INSERT INTO piece ({names}) VALUES ({', '.join('?' * len(row))})", list(row.values()))
    for moved in before["moved"]:
        db.conn.executemany(f"UPDATE {moved['table']} SET {moved['column']} = ? WHERE rowid = ?",
                            [(moved["from"], rowid) for rowid in moved["rowids"]])
    db.conn.executemany("UPDATE scan SET piece_source = ? WHERE id = ?",
                        [(source, int(scan)) for scan, source in before["sources"].items()])
    for row in before["pieces"]:
        db.execute("UPDATE piece SET current_scan_id = ?, current_source = ? WHERE id = ?",
                   [row["current_scan_id"], row["current_source"], row["id"]])
    db.execute("UPDATE piece_change SET undone = ? WHERE id = ?", [now(), change.id])


def remove_if_empty(db: Database, piece_id: int) -> bool:
    """Remove a piece nothing refers to; says whether it did."""
    if any(db.execute(f"SELECT 1 FROM {table} WHERE {column} = ? LIMIT 1", [piece_id]).fetchone()
           for table, column in _referrers(db)):
        return False
    db.execute("DELETE FROM piece WHERE id = ?", [piece_id])
    return True


def by_id(db: Database, change_id: int) -> PieceChange | None:
    return fetch_one(db, PieceChange, "SELECT * FROM piece_change WHERE id = ?", [change_id])


def recent(db: Database, limit: int = 20) -> list[PieceChange]:
    """Merges and splits, newest first."""
    return fetch(db, PieceChange, "SELECT * FROM piece_change ORDER BY id DESC LIMIT ?", [limit])


def later(db: Database, change: PieceChange) -> list[PieceChange]:
    """Changes made after this one, not undone, that touch one of its pieces."""
    mine = _touched(change)
    return [c for c in fetch(db, PieceChange, "SELECT * FROM piece_change WHERE id > ? AND undone IS NULL", [change.id])
            if _touched(c) & mine]


def made_by(change: PieceChange) -> int | None:
    """The piece a split made."""
    made = json.loads(change.before).get("made")
    return int(made) if made is not None else None


def _touched(change: PieceChange) -> set[int]:
    before = json.loads(change.before)
    made = {int(before["made"])} if "made" in before else set()
    return {int(row["id"]) for row in before["pieces"]} | made


def _row(db: Database, piece_id: int) -> dict[str, Any]:
    return dict(db.execute("SELECT * FROM piece WHERE id = ?", [piece_id]).fetchone())


def _sources(db: Database, moved: list[dict[str, Any]]) -> dict[int, str]:
    scans = [rowid for m in moved if m["table"] == "scan" for rowid in m["rowids"]]
    return {s: str(db.execute("SELECT piece_source FROM scan WHERE id = ?", [s]).fetchone()[0]) for s in scans}


def _referrers(db: Database) -> list[tuple[str, str]]:
    """Every table and column that refers to a piece, so that a table added later is not forgotten."""
    tables = [str(r[0]) for r in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")]
    return [(table, str(key["from"])) for table in tables
            for key in db.execute(f"SELECT * FROM pragma_foreign_key_list('{table}')") if key["table"] == "piece"]


def _record(db: Database, kind: str, detail: str, before: dict[str, Any]) -> int:
    return inserted(db, "INSERT INTO piece_change (at, kind, detail, before) VALUES (?, ?, ?, ?)",
                    [now(), kind, detail, json.dumps(before)])
