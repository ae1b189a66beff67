"""Generations of catalogue backups; restoring one is in :mod:`catalogue.fixity.recovery`.

Generations are numbered, so their order does not depend on the clock. The newest are kept, and the newest of each
month, so that damage noticed late still finds a backup from before it.
"""

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged, NotFound
from catalogue.fixity import log
from catalogue.fixity.copying import copy_verified
from catalogue.fixity.profiles import back_up_profiles
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.records import events, journal
from catalogue.records.backup import Condition, condition, copy_database
from catalogue.records.database import Database, now, transaction
from catalogue.settings import Home
from catalogue.storage.atomic import PART_PREFIX, opened, remove_leftover, staged_file, write_atomically

MONTHS_KEPT = 12
_NAME = re.compile(r"catalogue-([0-9]{6,})-([0-9]{8}T[0-9]{6})Z\.sqlite")


@dataclass(frozen=True, slots=True)
class Generation:
    """One backup: its number, when the clock said it was made (``YYYYMMDDTHHMMSS``), and the file."""

    number: int
    made: str
    path: Path


def generations(home: Home) -> list[Generation]:
    """Backups, oldest first."""
    try:
        entries = list(home.backups.iterdir())
    except FileNotFoundError:
        return []
    matches = [(_NAME.fullmatch(entry.name), entry) for entry in entries]
    return sorted((Generation(int(m[1]), m[2], entry) for m, entry in matches if m), key=lambda g: g.number)


def to_keep(known: Sequence[Generation], newest: int, months: int = MONTHS_KEPT) -> set[int]:
    """Numbers of the generations to keep: the ``newest``, and the last of each of the latest ``months``."""
    ordered = sorted(known, key=lambda g: g.number)
    numbers = {g.number for g in ordered[-newest:]} if newest > 0 else set()
    last_of_month = {g.made[:6]: g.number for g in ordered}
    return numbers | {number for _, number in sorted(last_of_month.items())[-months:]}


def back_up(db: Database, home: Home, *, also: Path | None = None, report: Report = ignore_progress,
            cancelled: Cancelled = never_cancelled) -> Generation:
    """Make a backup, check it, and drop generations that are no longer needed.

    ``also`` is a folder, best on another disk, that gets a verified copy of it. The profiles that recipes name and the
    settings go with both.

    Raises Damaged: the catalogue fails its integrity check; its backups are left as they are. NoRoom, CatalogueError.
    """
    with exclusive_lock(home, "backup"):
        home.backups.mkdir(parents=True, exist_ok=True)
        _sweep(home)
        known = generations(home)
        number = known[-1].number + 1 if known else 1
        made = "".join(c for c in now()[:19] if c.isalnum())
        target = home.backups / f"catalogue-{number:06}-{made}Z.sqlite"
        report(Progress("Backup", note="copying the catalogue"))
        try:
            with staged_file(target) as part:
                copy_database(db, part)
                report(Progress("Backup", note="checking the copy"))
                state = condition(part)
                if state.faults:
                    raise Damaged(f"The catalogue fails its integrity check: {state.faults[0]}.",
                                  hint="Run `catalogue recover`. The earlier backups are untouched.",
                                  path=home.database)
        finally:
            with suppress(OSError):  # the next backup tries again
                _sweep(home)
        generation = Generation(number, made, target)
        keep = to_keep([*known, generation], home.settings.backups_kept)
        for old in known:
            if old.number not in keep:
                old.path.unlink(missing_ok=True)
        try:
            if also is not None:
                _sweep_copies(known, also)
                copy_verified(target, also / target.name, sha256=None, report=report, cancelled=cancelled)
                _copy_journal(home, also)
            back_up_profiles(home, also)
            if home.settings_file.exists():
                for folder in (home.backups, *([also] if also else [])):
                    write_atomically(folder / home.settings_file.name, home.settings_file.read_bytes())
        except CatalogueError as error:
            error.hint = f"{error.hint} The backup itself is made and checked: {target.name}.".lstrip()
            raise
        with transaction(db):
            events.append(db, "replication", "success", path=str(target), detail=f"backup {number} of the catalogue"
                          + (f", and a copy in {also}" if also else ""))
        log.keep_head(db, home)
    return generation


def _sweep(home: Home) -> None:
    """Remove leftovers of an interrupted backup, including SQLite's logs of it."""
    for leftover in home.backups.glob(f"{PART_PREFIX}*"):
        leftover.unlink(missing_ok=True)


def _sweep_copies(known: Sequence[Generation], folder: Path) -> None:
    """Remove leftovers of an interrupted backup from the other folder, where each copy has a unique temporary name."""
    for generation in known:
        with opened(folder / generation.path.name) as entry:
            remove_leftover(entry)


def _copy_journal(home: Home, folder: Path) -> None:
    """Copy the journal beside the backups; a damaged journal never replaces a good copy."""
    source = journal.path_of(home.database)
    if source.exists() and not journal.read(source).faults:
        copy_verified(source, folder / source.name, sha256=None, report=ignore_progress, cancelled=never_cancelled,
                      replace=True)


def back_up_if_due(db: Database, home: Home, *, report: Report = ignore_progress) -> Generation | None:
    """Make a backup unless the newest one was made today."""
    known = generations(home)
    today = now()[:10].replace("-", "")
    if known and known[-1].made[:8] == today:
        return None
    return back_up(db, home, report=report)


def newest_sound(home: Home, report: Report = ignore_progress) -> tuple[Generation, Condition]:
    """The newest backup that passes its checks. Raises :class:`NotFound` when there is none."""
    for generation in reversed(generations(home)):
        report(Progress("Recover", note=f"checking {generation.path.name}"))
        state = condition(generation.path)
        if not state.faults:
            return generation, state
    raise NotFound("There is no sound backup.", hint="Rebuild the catalogue from the stores: catalogue recover"
                   " --rebuild FOLDER…", path=home.backups)
