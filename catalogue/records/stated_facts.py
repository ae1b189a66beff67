"""What a person stated about artists, pieces, scans and pairs: the one place where it is written.

Where each fact of an artist, a piece or a scan lives:

- *stated*: ``artist_stated``, ``piece_stated``, ``scan_stated``, written here and nowhere else, and
  ``likeness_verdict``. NULL
  means that nobody said; an empty text that somebody said there is none. The program never removes such a row.
- *derived*: ``scan_guess`` (``records.guesses``, from path and tags) and ``likeness`` (``records.likenesses``).
- *effective*: ``artist``, ``piece`` and the role, piece and capture of ``scan``: stated, else derived, computed by
  ``records.effective.recompute`` and by nothing else. All other queries read these.

Each writer here takes part in the caller's transaction or makes one of its own.
"""

from collections.abc import Mapping
from typing import Any

from catalogue.records.folding import fold_name
from catalogue.records.rows import Database, exists, fetch_id, fetch_int, insert_row, update_row
from catalogue.records.transactions import transaction

ARTIST_FACTS = ("name", "contact", "terms", "notes", "joined_into")
PIECE_FACTS = ("artist_id", "title", "year", "series", "inventory_number", "medium", "width_mm", "height_mm",
               "relief_mm", "notes", "current_sha256", "joined_into")
SCAN_FACTS = ("role", "piece_id", "capture")
# table: its key
TABLES = {"artist_stated": "artist_id", "piece_stated": "piece_id", "scan_stated": "sha256"}
_FACTS = {"artist_stated": ARTIST_FACTS, "piece_stated": PIECE_FACTS, "scan_stated": SCAN_FACTS}
_KNOWN_AS = {
    "artist_stated": "SELECT name AS known_name, key AS known_key FROM artist WHERE id = ?",
    "piece_stated": """SELECT artist AS known_artist, artist_key AS known_artist_key, title AS known_title,
                              title_key AS known_key FROM piece_known_as WHERE piece_id = ?"""}
Row = dict[str, Any]


def stated_row(db: Database, table: str, key: int | str) -> Row | None:
    """A row of one of ``TABLES`` by its key."""
    row = db.execute(f"SELECT * FROM {table} WHERE {TABLES[table]} = ?", [key]).fetchone()
    return None if row is None else dict(row)


def _put(db: Database, table: str, row: Row) -> None:
    """Keep a row; only columns that differ are written."""
    key = row[TABLES[table]]
    before = stated_row(db, table, key)
    if before == row:
        return
    with transaction(db):
        if before is None:
            insert_row(db, table, row)
        else:
            update_row(db, table, {name: row[name] for name in row if row[name] != before[name]}, {TABLES[table]: key})


def _state(db: Database, table: str, key: int | str, values: Mapping[str, Any]) -> None:
    """Add to the stated facts; a row is created under the names by which the artist or piece is known now."""
    row = stated_row(db, table, key)
    if row is None:
        known = db.execute(_KNOWN_AS[table], [key]).fetchone() if table in _KNOWN_AS else {}
        row = {TABLES[table]: key, **dict.fromkeys(_FACTS[table]), **dict(known)}
    _put(db, table, row | dict(values))


def state_artist(db: Database, artist_id: int, values: Mapping[str, Any]) -> None:
    """State any of ``ARTIST_FACTS``; None retracts a statement."""
    _state(db, "artist_stated", artist_id, values)


def state_piece(db: Database, piece_id: int, values: Mapping[str, Any]) -> None:
    """What a person says of a piece: any of ``PIECE_FACTS``; None takes a statement back. ``{}`` pins it."""
    _state(db, "piece_stated", piece_id, values)


def state_new_piece(db: Database, piece_id: int, known: tuple[str, str, str, str], values: Mapping[str, Any]) -> None:
    """A piece that has no row yet: ``known`` are its artist's name and key, its title and key."""
    _put(db, "piece_stated", {"piece_id": piece_id, **dict.fromkeys(PIECE_FACTS), **values,
                              "known_artist": known[0], "known_artist_key": known[1], "known_title": known[2],
                              "known_key": known[3]})


def set_known_names(db: Database, piece_id: int, artist: str, title: str) -> None:
    """Under which guessed names a piece with stated facts is found; nothing for other pieces."""
    row = stated_row(db, "piece_stated", piece_id)
    if row is not None:
        _put(db, "piece_stated", row | {"known_artist": artist, "known_artist_key": fold_name(artist),
                                        "known_title": title, "known_key": fold_name(title)})


