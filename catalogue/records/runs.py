"""Run rows: one pass of indexing, audit or copying over a store."""

import json

from catalogue.records.rows import Database, insert, now


def start(db: Database, kind: str, store_id: int | None) -> int:
    return insert(db, "INSERT INTO run (kind, store_id, started) VALUES (?, ?, ?)", [kind, store_id, now()])


def end(db: Database, run_id: int, outcome: str, counts: dict[str, int]) -> None:
    """``outcome`` is ``finished``, ``cancelled`` or ``failed``."""
    db.execute("UPDATE run SET ended = ?, outcome = ?, counts = ? WHERE id = ?",
               [now(), outcome, json.dumps(counts), run_id])
