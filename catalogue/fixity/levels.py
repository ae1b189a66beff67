"""The NDSA Levels of Digital Preservation, version 2.0 (2019): which level each area reaches, and what is lacking.

Answered from facts in the catalogue. Where only a person can know, the page asks, and keeps who said so and when.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from catalogue.dates import shown_day
from catalogue.errors import NotFound
from catalogue.fixity import backup, log
from catalogue.records import events, fixity_facts
from catalogue.records.copies import Copies
from catalogue.records.database import Database, transaction
from catalogue.records.fixity_facts import Answer, Facts
from catalogue.settings import Home

TWO_COPIES, THREE_COPIES = "two full copies", "three full copies"
AREAS = ("Storage", "Integrity", "Control", "Metadata", "Content")
NAMES = {0: "below level 1", 1: "Know", 2: "Protect", 3: "Monitor", 4: "Sustain"}

# What only a person knows.
QUESTIONS = {
    "places": "Are the stores kept in separate places: not in one room, on one power strip, in one person's hands?",
    "storage documented": "Is it written down which disks and shares there are and who looks after them?",
    "disaster": "Would the off-site copy survive whatever destroys the shop: fire, flood, theft?",
    "media": "Is at least one copy on a different kind of medium from the others?",
    "obsolescence of media": "Does someone check every year that disks and their connections can still be read?",
    "three threats": "Are three copies kept in three places, each exposed to a different threat?",
    "no single failure": "Can any one disk, person, account or building fail without a loss?",
    "supplied checksums": "Are checksums that come with a delivery compared when it arrives?",
    "after events": "Is an audit run after a move of disks, a repair, a power cut or an update?",
    "rights decided": "Has it been decided who and what may read, write, move and delete scans?",
    "rights applied": "Is that written down, and do the disks' permissions follow it?",
    "standards": "Has it been decided which details every master must have, and are gaps filled?",
    "formats watched": "Does someone check every year that the formats in use can still be opened?",
    "migration": "Are files converted when their format goes out of use?",
}


@dataclass(frozen=True, slots=True)
class Criterion:
    """One box of the table. ``evidence`` says why it is met or what is lacking; ``asks`` names a person's question.

    ``answered`` tells whether that question has an answer at all.
    """

    area: str
    level: int
    text: str
    met: bool
    evidence: str
    asks: str = ""
    answered: bool = True


@dataclass(frozen=True, slots=True)
class Area:
    """One area with the highest level all of whose criteria, and all below, are met; 0 when none is."""

    name: str
    level: int
    criteria: tuple[Criterion, ...]

    @property
    def lacking(self) -> tuple[Criterion, ...]:
        """The criteria still to be met for the area's next level."""
        unmet = [c for c in self.criteria if not c.met]
        lowest = min((c.level for c in unmet), default=0)
        return tuple(c for c in unmet if c.level == lowest)


def levels(db: Database, home: Home, masters: Sequence[Copies] | None = None) -> tuple[Area, ...]:
    """The five areas as they stand now; ``masters`` as in :func:`catalogue.records.fixity_facts.facts`."""
    page = _Page(fixity_facts.facts(db, log.REVIEWED, masters), fixity_facts.answers(db), home,
                 log.verify_chain(db, home).sound)
    criteria = [*_storage(page), *_integrity(page), *_control(page), *_metadata(page), *_content(page)]
    areas = []
    for name in AREAS:
        own = tuple(c for c in criteria if c.area == name)
        reached = 0
        while reached < 4 and all(c.met for c in own if c.level == reached + 1):
            reached += 1
        areas.append(Area(name, reached, own))
    return tuple(areas)


def answer(db: Database, question: str, text: str) -> None:
    """Record a person's answer, ``yes …`` or ``no …``, with an event.

    Raises :class:`NotFound` for an unknown question, or an answer that begins with neither.
    """
    if question not in QUESTIONS:
        raise NotFound(f"There is no question {question!r}.", hint=f"Questions: {', '.join(QUESTIONS)}.")
    if not re.match(r"(?i)\s*(yes|no)\b", text):
        raise NotFound("An answer begins with yes or no.", hint="A reason may follow.")
    with transaction(db):
        fixity_facts.save_answer(db, question, text.strip())
        events.append(db, "metadata modification", "success", detail=f"answer about {question}: {text.strip()}")


@dataclass(frozen=True, slots=True)
class _Page:
    facts: Facts
    answers: dict[str, Answer]
    home: Home
    log_sound: bool

    def day(self, moment: str) -> str:
        return shown_day(moment, self.home.settings.dates)

    def ask(self, area: str, level: int, text: str, question: str) -> Criterion:
        given = self.answers.get(question)
        if given is None:
            return Criterion(area, level, text, False, f"not answered: {QUESTIONS[question]}", question, False)
        met = given.answer.lower().startswith("yes")
        who = given.agent.split(",")[0]
        return Criterion(area, level, text, met, f"{given.answer} ({who}, {self.day(given.given)})", question)


def _of(count: int, total: int, state: str) -> str:
    return f"{count} of {total} masters {state}"