def state_scan(db: Database, sha256: str, values: Mapping[str, Any], *, pin: bool = True) -> None:
    """What a person says of a scan: any of ``SCAN_FACTS``; None takes a statement back. ``pin`` notes that its piece
    is spoken of."""
    if pin and values.get("piece_id") is not None:
        state_piece(db, values["piece_id"], {})
    _state(db, "scan_stated", sha256, values)


def state_new_artist(db: Database, artist_id: int, name: str) -> None:
    """The statement by which an artist comes to be."""
    _put(db, "artist_stated", {"artist_id": artist_id, **dict.fromkeys(ARTIST_FACTS), "name": name,
                               "known_name": name, "known_key": fold_name(name)})


def is_referred_to(db: Database, piece_id: int) -> bool:
    """Whether a statement names the piece."""
    return bool(fetch_int(db, """SELECT EXISTS (SELECT 1 FROM order_line WHERE piece_id = ?1)
                                 OR EXISTS (SELECT 1 FROM edition WHERE piece_id = ?1)
                                 OR EXISTS (SELECT 1 FROM scan_stated WHERE piece_id = ?1)
                                 OR EXISTS (SELECT 1 FROM piece_stated WHERE joined_into = ?1)""", [piece_id]))


def put_back(db: Database, table: str, before: Row | None, after: Row | None) -> Row | None:
    """Undo what a statement made of a row of one of ``TABLES``; ``before`` or ``after`` it there may have been none.

    A row without facts is the same as no row, and what the statement did not change stays. A row it created is deleted
    again unless more was stated in it since or a statement refers to it; returns that row. The known names of an artist
    or piece go with the row. Raises KeyError with the names of the facts that were changed since.
    """
    former, later, facts = before or {}, after or {}, _FACTS[table]
    known = {name: value for name, value in former.items() if name.startswith("known_")}
    changed = [name for name in (*facts, *(known if after else ())) if former.get(name) != later.get(name)]
    key = (former or later)[TABLES[table]]
    row = stated_row(db, table, key)
    since = [name for name in changed if (row or {}).get(name) != later.get(name)]
    if since:
        raise KeyError(*since)
    if row is None:
        if before is not None:
            _put(db, table, {TABLES[table]: key, **known,
                             **{name: former.get(name) if name in changed else None for name in facts}})
        return None
    row |= {name: former.get(name) for name in changed}
    if before is None and not _says_anything(db, table, row, later):
        db.execute(f"DELETE FROM {table} WHERE {TABLES[table]} = ?", [key])
        return row
    _put(db, table, row)
    return None


def joined_in_a_circle(db: Database, table: str) -> int | None:
    """A row of a table of artists or pieces that is, by way of others, merged into itself; None if none is."""
    key = TABLES[table]
    return fetch_id(db, f"""
        WITH RECURSIVE joined (id, onto) AS (
            SELECT {key}, joined_into FROM {table} WHERE joined_into IS NOT NULL
            UNION SELECT j.id, t.joined_into FROM joined j JOIN {table} t ON t.{key} = j.onto
                  WHERE t.joined_into IS NOT NULL)
        SELECT id FROM joined WHERE id = onto LIMIT 1""")


def _says_anything(db: Database, table: str, row: Row, former: Row) -> bool:
    if any(row[name] is not None for name in _FACTS[table]):
        return True
    if table == "piece_stated":
        return is_referred_to(db, row["piece_id"])
    if table == "artist_stated":
        renamed = former.get("name") not in (None, former.get("known_name"))  # else the name before would be lost
        return renamed or exists(db, "SELECT 1 FROM piece_stated WHERE artist_id = ?", [row["artist_id"]])
    return False


def next_id(db: Database, kind: str) -> int:
    """An id never used before for an artist or piece."""
    return fetch_int(db, f"""SELECT 1 + max(coalesce((SELECT max(id) FROM {kind}), 0),
                                            coalesce((SELECT max({kind}_id) FROM {kind}_stated), 0),
                                            coalesce((SELECT last FROM issued_id WHERE kind = ?), 0))""", [kind])


def root(db: Database, kind: str, row_id: int) -> int:
    """The artist or piece (``kind``) at the end of its chain of merges."""
    seen = {row_id}
    while True:
        row = db.execute(f"SELECT joined_into FROM {kind}_stated WHERE {kind}_id = ?", [row_id]).fetchone()
        if row is None or row[0] is None or row[0] in seen:
            return row_id
        row_id = int(row[0])
        seen.add(row_id)
