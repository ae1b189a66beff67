"""Reading what is left of a damaged catalogue, and applying statements recovered from elsewhere.

A damaged file is read row by row, leaving out what fails. Its events are trusted as far as the chain proves them.
"""

import re
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path

from catalogue.records import events
from catalogue.records.events import Event, linked
from catalogue.records.pieces import folded
from catalogue.records.replay import row_of
from catalogue.records.rows import Database, exists, fetch_id, fetch_one, insert_row, update_row
from catalogue.records.stale_rows import mark_stale
from catalogue.records.statements import RETIRED_TABLES, STATED_TABLES, Change, Row, key_columns, row_name, unpacked
from catalogue.records.transactions import replaying, savepoint


@dataclass(frozen=True, slots=True)
class ReadableLog:
    """Events of a damaged catalogue. ``proven`` follow the chain from the event before; ``unproven`` can be read but
    what is before them cannot; ``altered`` were changed since they were written. ``whole``: the log was read to its
    end."""

    proven: tuple[Event, ...] = ()
    unproven: tuple[Event, ...] = ()
    altered: tuple[Event, ...] = ()
    whole: bool = False


def readable_log(path: Path, after: int, chain: str, most: int) -> ReadableLog:
    """Events that a file still gives after event ``after``, whose chain value is ``chain``; up to event ``most``, as
    far as its own index of events does not say where they end. Raises nothing for damage."""
    proven: list[Event] = []
    unproven: list[Event] = []
    altered: list[Event] = []
    previous: tuple[int, str] | None = (after, chain)
    readable, whole = _readable_events(path, after, most)
    for event in readable:
        if previous is not None and event.id == previous[0] + 1:
            (proven if event.chain == linked(previous[1], event.facts) else altered).append(event)
        else:
            unproven.append(event)
        previous = (event.id, event.chain)
    return ReadableLog(tuple(proven), tuple(unproven), tuple(altered), whole)


def _readable_events(path: Path, after: int, most: int) -> tuple[list[Event], bool]:
    events: dict[int, Event] = {}
    whole = False
    try:
        with closing(_opened(path)) as connection:
            for order in ("ASC", "DESC"):  # from both ends, up to the damage
                try:
                    for row in connection.execute(f"SELECT * FROM event WHERE id > ? ORDER BY id {order}", [after]):
                        event = _event(row)
                        if event is not None:
                            events[event.id] = event
                    whole = True
                    break
                except sqlite3.Error:
                    continue
            else:
                for event_id in range(after + 1, max([most, *events]) + 1):
                    if event_id not in events and (event := _event_by_id(connection, event_id)) is not None:
                        events[event_id] = event
    except sqlite3.Error:
        pass  # nothing can be read: what the callers have from elsewhere is all there is
    return [events[event_id] for event_id in sorted(events)], whole


def _opened(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=20)
    connection.row_factory = sqlite3.Row
    return connection


def _event(row: sqlite3.Row) -> Event | None:
    try:
        return Event(**dict(row))
    except TypeError:
        return None


def _event_by_id(connection: sqlite3.Connection, event_id: int) -> Event | None:
    try:
        row = connection.execute("SELECT * FROM event WHERE id = ?", [event_id]).fetchone()
    except sqlite3.Error:
        return None
    return None if row is None else _event(row)


def readable_row(path: Path, table: str, row_id: int) -> Row | None:
    """One row of a damaged catalogue; None if it cannot be read."""
    try:
        with closing(_opened(path)) as connection:
            row = connection.execute(f"SELECT * FROM {table} WHERE id = ?", [row_id]).fetchone()
    except sqlite3.Error:
        return None
    return None if row is None else dict(row)


def append_verbatim(db: Database, proven: Iterable[Event]) -> None:
    """Carry the chain on with events as they were written. The caller's triggers are dropped: their changes are
    applied without being logged once more."""
    for event in proven:
        insert_row(db, "event", asdict(event))


@dataclass(frozen=True, slots=True)
class StatedNames:
    """What statements knew, by id: ``pieces`` their artist and title, ``artists`` their name."""

    pieces: Mapping[int, tuple[str, str]]
    artists: Mapping[int, str]


def ensure_referred(db: Database, event: Event, sources: Iterable[Path], names: StatedNames) -> None:
    """Create the artists and pieces that an event's rows refer to, if the catalogue lacks them.

    Taken from ``sources`` (damaged catalogues), otherwise from ``names`` (artist and title as statements knew them),
    otherwise as a piece whose name says that it was lost.
    """
    for change in unpacked(event.change):
        row = change.after or {}
        piece_id, artist_id = row.get("piece_id"), row.get("artist_id")
        if isinstance(artist_id, int):
            _ensure_artist(db, artist_id, sources, names)
        if isinstance(piece_id, int):
            _ensure_piece(db, piece_id, sources, names)


def stated_names(statements: Iterable[Event]) -> StatedNames:
    """Names of pieces and artists, as far as statements recorded them."""
    pieces: dict[int, tuple[str, str]] = {}
    artists: dict[int, str] = {}
    for event in statements:
        for change in unpacked(event.change):
            row = change.after or {}
            if change.table == "piece_stated" and row.get("known_title"):
                pieces[int(row["piece_id"])] = (str(row.get("known_artist") or ""), str(row["known_title"]))
            elif change.table == "artist_stated" and row.get("known_name"):
                artists[int(row["artist_id"])] = str(row["known_name"])
    return StatedNames(pieces, artists)


