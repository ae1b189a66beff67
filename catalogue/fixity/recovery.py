"""Recovering a damaged catalogue: the newest sound backup, plus everything stated since that can still be read.

The new catalogue is prepared completely under another name: the backup, then the events that the damaged file still
yields and the chain proves, then every other statement of the journal. One rename, to ``recovered_path``, decides: from
then on nobody opens the old file, and the next ``recover`` completes whatever is left.
"""

import os
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path

from catalogue.errors import CatalogueError, Damaged, Refused
from catalogue.fixity import copies, log, manifest
from catalogue.fixity.backup import generations, newest_sound
from catalogue.fixity.copying import copy_verified
from catalogue.fixity.job_sheets import hold_numbers
from catalogue.fixity.log import Head
from catalogue.fixity.profiles import bring_back_profiles
from catalogue.fixity.verdicts import distrust_failed
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.progress import Progress, Report, ignore_progress, never_cancelled
from catalogue.records import events, journal, salvage
from catalogue.records.backup import Condition, condition, foreign_parts, hold, make_one_file
from catalogue.records.database import (
    Database,
    flush_file,
    now,
    open_database,
    recovered_path,
    transaction,
    unlogged_transaction,
)
from catalogue.records.events import Event
from catalogue.records.statements import staged_count, unpacked
from catalogue.settings import Home, Settings, read_settings
from catalogue.storage.atomic import aside_name, opened, write_atomically
from catalogue.storage.medium import sync_folder


@dataclass(frozen=True, slots=True)
class PutBack:
    """What was put into a prepared catalogue beyond its backup.

    ``carried_on`` events were carried on as written; ``statements`` are the details of those put back from elsewhere;
    ``orders`` the numbers of orders among both. ``lost`` counts events that nothing gives any more, ``first`` to
    ``last`` is where they lie. ``distrusted`` counts files whose last look after the backup failed: they are no copies
    until they are read. ``doubts`` say in words what could not be put back or proven.
    """

    carried_on: int
    statements: tuple[str, ...]
    orders: tuple[str, ...]
    lost: int
    first: int
    last: int
    distrusted: int
    doubts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Recovered:
    """What a recovery did. ``source`` None: it completed an interrupted recovery. ``detail`` is the event's text.

    ``settings`` tells whether the shop's settings came back too, where the catalogue's folder had none.
    """

    source: Path | None
    aside: Path | None
    condition: Condition
    put_back: PutBack | None
    detail: str
    settings: bool = False

    @property
    def lost(self) -> int:
        """The number of events that could not be recovered."""
        return self.put_back.lost if self.put_back else 0


def recover(home: Home, source: Path | None = None, *, report: Report = ignore_progress) -> Recovered:
    """Replace the catalogue with a backup, with everything stated since; the present file is kept under another name.

    Raises Refused: no ``source`` was named and the catalogue is sound. NotFound: no backup. Damaged: the one named
    fails its checks. Busy: an index, audit or copy is under way, or another program writes. CatalogueError: the disk is
    full; nothing was changed.
    """
    with (exclusive_lock(home, "index"), exclusive_lock(home, "audit"), exclusive_lock(home, "copy"),
          exclusive_lock(home, "backup")):
        if recovered_path(home.database).exists():
            return finish(home)
        generation = None
        if source is None:
            report(Progress("Recover", note="examining the catalogue"))
            if not condition(home.database).faults:
                raise Refused(f"The catalogue is sound: there is nothing to recover.{_last_recovery_text(home)}",
                              hint="To go back anyway, name the backup with --from.", path=home.database)
            generation, _ = newest_sound(home, report)
            source = generation.path
        else:
            state = condition(source)
            faults = state.faults or foreign_parts(source)
            if faults:
                raise Damaged(f"This backup fails its checks: {faults[0]}.", hint="Choose another.", path=source)
        with hold(home.database):
            part = staging_path(home)
            remove_staged(part)
            try:
                copy_verified(source, part, sha256=None, report=report, cancelled=never_cancelled)
                put_back = prepare(home, part, source.name, report, beside=source.parent)
                part.replace(recovered_path(home.database))
                sync_folder(home.folder)
            finally:
                remove_staged(part)
            recovered = finish(home)
        settings, doubts = _bring_back_settings(home, source.parent)
        with closing(open_database(home.database)) as db:
            copies.review(db, settings or home.settings)
            not_back = bring_back_profiles(db, home, source.parent)
    return Recovered(source, recovered.aside, recovered.condition,
                     replace(put_back, doubts=(*put_back.doubts, *doubts, *not_back)), recovered.detail,
                     settings is not None)


