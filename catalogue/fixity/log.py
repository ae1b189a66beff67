"""The event log's chain: proof that nothing in it was altered, and that its end is not lost.

A chain by itself cannot show that its last rows are gone. So its head is kept outside the database too: in a file
beside the catalogue, in the backups and in the manifests in the stores.
"""

import json
from dataclasses import dataclass

from catalogue.fixity.copying import write_atomically
from catalogue.records import events
from catalogue.records.database import Database
from catalogue.records.events import Event
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Head:
    """The last event: its number, time and chain value. Number 0 is an empty log."""

    id: int
    at: str
    chain: str


@dataclass(frozen=True, slots=True)
class LogCheck:
    """``broken`` events do not follow from the one before; ``lost`` says that a head kept outside is not in the log.

    ``backwards`` counts events whose time lies before their predecessor's: a clock that was set back, no tampering.
    """

    events: int
    head: Head
    broken: tuple[Event, ...]
    lost: str
    backwards: int

    @property
    def sound(self) -> bool:
        return not self.broken and not self.lost


def head(db: Database) -> Head:
    """The last event, or number 0 with the chain's start."""
    last = events.last(db)
    return Head(last.id, last.at, last.chain) if last else Head(0, "", events.START)


def keep_head(db: Database, home: Home) -> None:
    """Write the log's head beside the catalogue."""
    write_atomically(home.folder / "event-log.head", (json.dumps({"events": head(db).id, "chain": head(db).chain})
                                                      + "\n").encode())


def kept_head(home: Home) -> Head | None:
    """The head kept beside the catalogue; None when none was kept or it is unreadable."""
    try:
        values = json.loads((home.folder / "event-log.head").read_text(encoding="utf-8"))
        return Head(int(values["events"]), "", str(values["chain"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def verify(db: Database, home: Home, others: tuple[Head, ...] = ()) -> LogCheck:
    """Follow the chain from the first event to the last, and look for every head kept outside."""
    broken = tuple(events.broken_links(db))
    lost = ""
    for kept in (kept_head(home), *others):
        if kept is None or kept.id == 0:
            continue
        event = events.by_id(db, kept.id)
        if event is None:
            lost = f"event {kept.id} was written once and is gone"
        elif event.chain != kept.chain:
            lost = f"event {kept.id} is not the one that was written"
    return LogCheck(events.count(db), head(db), broken, lost, events.backwards(db))