def _storage(p: _Page) -> list[Criterion]:
    f = p.facts
    a = "Storage"
    together, crowded = (0, 0) if p.home.settings.copies_on_one_disk else (f.on_one_disk, f.crowded)
    return [
        Criterion(a, 1, TWO_COPIES, 0 < f.masters == f.in_two and not together,
                  _of(f.in_two, f.masters, "in two stores")
                  + (f", {together} of them on one disk or server" if together else "")),
        p.ask(a, 1, "in separate places", "places"),
        Criterion(a, 1, "media listed", f.stores > 0, f"{f.stores} stores are on record"),
        Criterion(a, 2, THREE_COPIES, 0 < f.masters == f.in_three and not crowded,
                  _of(f.in_three, f.masters, "in three stores")
                  + (f", {crowded} of them on fewer than three disks" if crowded else "")),
        p.ask(a, 2, "storage documented", "storage documented"),
        Criterion(a, 3, "a copy elsewhere", 0 < f.masters == f.off_site,
                  _of(f.off_site, f.masters, f"in the {f.off_site_stores} off-site stores")),
        p.ask(a, 3, "under another disaster threat", "disaster"),
        p.ask(a, 3, "a copy on another type of medium", "media"),
        p.ask(a, 3, "obsolescence tracked", "obsolescence of media"),
        p.ask(a, 4, "three places, each under another threat", "three threats"),
        p.ask(a, 4, "no single point of failure", "no single failure"),
    ]


def _integrity(p: _Page) -> list[Criterion]:
    f, a = p.facts, "Integrity"
    days = p.home.settings.audit_days
    due = (datetime.now(UTC) - timedelta(days=days)).isoformat()[:19]
    regular = f.files > f.without_digest and f.never_checked == 0 and f.oldest_check >= due
    return [
        Criterion(a, 1, "missing checksums made", f.files > 0 and f.without_digest == 0,
                  f"{f.files - f.without_digest} of {f.files} files have one"),
        p.ask(a, 1, "supplied checksums verified", "supplied checksums"),
        Criterion(a, 2, "verified at every move or copy", True, f"every copy is verified; {f.verified_copies} so far"),
        Criterion(a, 2, "checksums backed up elsewhere", f.in_store_manifests > 0,
                  f"manifests in stores: {f.in_store_manifests}, newest: {p.day(f.newest_manifest) or 'none'}"
                  + ("" if f.in_store_manifests else "; catalogue export manifest --into-store")),
        Criterion(a, 3, f"verified at fixed intervals, here {days} days", regular,
                  f"oldest check {p.day(f.oldest_check) or 'never'}; not checked since first read: {f.never_checked}"),
        Criterion(a, 3, "process and outcome recorded", f.finished_audits > 0, f"finished audits: {f.finished_audits}"),
        Criterion(a, 3, "audit on demand", True, "catalogue audit"),
        p.ask(a, 4, "verified after specific events", "after events"),
        Criterion(a, 4, "corrupt content repaired or replaced", f.files > 0 and f.broken == 0,
                  f"damaged or lost files: {f.broken}; restored so far: {f.recoveries}"),
    ]


def _control(p: _Page) -> list[Criterion]:
    f, a = p.facts, "Control"
    year = (datetime.now(UTC) - timedelta(days=365)).isoformat()[:19]
    return [
        p.ask(a, 1, "who and what may read, write, move, delete is decided", "rights decided"),
        p.ask(a, 2, "documented and applied", "rights applied"),
        Criterion(a, 3, "actions logged with who or what did them", f.events > 0 and p.log_sound,
                  f"{f.events} events, the chain {'holds' if p.log_sound else 'is broken: catalogue audit --log'}"),
        Criterion(a, 4, "logs reviewed", f.last_review >= year,
                  f"last on {p.day(f.last_review)}" if f.last_review else "never: catalogue audit --log"),
    ]


def _metadata(p: _Page) -> list[Criterion]:
    f, a = p.facts, "Metadata"
    made = backup.generations(p.home)
    return [
        Criterion(a, 1, "inventory with locations", f.files > 0, f"{f.files} files in {f.stores} stores"),
        Criterion(a, 1, "a copy of it kept apart", bool(made),
                  f"backups: {len(made)}" if made else "no backup yet: catalogue backup"),
        Criterion(a, 2, "enough to know what each item is", f.masters > 0 and f.masters_without_piece == 0,
                  f"{f.masters_without_piece} of {f.masters} masters belong to no piece"),
        p.ask(a, 3, "standards chosen, gaps found and filled", "standards"),
        Criterion(a, 3, "no gap in the masters' colour and names",
                  f.masters > 0 and not f.masters_without_profile and not f.masters_without_names,
                  f"masters without a profile: {f.masters_without_profile}, without names: {f.masters_without_names}"),
        Criterion(a, 4, "preservation actions recorded with dates", f.events > 0, f"{f.events} events"),
    ]


def _content(p: _Page) -> list[Criterion]:
    f, a = p.facts, "Content"
    kinds = ", ".join(f"{count} {name}" for name, count in list(f.formats.items())[:4]) or "no scans yet"
    return [
        Criterion(a, 1, "formats and key traits documented", bool(f.formats), kinds),
        Criterion(a, 2, "formats and traits verified", bool(f.formats) and f.undecoded == 0,
                  f"files that could not be read to the end: {f.undecoded}"),
        p.ask(a, 3, "obsolescence watched", "formats watched"),
        p.ask(a, 4, "migrated when needed", "migration"),
    ]