def _bring_back_settings(home: Home, backups: Path) -> tuple[Settings | None, list[str]]:
    """The settings kept beside a backup, put where the catalogue's folder has none; and in words why they were not.

    Raises nothing of ours, for the catalogue stands already.
    """
    source = backups / home.settings_file.name
    if home.settings_file.exists() or not source.exists():
        return None, []
    try:
        settings = read_settings(source)
        write_atomically(home.settings_file, source.read_bytes())
    except CatalogueError as error:
        return None, [f"The settings kept beside the backup could not be put back. {error}"]
    return settings, []


def _last_recovery_text(home: Home) -> str:
    with closing(open_database(home.database)) as db:
        last = salvage.last_recovery(db)
    return f" On {last.at} {last.detail}." if last else ""


def staging_path(home: Home) -> Path:
    """Where a recovered catalogue is prepared; a file of this name is one whose preparation was cut short."""
    return home.database.with_name(f"{home.database.stem}.recovered.part")


def remove_staged(part: Path) -> None:
    """Remove a prepared catalogue and the files that belong to it."""
    for path in (part, part.with_name(part.name + "-wal"), part.with_name(part.name + "-shm"),
                 part.with_name(part.name + "-journal")):
        path.unlink(missing_ok=True)


def prepare(home: Home, part: Path, source: str, report: Report = ignore_progress, *,
            beside: Path | None = None) -> PutBack:
    """Put everything stated since into a catalogue that is not in place yet, and make it one file, flushed.

    ``beside`` is the backup's folder: a copy of the journal may lie there too.

    Raises Damaged if the outcome fails its checks.
    """
    report(Progress("Recover", note="putting back what was stated since"))
    before = condition(part)
    with closing(open_database(part, detached=True)) as db:  # an older backup is upgraded, which may add events
        heads = [*_known_heads(db, home)]
        own = journal.path_of(home.database)
        copied = [beside / own.name] if beside and beside != own.parent else []
        journals = [journal.read(path) for path in (own, *copied, *journal.set_aside_ones(home.database))]
        entries = {entry.event.chain: entry.event for own_journal in journals for entry in own_journal.entries}
        highest = max([0, *(h.id for h in heads), *(event.id for event in entries.values())])
        damaged = [path for path in (home.database, *(g.path for g in reversed(generations(home)))) if path.exists()]
        put_back = _put_back(db, before, entries, highest, damaged,
                             [f for own_journal in journals for f in own_journal.faults], source,
                             any(each.entries and not each.faults for each in journals[: 1 + len(copied)]))
        put_back = replace(put_back, doubts=(*put_back.doubts, *hold_numbers(db, home.sheets, home.settings.dates)))
        make_one_file(db)
    if faults := condition(part).faults:
        raise Damaged(f"The recovered catalogue fails its checks: {faults[0]}.",
                      hint="Nothing was changed. Try an older backup with --from.", path=part)
    flush_file(part)
    return put_back


def _known_heads(db: Database, home: Home) -> Iterator[Head]:
    """Every known head of the log, from all sources within reach."""
    if beside := log.kept_head(home):
        yield beside
    for path in sorted((home.folder / "manifests").glob("*.sha256")):
        with suppress(CatalogueError):  # one that cannot be read knows nothing
            if head := manifest.read(path).head:
                yield head
    yield from manifest.heads(db)