def _ensure_piece(db: Database, piece_id: int, sources: Iterable[Path], names: StatedNames) -> None:
    if exists(db, "SELECT 1 FROM piece WHERE id = ?", [piece_id]):
        return
    row = next((row for source in sources if (row := readable_row(source, "piece", piece_id))), None)
    if row is not None:
        _ensure_artist(db, int(row["artist_id"]), sources, names)
        _insert_piece(db, piece_id, int(row["artist_id"]), str(row["title"]), str(row["year"]))
        return
    artist, title = names.pieces.get(piece_id) or ("", f"Piece {piece_id}, its name lost")
    for artist_id in (i for i, name in names.artists.items() if name == artist):
        _ensure_artist(db, artist_id, sources, names)
    _insert_piece(db, piece_id, _artist_named(db, artist or "Name lost"), title, "")


def _insert_piece(db: Database, piece_id: int, artist_id: int, title: str, year: str) -> None:
    key = folded(title)
    if exists(db, "SELECT 1 FROM piece WHERE artist_id = ? AND key = ?", [artist_id, key]):
        key = f"{key} {piece_id}"
    db.execute("INSERT INTO piece (id, artist_id, title, key, year) VALUES (?, ?, ?, ?, ?)",
               [piece_id, artist_id, title, key, year])
    mark_stale(db, "piece", [piece_id])  # one merged into another since is none again


def _ensure_artist(db: Database, artist_id: int, sources: Iterable[Path], names: StatedNames) -> None:
    if exists(db, "SELECT 1 FROM artist WHERE id = ?", [artist_id]):
        return
    row = next((row for source in sources if (row := readable_row(source, "artist", artist_id))), None)
    name = str(row["name"]) if row else names.artists.get(artist_id) or f"Artist {artist_id}, name lost"
    key = folded(name)
    if exists(db, "SELECT 1 FROM artist WHERE key = ?", [key]):
        key = f"{key} {artist_id}"
    db.execute("INSERT INTO artist (id, name, key) VALUES (?, ?, ?)", [artist_id, name, key])
    mark_stale(db, "artist", [artist_id])  # one merged into another since goes again


def _artist_named(db: Database, name: str) -> int:
    artist_id = fetch_id(db, "SELECT id FROM artist WHERE key = ?", [folded(name)])
    if artist_id is None:
        artist_id = insert_row(db, "artist", {"name": name, "key": folded(name)})
        mark_stale(db, "artist", [artist_id])
    return artist_id


def apply(db: Database, change: Change, *, final: bool = False) -> str:
    """Apply one logged change again; returns the obstacle in words, or "".

    A change already present is skipped. A column with neither its value before nor after the change was stated
    differently since: it is kept and reported, unless the change is ``final``, that is, logged by a migration, which
    says how everything stands.
    """
    if change.table in RETIRED_TABLES:
        return ""
    table = next((t for t in STATED_TABLES if t.name == change.table), None)
    name = row_name(change.table, change.key)
    if table is None:
        return f"{name}: there is no such table"
    present, where = row_of(db, change)
    try:
        with savepoint(db), replaying(db):
            if change.after is None:
                db.execute(f"DELETE FROM {table.name} WHERE {where}", list(change.key))
                return ""
            if present is None:
                insert_row(db, table.name, change.after)
                return ""
            columns = [c for c in table.columns or change.after
                       if c in change.changed and present[c] != change.after[c]]
            otherwise = [c for c in columns if (present[c] != change.before.get(c) if change.before is not None
                                                else not c.startswith("known_"))]  # those a mere pin has by chance
            if otherwise and not final:
                return f"{name}: {', '.join(f'{c} is {present[c]!r}, not {change.after[c]!r}' for c in otherwise)}"
            if columns:
                update_row(db, table.name, {c: change.after[c] for c in columns},
                           dict(zip(key_columns(db, table.name), change.key, strict=True)))
    except sqlite3.IntegrityError as error:
        return f"{name}: {error}"
    return ""


def order_numbers(statements: Iterable[Event]) -> list[str]:
    """The numbers of orders that statements made, in their order."""
    return [str(change.after["number"]) for event in statements for change in unpacked(event.change)
            if change.table == "orders" and change.before is None and change.after is not None]


def last_recovery(db: Database) -> Event | None:
    """The newest event that records a recovery."""
    return fetch_one(db, Event, "SELECT * FROM event WHERE type = 'recovery' AND store = '' ORDER BY id DESC LIMIT 1")


def lost_ranges(db: Database) -> list[tuple[int, int]]:
    """The events that recoveries recorded as lost: first and last of each range."""
    matches = [re.search(r"events (\d+) to (\d+) were lost", str(row[0])) for row in db.execute(
        "SELECT detail FROM event WHERE type = 'recovery'")]
    return [(int(m[1]), int(m[2])) for m in matches if m]


def append_recovery(db: Database, at_least: int, source: str, detail: str) -> None:
    """Note a recovery under an event id above ``at_least``, so that no id is given again that a head knows."""
    events.append(db, "recovery", "success", path=source, detail=detail, above=at_least)
