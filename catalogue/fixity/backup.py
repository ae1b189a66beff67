"""Backups of the catalogue in generations, and getting it back from one.

A generation is numbered, so that its age does not hang on a clock. The newest ones are kept, and beyond those the
newest of each month, so that damage noticed late still finds a backup from before it.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import Damaged, NotFound, Refused
from catalogue.fixity import log
from catalogue.fixity.copying import copy_verified
from catalogue.indexing.alone import alone
from catalogue.progress import Cancelled, Progress, Report, never, unheard
from catalogue.records import events
from catalogue.records.backup import Condition, condition, copy_database, foreign_parts
from catalogue.records.database import Database, now, open_database, transaction
from catalogue.settings import Home
from catalogue.storage.atomic import PART_PREFIX, aside_name, opened, place_over, staged_file

MONTHS_KEPT = 12
OWN_EVENTS = 1   # that a backup was made is noted once it is made, so not within it
_NAME = re.compile(r"catalogue-(\d{6,})-(\d{8}T\d{6})Z\.sqlite")


@dataclass(frozen=True, slots=True)
class Generation:
    """One backup: its number, when the clock said it was made (``YYYYMMDDTHHMMSS``), and the file."""

    number: int
    made: str
    path: Path


@dataclass(frozen=True, slots=True)
class Recovered:
    """What a recovery did. ``lost`` is how many events were written after the backup, where that is known."""

    source: Path
    aside: Path | None
    condition: Condition
    lost: int | None


def generations(home: Home) -> list[Generation]:
    """Backups, oldest first."""
    try:
        entries = list(home.backups.iterdir())
    except FileNotFoundError:
        return []
    found = [(_NAME.fullmatch(entry.name), entry) for entry in entries]
    return sorted((Generation(int(m[1]), m[2], entry) for m, entry in found if m), key=lambda g: g.number)


def to_keep(known: Sequence[Generation], newest: int, months: int = MONTHS_KEPT) -> set[int]:
    """Numbers of the generations that stay: the ``newest`` ones, and the last of each of the latest ``months``."""
    ordered = sorted(known, key=lambda g: g.number)
    kept = {g.number for g in ordered[-newest:]} if newest > 0 else set()
    last_of_month = {g.made[:6]: g.number for g in ordered}
    return kept | {number for _, number in sorted(last_of_month.items())[-months:]}


def back_up(db: Database, home: Home, *, also: Path | None = None, report: Report = unheard,
            cancelled: Cancelled = never) -> Generation:
    """Make a backup, check it, and drop generations that are no longer needed.

    ``also`` is a folder, best on another disk, that gets a verified copy of it.

    Raises:
        Damaged: the catalogue fails its integrity check; its backups are left as they are. NoRoom, CatalogueError.
    """
    with alone(home, "backup"):
        home.backups.mkdir(parents=True, exist_ok=True)
        for leftover in home.backups.glob(f"{PART_PREFIX}*"):  # of a backup that was killed, journals included
            leftover.unlink(missing_ok=True)
        known = generations(home)
        number = known[-1].number + 1 if known else 1
        made = "".join(c for c in now()[:19] if c.isalnum())
        target = home.backups / f"catalogue-{number:06}-{made}Z.sqlite"
        report(Progress("Backup", note="copying the catalogue"))
        with staged_file(target) as part:
            copy_database(db, part)
            report(Progress("Backup", note="checking the copy"))
            found = condition(part)
            if found.faults:
                raise Damaged(f"The catalogue fails its integrity check: {found.faults[0]}.",
                              hint="Run `catalogue recover`. The earlier backups are untouched.", path=home.database)
        generation = Generation(number, made, target)
        keep = to_keep([*known, generation], home.settings.backups_kept)
        for old in known:
            if old.number not in keep:
                old.path.unlink(missing_ok=True)
        if also is not None:
            copy_verified(target, also / target.name, sha256=None, report=report, cancelled=cancelled)
        with transaction(db):
            events.append(db, "replication", "success", path=str(target), detail=f"backup {number} of the catalogue"
                          + (f", and a copy in {also}" if also else ""))
        log.keep_head(db, home)
    return generation


def back_up_if_due(db: Database, home: Home, *, report: Report = unheard) -> Generation | None:
    """Make a backup unless the newest one was made today."""
    known = generations(home)
    today = now()[:10].replace("-", "")
    if known and known[-1].made[:8] == today:
        return None
    return back_up(db, home, report=report)


def newest_sound(home: Home, report: Report = unheard) -> tuple[Generation, Condition]:
    """The newest backup that passes its checks. Raises :class:`NotFound` when there is none."""
    for generation in reversed(generations(home)):
        report(Progress("Recover", note=f"checking {generation.path.name}"))
        found = condition(generation.path)
        if not found.faults:
            return generation, found
    raise NotFound("There is no sound backup.", hint="Rebuild the catalogue from the stores: catalogue recover"
                   " --rebuild.", path=home.backups)


def recover(home: Home, source: Path | None = None, *, report: Report = unheard) -> Recovered:
    """Put a backup in the catalogue's place; the present file is kept aside with what belongs to it.

    Raises:
        Refused: no ``source`` was named and the catalogue is sound. NotFound: no backup. Damaged: the one named
        fails its checks. Busy: an index, audit or copy is under way.
    """
    with alone(home, "index"), alone(home, "audit"), alone(home, "copy"), alone(home, "backup"):
        present = condition(home.database)
        if source is None:
            if not present.faults:
                raise Refused("The catalogue is sound: there is nothing to recover.",
                              hint="To go back all the same, name the backup with --from.", path=home.database)
            generation, found = newest_sound(home, report)
            source = generation.path
        else:
            found = condition(source)
            faults = found.faults or foreign_parts(source)
            if faults:
                raise Damaged(f"This backup fails its checks: {faults[0]}.", hint="Choose another.", path=source)
        before = log.kept_head(home)
        aside = _put_in_place(home, source, report)
        lost = max(0, before.id - found.events - OWN_EVENTS) if before else None
        db = open_database(home.database)
        try:
            with transaction(db):
                events.append(db, "recovery", "success", path=str(source), detail="the catalogue came back from this"
                              f" backup; events written after it and lost: {'unknown' if lost is None else lost}"
                              + (f", up to event {before.id} with chain {before.chain}" if before and lost else ""))
            log.keep_head(db, home, anew=True)
        finally:
            db.close()
    return Recovered(source, aside, found, lost)


def _put_in_place(home: Home, source: Path, report: Report) -> Path | None:
    aside = set_aside(home)
    copy_verified(source, home.database, sha256=None, report=report, cancelled=never)
    return aside


def set_aside(home: Home) -> Path | None:
    """Set the present database and its journal aside, journal first: alone it would be played into the next one."""
    moment, aside = now(), None
    for name in (f"{home.database.name}-wal", f"{home.database.name}-shm", home.database.name):
        path = home.folder / name
        if path.exists():
            with opened(path) as entry:
                place = aside_name(entry, moment)
                place_over(entry, place)
            aside = place.path
    return aside