def _put_back(db: Database, before: Condition, entries: dict[str, Event], highest: int, damaged: Sequence[Path],
              faults: Sequence[str], source: str, journal_whole: bool) -> PutBack:
    start, chain = (before.last_id, before.last_chain) if before.last_id else (0, events.START)
    last = events.last(db)
    continues = (last.id if last else 0) == start  # else the log cannot be carried on as it was written
    doubts = list(faults)
    readable = salvage.readable_log(damaged[0], start, chain, highest) if damaged else salvage.ReadableLog()
    continued = [event for n, event in enumerate(readable.proven, start + 1) if event.id == n and continues]
    others = {event.chain: event for event in (*readable.proven[len(continued):], *readable.unproven) if event.change}
    doubts += [f"event {event.id} was altered in the damaged file and is left out" for event in readable.altered]
    known = journal.known_chains(db) | {event.chain for event in continued}
    for event in continued:
        known |= journal.put_back_chains(event.detail)
    unknown = {**others, **entries}
    stated = known | unknown.keys()  # the event names what an earlier recovery put back
    fresh = [event for event in unknown.values() if event.chain not in known]
    restored = sorted((e for e in fresh if not journal.is_known(e, stated - {e.chain})), key=lambda e: (e.id, e.at))
    proven = {event.chain for event in readable.proven}
    unproven = [event for event in restored if event.chain not in entries and event.chain not in proven]
    doubts += [f"event {event.id} of {event.at} could be read, but nothing proves it: {event.detail}"
               for event in unproven]
    names = salvage.stated_names([*continued, *restored])
    if continued:
        with unlogged_transaction(db):
            for event in continued:
                doubts += _apply(db, event, damaged, names)
                salvage.append_verbatim(db, [event])
    last_kept = continued[-1].id if continued else start
    highest = max([highest, last_kept, *(event.id for event in others.values())])
    own = int(bool(before.last_id) and last_kept == start and highest > start)  # the backup's own event is no loss
    lost = max(0, highest - last_kept - own - len({event.id for event in fresh}))
    orders_back = salvage.order_numbers([*continued, *restored])
    words = f"the catalogue came back from {source}"
    if highest > last_kept:
        words += f"; events {last_kept + 1} to {highest} were lost"
        words += f", {len(restored)} statements among them were put back" if restored else ""
    if not journal_whole and not (readable.whole and not readable.altered):
        doubts.append(f"Neither the journal nor the old file is complete: what was recorded after event {last_kept}"
                      f"{' of ' + before.last_event if before.last_event and not continued else ''} may be lost"
                      " unless it is named here.")
    with transaction(db):
        salvage.append_recovery(db, highest, source, words)
        distrusted = distrust_failed(db, [*readable.proven, *readable.unproven])
    for event in restored:
        detail = journal.put_back_detail(event)
        with transaction(db, detail):
            seen = staged_count(db)
            doubts += _apply(db, event, damaged, names)
            if staged_count(db) == seen:
                events.append(db, "recovery", "success", store="statement", detail=detail)
    return PutBack(len(continued), tuple(event.detail for event in restored), tuple(orders_back), lost, last_kept + 1,
                   highest, distrusted, tuple(doubts))


def _apply(db: Database, event: Event, damaged: Sequence[Path], names: salvage.StatedNames) -> list[str]:
    salvage.ensure_referred(db, event, damaged, names)
    return [f"event {event.id}: {words}" for change in unpacked(event.change)
            if (words := salvage.apply(db, change, final=event.type == "migration"))]


def finish(home: Home) -> Recovered:
    """Put a prepared catalogue in place. If killed here, the next ``recover`` completes it."""
    prepared = recovered_path(home.database)
    aside = _link_aside(home.database)
    for tail in ("-wal", "-shm"):  # otherwise SQLite would apply them to the new file
        home.database.with_name(home.database.name + tail).unlink(missing_ok=True)
    sync_folder(home.folder)
    prepared.replace(home.database)
    sync_folder(home.folder)
    with closing(open_database(home.database)) as db:
        journal.append_new(db, home.database)
        log.keep_head(db, home, replace_lost=True)
        recovery = salvage.last_recovery(db)
    return Recovered(None, aside, condition(home.database), None, recovery.detail if recovery else "")


def _link_aside(database: Path) -> Path | None:
    """Give the present file and its write-ahead log a second name, so that it never disappears from its own."""
    if not database.exists():
        return None
    with opened(database) as entry:
        aside = aside_name(entry, now()).path
    for tail in ("", "-wal"):
        path = database.with_name(database.name + tail)
        if not path.exists():
            continue
        try:
            os.link(path, aside.with_name(aside.name + tail))
        except OSError:  # a file system without hard links
            copy_verified(path, aside.with_name(aside.name + tail), sha256=None, report=ignore_progress,
                          cancelled=never_cancelled)
    sync_folder(database.parent)
    return aside
