"""The journal of statements: a second record of every stated event, in a text file beside the catalogue.

One JSON object a line: the event with the chain value of the event before it (``previous``) and the id of the statement
before it (``after``), so the chain verifies each line and a missing line is noticed. A line is flushed before
``transaction()`` returns, so everything acknowledged since the last backup survives a damaged database file.
"""

import errno
import fcntl
import json
import os
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from catalogue.errors import CatalogueError
from catalogue.records.events import START, Event, linked
from catalogue.records.rows import Database, exists, fetch, fetch_int, fetch_text, now

SUFFIX = ".statements.jsonl"
ASIDE = ".aside-"       # within the name of a journal that the catalogue no longer continues
MOST_LINE = 256 << 20   # bytes; no statement is longer
_TAIL = 64 << 10
_NO_LOCKS = {errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL}
_PUT_BACK = re.compile(r"was event \d+ of \S*, chain ([0-9a-f]{64})")


@dataclass(frozen=True, slots=True)
class Entry:
    """One line: an event that states something, the chain value before it, and the statement before it."""

    event: Event
    previous: str
    after: int


@dataclass(frozen=True, slots=True)
class Journal:
    """A journal as read: the entries that verify, and what is wrong with the rest, in words."""

    entries: tuple[Entry, ...]
    faults: tuple[str, ...]


def path_of(database: Path) -> Path:
    """Where the journal of a catalogue file lies."""
    return database.with_suffix(SUFFIX)


def line_of(entry: Entry) -> bytes:
    """An entry as its line, newline included."""
    fields: dict[str, Any] = {name: getattr(entry.event, name) for name in Event.__dataclass_fields__}
    return (json.dumps(fields | {"previous": entry.previous, "after": entry.after}, sort_keys=True,
                       separators=(",", ":"), ensure_ascii=False) + "\n").encode()


def entry_of(line: bytes) -> Entry:
    """Parse a line. Raises ValueError if it is incomplete or was altered."""
    try:
        fields = json.loads(line)
        previous, after = str(fields.pop("previous")), int(fields.pop("after"))
        event = Event(**fields)
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise ValueError("it cannot be read") from error
    if event.chain != linked(previous, event.facts):
        raise ValueError("it has been altered")
    return Entry(event, previous, after)


def read(path: Path) -> Journal:
    """Every entry of a journal that verifies; a file that is not there has none."""
    entries: list[Entry] = []
    faults: list[str] = []
    last = 0
    try:
        with path.open("rb") as file:
            for number, line in enumerate(iter(lambda: file.readline(MOST_LINE), b""), 1):
                try:
                    entry = entry_of(line)
                except ValueError as error:
                    faults.append(f"line {number} of {path.name}: {error}")
                    continue
                if entry.after != last and not (faults and entry.after > last):
                    faults.append(f"line {number} of {path.name}: statements between events {last} and"
                                  f" {entry.event.id} are missing")
                last = entry.event.id
                entries.append(entry)
    except FileNotFoundError:
        pass
    except OSError as error:
        faults.append(f"{path.name} cannot be read: {error.strerror or error}")
    return Journal(tuple(entries), tuple(faults))


def statements_after(db: Database, event_id: int) -> Iterator[Entry]:
    """The catalogue's statements after an event, as journal entries, oldest first."""
    after = fetch_int(db, "SELECT max(id) FROM event WHERE change <> '' AND id <= ?", [event_id])
    for event in fetch(db, Event, "SELECT * FROM event WHERE change <> '' AND id > ? ORDER BY id", [event_id]):
        before = fetch_text(db, "SELECT chain FROM event WHERE id < ? ORDER BY id DESC LIMIT 1", [event.id])
        yield Entry(event, before or START, after)
        after = event.id


def append_new(db: Database, database: Path) -> None:
    """Bring the journal up to the catalogue's last statement, and wait until the disk has it.

    A journal whose last line the catalogue does not know is one of a catalogue that went on further, as when an
    older file was put in its place: it is kept under another name, and a new one begun.

    Raises CatalogueError, which says that the change itself is recorded.
    """
    path = path_of(database)
    try:
        with _locked(path) as file:
            tail = _last_entry(file)
            if tail is not None and not exists(db, "SELECT 1 FROM event WHERE id = ? AND chain = ?",
                                               [tail.event.id, tail.event.chain]):
                path.replace(_aside(path))
                tail = None
                with path.open("xb") as fresh:
                    _write(fresh, statements_after(db, 0))
            else:
                _write(file, statements_after(db, tail.event.id if tail else 0))
    except OSError as error:
        raise CatalogueError(f"The change is recorded, but its journal cannot be written: {error.strerror or error}.",
                             hint="Do not enter it again. Free some space or restore the permissions; the next change"
                             " brings the journal up to date.", path=path) from error


