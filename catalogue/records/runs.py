"""Run rows: one pass of indexing, audit or copying over a store."""

import json

from catalogue.records.rows import Database, insert_row, now


def start(db: Database, kind: str, store_id: int | None) -> int:
    """Note that a run begins; returns its id."""
    return insert_row(db, "run", {"kind": kind, "store_id": store_id, "started": now()})


def end(db: Database, run_id: int, outcome: str, counts: dict[str, int]) -> None:
    """``outcome`` is ``finished``, ``cancelled`` or ``failed``."""
    db.execute("UPDATE run SET ended = ?, outcome = ?, counts = ? WHERE id = ?",
               [now(), outcome, json.dumps(counts), run_id])
