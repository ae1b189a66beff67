"""The event log: PREMIS 3 event types, append-only, each row chained to the one before."""

import getpass
import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from catalogue import __version__
from catalogue.records.rows import Database, fetch_int, fetch_one, now

# PREMIS 3 eventType vocabulary, id.loc.gov; the ones this program writes.
TYPES = ("capture", "creation", "deletion", "filename change", "fixity check", "ingestion",
         "message digest calculation", "metadata extraction", "metadata modification", "migration", "quarantine",
         "recovery", "replication", "transfer", "validation")
START = "0" * 64


@dataclass(frozen=True, slots=True)
class Event:
    id: int
    at: str
    type: str
    outcome: str
    agent: str
    store: str
    path: str
    sha256: str
    detail: str
    chain: str
    change: str = ""    # row changes as records.statements packs them; empty if nothing was stated

    @property
    def facts(self) -> list[str]:
        """What the chain value covers; ``change`` only where there is one, as before there were any."""
        return [self.at, self.type, self.outcome, self.agent, self.store, self.path, self.sha256, self.detail,
                *filter(None, [self.change])]


@cache
def agent() -> str:
    """The person and program version, as recorded in events."""
    try:
        person = getpass.getuser()
    except (OSError, KeyError):  # no such account on this machine, as in a bare container
        person = "unknown person"
    return f"{person}, master-scan-catalogue {__version__}"


def append(db: Database, type_: str, outcome: str, *, store: str = "", path: str = "", sha256: str = "",
           detail: str = "", change: str = "", above: int = 0) -> None:
    """Add one event; call within a transaction, so that the chain is read and written as one step.

    Its id is above ``above``: after a recovery, that of the last event known to be lost.
    """
    if type_ not in TYPES:
        raise ValueError(f"{type_!r} is not in the event vocabulary")
    last = db.execute("SELECT chain, id FROM event ORDER BY id DESC LIMIT 1").fetchone()
    facts = [now(), type_, outcome, agent(), store, path, sha256, detail]
    covered = [*facts, change] if change else facts
    db.execute("INSERT INTO event (id, at, type, outcome, agent, store, path, sha256, detail, change, chain)"
               " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
               [max(above, last[1] if last else 0) + 1, *facts, change, linked(last[0] if last else START, covered)])


def linked(previous: str, facts: list[str]) -> str:
    """The next chain value: SHA-256 of the previous one and the event's facts as a JSON array."""
    return hashlib.sha256((previous + json.dumps(facts, ensure_ascii=False)).encode()).hexdigest()


def broken_links(db: Database) -> Iterator[Event]:
    """Events whose chain value does not follow from the previous row: it was altered, or a row before it is missing."""
    previous = START
    for row in db.execute("SELECT * FROM event ORDER BY id"):
        event = Event(**dict(row))
        if event.chain != linked(previous, event.facts):
            yield event
        previous = event.chain


def paths_set_aside(db: Database, store: str) -> list[str]:
    """Paths of pictures that, or a sidecar of which, were replaced and kept under another name."""
    return [str(row[0]) for row in db.execute(
        "SELECT DISTINCT path FROM event WHERE type = 'quarantine' AND outcome = 'success' AND store = ?", [store])]


def last(db: Database) -> Event | None:
    """The newest event; None while there is none."""
    return fetch_one(db, Event, "SELECT * FROM event ORDER BY id DESC LIMIT 1")


def by_id(db: Database, event_id: int) -> Event | None:
    """The event of that id; None if there is none."""
    return fetch_one(db, Event, "SELECT * FROM event WHERE id = ?", [event_id])


def count(db: Database) -> int:
    """How many events the log holds."""
    return fetch_int(db, "SELECT count(*) FROM event")


def backwards(db: Database) -> int:
    """The number of events dated earlier than the one before them: the clock was set back."""
    return fetch_int(db, "SELECT count(*) FROM event e JOIN event p ON p.id = e.id - 1 WHERE e.at < p.at")