@contextmanager
def _locked(path: Path) -> Iterator[BinaryIO]:
    """The journal open at its end, alone; opened again where another program has put a new one in its place."""
    while True:
        with path.open("a+b") as file:
            try:
                fcntl.flock(file, fcntl.LOCK_EX)
            except OSError as error:  # a disk without locks: appending is one write, and whole lines are told apart
                if error.errno not in _NO_LOCKS:
                    raise
            if path.exists() and os.fstat(file.fileno()).st_ino == path.stat().st_ino:
                yield file
                return


def _last_entry(file: BinaryIO) -> Entry | None:
    """The last whole line; a torn one after it, left by a program that was killed, is cut off."""
    size = file.seek(0, os.SEEK_END)
    step = _TAIL
    while size:
        start = max(0, size - step)
        file.seek(start)
        part = file.read(size - start)
        whole = part[: part.rfind(b"\n") + 1]
        begin = whole.rfind(b"\n", 0, len(whole) - 1) + 1
        if start and not begin:
            step *= 8
            continue
        if len(whole) < len(part):
            file.truncate(start + len(whole))
        if not whole:
            return None
        try:
            return entry_of(whole[begin:])
        except ValueError:
            return Entry(Event(-1, "", "", "", "", "", "", "", "", ""), "", 0)  # known to no catalogue
    return None


def _write(file: BinaryIO, entries: Iterator[Entry] | Sequence[Entry]) -> None:
    for entry in entries:
        file.write(line_of(entry))
    file.flush()
    os.fsync(file.fileno())


def write_anew(db: Database, database: Path) -> None:
    """The whole journal of a catalogue, into a new file. Raises OSError."""
    with path_of(database).open("xb") as file:
        _write(file, statements_after(db, 0))


def renew(db: Database, database: Path) -> None:
    """Write a journal again that is damaged; the damaged one is kept under another name. Raises OSError."""
    path = path_of(database)
    with _locked(path):
        path.replace(_aside(path))
        write_anew(db, database)


def _aside(path: Path) -> Path:
    moment = "".join(c for c in now() if c.isalnum())
    return path.with_name(f"{path.name.removesuffix(SUFFIX)}{ASIDE}{moment}{SUFFIX}")


def set_aside_ones(database: Path) -> list[Path]:
    """Journals of former catalogues in this folder, oldest first."""
    return sorted(database.parent.glob(f"{database.stem}{ASIDE}*{SUFFIX}"))


def known_chains(db: Database) -> set[str]:
    """Chain values of the catalogue's statements, including those put back from a former catalogue."""
    known = {str(row[0]) for row in db.execute("SELECT chain FROM event WHERE change <> ''")}
    for (detail,) in db.execute("SELECT detail FROM event WHERE detail LIKE '%was event %'"):
        known |= put_back_chains(detail)
    return known


def put_back_chains(detail: str) -> set[str]:
    """Chain values of the events that an event's words say it puts back."""
    return set(_PUT_BACK.findall(detail))


def is_known(event: Event, known: set[str]) -> bool:
    """Whether a statement is among ``known`` ones, itself or as what it puts back."""
    restated = put_back_chains(event.detail)
    return event.chain in known or (bool(restated) and restated <= known)


def put_back_detail(event: Event) -> str:
    """The event detail that records which event of a former catalogue is put back, so that none is put back twice."""
    return f"put back: {event.detail}; was event {event.id} of {event.at}, chain {event.chain}"


def check(db: Database, database: Path) -> list[str]:
    """What is wrong with the journal beside the catalogue, in words; empty if it agrees with the event log."""
    path = path_of(database)
    journal = read(path)
    faults = list(journal.faults)
    in_log = {entry.event.id: entry.event.chain for entry in statements_after(db, 0)}
    in_file = {entry.event.id: entry.event.chain for entry in journal.entries}
    if in_log and not in_file and not faults:
        return [f"{path.name} is gone"]
    known = known_chains(db)
    for journal_path in [path, *set_aside_ones(database)]:
        entries = journal.entries if journal_path == path else read(journal_path).entries
        faults += [f"event {e.event.id} of {e.event.at} is in {journal_path.name} and not in the event log: "
                   f"the catalogue has lost it ({e.event.detail})" for e in entries if not is_known(e.event, known)]
    if missing := [i for i, chain in in_log.items() if in_file.get(i) != chain]:
        faults.append(f"{len(missing)} of {len(in_log)} statements are not in {path.name},"
                      f" the first of them event {missing[0]}")
    return faults
