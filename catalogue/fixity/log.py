"""The event log's chain: proof that nothing in it was altered and that its end is not missing.

A chain alone cannot show that its last rows are gone, so its head is also kept outside the database: in a file beside
the catalogue, in the backups and in the manifests in the stores.
"""

import json
from dataclasses import dataclass, replace

from catalogue.records import events, journal, salvage
from catalogue.records.database import Database, transaction
from catalogue.records.events import Event
from catalogue.records.replay import differences
from catalogue.settings import Home
from catalogue.storage.atomic import write_atomically
from catalogue.untrusted import MARKER_BYTES, read_regular

HEAD_NAME = "event-log.head"
REVIEWED = "event log reviewed"
MOST_NOTED = 20     # differences named in the event itself


@dataclass(frozen=True, slots=True)
class Head:
    """The last event: its number, time and chain value. Number 0 is an empty log."""

    id: int
    at: str
    chain: str


@dataclass(frozen=True, slots=True)
class LogCheck:
    """``broken`` events do not follow from the one before; ``lost`` says that a head kept outside is not in the log.

    ``backwards`` counts events dated earlier than their predecessor: the clock was set back, which is not tampering.
    Only :func:`review` looks for these, both in words: ``differences`` are stated rows that are not what the log says
    of them, ``journal`` what is wrong with the journal beside the catalogue; ``journal_damaged``: lines of it cannot be
    used. ``passed_over`` are manifests that might have known another head and could not be read, in words.
    """

    events: int
    head: Head
    broken: tuple[Event, ...]
    lost: str
    backwards: int
    differences: tuple[str, ...] = ()
    journal: tuple[str, ...] = ()
    journal_damaged: bool = False
    passed_over: tuple[str, ...] = ()

    @property
    def sound(self) -> bool:
        """Whether log, ledger and journal agree and nothing is missing."""
        return self.unbroken and not self.differences and not self.journal

    @property
    def unbroken(self) -> bool:
        """Whether no event was altered or removed."""
        return not self.broken and not self.lost


def head(db: Database) -> Head:
    """The last event, or number 0 with the chain's start."""
    last = events.last(db)
    return Head(last.id, last.at, last.chain) if last else Head(0, "", events.START)


def keep_head(db: Database, home: Home, *, replace_lost: bool = False) -> None:
    """Write the log's head beside the catalogue.

    A head kept earlier that is no longer in the log is left as evidence of the loss, unless ``replace_lost``: after a
    recovery, which records the loss in the log itself.
    """
    before = kept_head(home)
    if before is not None and not replace_lost and _lost(db, before):
        return
    now = head(db)
    write_atomically(home.folder / HEAD_NAME, (json.dumps({"events": now.id, "chain": now.chain}) + "\n").encode())


def _lost(db: Database, head: Head) -> str:
    if head.id == 0:
        return ""
    event = events.by_id(db, head.id)
    if event is None:
        if any(first <= head.id <= last for first, last in salvage.lost_ranges(db)):
            return ""  # a recovery recorded it
        return f"event {head.id} was written once and is gone"
    return "" if event.chain == head.chain else f"event {head.id} is not the one that was written"


def kept_head(home: Home) -> Head | None:
    """The head kept beside the catalogue; None when none was kept or it is unreadable."""
    try:
        values = json.loads(read_regular(home.folder / HEAD_NAME, MARKER_BYTES))
        return Head(int(values["events"]), "", str(values["chain"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def verify_chain(db: Database, home: Home, others: tuple[Head, ...] = ()) -> LogCheck:
    """Verify the chain from first to last event, and look up every head kept outside."""
    broken = tuple(events.broken_links(db))
    lost = next(filter(None, (_lost(db, known) for known in (kept_head(home), *others) if known)), "")
    return LogCheck(events.count(db), head(db), broken, lost, events.backwards(db))


def review(db: Database, home: Home, others: tuple[Head, ...] = ()) -> LogCheck:
    """Verify the log, compare it with ledger and journal, and record the review in it.

    A journal that is merely behind or missing is brought up to date after it was reported.
    """
    checked = replace(verify_chain(db, home, others), differences=tuple(str(d) for d in differences(db)),
                      journal=tuple(journal.check(db, home.database)),
                      journal_damaged=bool(journal.read(journal.path_of(home.database)).faults))
    with transaction(db):
        events.append(db, "validation", "success" if checked.sound else "fail", detail="; ".join(filter(None, [
                          f"{REVIEWED}: {checked.events} events, {len(checked.broken)} broken links", checked.lost,
                          *checked.differences[:MOST_NOTED], *checked.journal[:MOST_NOTED]])))
    if checked.unbroken and not checked.differences and checked.journal_damaged:
        journal.renew(db, home.database)
    journal.append_new(db, home.database)
    keep_head(db, home)
    return checked
