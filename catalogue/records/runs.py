"""Run rows: one pass of indexing, audit or copying over a store."""

import json
from dataclasses import dataclass

from catalogue.records.rows import Database, fetch, insert, now


@dataclass(frozen=True, slots=True)
class Run:
    id: int
    kind: str
    store_id: int | None
    started: str
    ended: str | None
    outcome: str
    counts: str


def start(db: Database, kind: str, store_id: int | None) -> int:
    return insert(db, "INSERT INTO run (kind, store_id, started) VALUES (?, ?, ?)", [kind, store_id, now()])


def end(db: Database, run_id: int, outcome: str, counts: dict[str, int]) -> None:
    """``outcome`` is ``finished``, ``cancelled`` or ``failed``."""
    db.execute("UPDATE run SET ended = ?, outcome = ?, counts = ? WHERE id = ?",
               [now(), outcome, json.dumps(counts), run_id])


def recent(db: Database, kind: str | None = None, limit: int = 20) -> list[Run]:
    """Newest first."""
    return fetch(db, Run, "SELECT * FROM run WHERE ?1 IS NULL OR kind = ?1 ORDER BY id DESC LIMIT ?2", [kind, limit])
