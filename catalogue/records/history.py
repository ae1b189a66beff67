"""What was stated, newest first, and which of it may be undone."""

import re
import sqlite3
from dataclasses import dataclass

from catalogue.records import refilings
from catalogue.records.rows import Database

_UNDOING = re.compile(r"event (\d+) undone")


@dataclass(frozen=True, slots=True)
class Statement:
    """One logged transaction of a person's: ``undone_by`` is the later event that took it back, if any; ``undoes`` the
    earlier one that this takes back."""

    id: int
    at: str
    agent: str
    detail: str
    undone_by: int | None = None
    undoes: int | None = None


def last_standing(db: Database) -> int | None:
    """The newest statement that was not undone and undoes none; None if there is none."""
    return next((s.id for s in statements(db, -1) if s.undone_by is None and s.undoes is None), None)


def statements(db: Database, limit: int = 30) -> list[Statement]:
    """Statements, newest first; all of them with a ``limit`` of -1."""
    rows = db.execute("""SELECT id, at, agent, detail FROM event
                         WHERE change <> '' AND type <> 'migration' ORDER BY id DESC LIMIT ?""", [limit]).fetchall()
    refiled = _refilings_undone(rows)
    undone: dict[int, int] = {}
    listed = []
    for row in rows:
        match = _UNDOING.match(row["detail"])
        undoes = int(match[1]) if match else refiled.get(row["id"])
        if undoes is not None and row["id"] not in undone:
            undone[undoes] = row["id"]
        listed.append(Statement(row["id"], row["at"], row["agent"], row["detail"], undone.get(row["id"]), undoes))
    return listed


def _refilings_undone(rows: list[sqlite3.Row]) -> dict[int, int | None]:
    """For each event that took a refiling back the one it took back; None if that lies before these rows."""
    waiting: list[int] = []
    undone: dict[int, int | None] = {}
    for row in rows:
        if row["detail"] == refilings.UNDONE:
            waiting.append(row["id"])
            undone[row["id"]] = None
        elif row["detail"] == refilings.DONE and waiting:
            undone[waiting.pop()] = row["id"]
    return undone
