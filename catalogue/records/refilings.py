"""Guesses saved before scans are guessed again, so that a refiling can be undone."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from catalogue.records import stated_facts
from catalogue.records.rows import Database, insert_row, now

_GUESS = ("scan_id", "artist", "artist_key", "title", "title_key", "year", "number", "role", "reason", "upgraded",
          "series")
DONE, UNDONE = "refiled by the place rules", "refiling undone"  # what events say of it
Snapshot = dict[str, Any]    # lists of rows, and of the place rules in force before


@dataclass(frozen=True, slots=True)
class Filing:
    """How a scan is filed: ``Artist: Title`` or empty, and its role."""

    name: str
    role: str


def filings_of(db: Database, scan_ids: Iterable[int]) -> dict[int, Filing]:
    """How scans are filed, by id."""
    wanted = set(scan_ids)
    return {int(row[0]): Filing(str(row[1]), str(row[2])) for row in db.execute("""
        SELECT c.id, coalesce(a.name || ': ' || p.title, ''), c.role FROM scan c
        LEFT JOIN piece p ON p.id = c.piece_id LEFT JOIN artist a ON a.id = p.artist_id""") if row[0] in wanted}


def snapshot(db: Database, scan_ids: Iterable[int], rules: Sequence[str] | None = None) -> Snapshot:
    """The guesses of scans, and the names by which pieces are known, as they are; with the ``rules`` that gave them."""
    wanted = set(scan_ids)
    return {
        "rules": rules,
        "guesses": [dict(row) for row in db.execute(f"SELECT {', '.join(_GUESS)} FROM scan_guess")
                    if row["scan_id"] in wanted],
        "known": [dict(row) for row in db.execute("SELECT piece_id, known_artist, known_title FROM piece_stated")]}


def save(db: Database, state: Snapshot) -> int:
    """Keep what was remembered; returns the refiling's id."""
    return insert_row(db, "refiling", {"at": now(), "before": json.dumps(state)})


def rules_before_last(db: Database) -> list[str] | None:
    """The place rules before the last refiling that still stands; None if they were not changed with it."""
    last = _last_standing(db)
    return None if last is None else last[1].get("rules")


def undo_last(db: Database) -> int | None:
    """Put the guesses of the last refiling back; returns of how many scans, None if there is none to take back."""
    last = _last_standing(db)
    if last is None:
        return None
    refiling_id, state = last
    for known in state["known"]:
        stated_facts.set_known_names(db, known["piece_id"], known["known_artist"], known["known_title"])
    names = ", ".join(f"{name} = :{name}" for name in _GUESS[1:])
    for guess in state["guesses"]:
        guess.setdefault("series", "")  # kept before there were guessed series
        db.execute(f"UPDATE scan_guess SET {names} WHERE scan_id = :scan_id", guess)
    db.execute("UPDATE refiling SET undone = ? WHERE id = ?", [now(), refiling_id])
    return len(state["guesses"])


def _last_standing(db: Database) -> tuple[int, Snapshot] | None:
    """Id of the last refiling that was not taken back, and what was kept for it."""
    row = db.execute("SELECT id, before FROM refiling WHERE undone IS NULL ORDER BY id DESC LIMIT 1").fetchone()
    return None if row is None else (int(row[0]), json.loads(row[1]))
