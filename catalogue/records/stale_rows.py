"""Which rows of artist, piece and scan must be recomputed: the table ``unsettled``, which triggers also fill."""

from collections.abc import Iterable

from catalogue.records.rows import Database


def mark_stale(db: Database, kind: str, ids: Iterable[int | None]) -> None:
    """Have rows recomputed before the next commit; ``kind`` is artist, piece, scan or current. None means no row."""
    db.conn.executemany("INSERT OR IGNORE INTO unsettled VALUES (?, ?)", [(kind, i) for i in ids if i is not None])


def mark_short_name_stale(db: Database, key: str) -> None:
    """An artist with this folded name was added or removed: mark stale what is guessed by its last word only."""
    first, _, word = key.rpartition(" ")
    if first:
        mark_names_stale(db, {word})


def mark_names_stale(db: Database, artist_keys: set[str]) -> None:
    """These folded names may mean another artist now: mark stale what is guessed by them, the pieces known under
    them, and everything guessed under the title of such a piece or of one it was merged into."""
    marks, keys = ", ".join("?" * len(artist_keys)), list(artist_keys)
    db.execute(f"""INSERT OR IGNORE INTO unsettled SELECT 'scan', scan_id FROM scan_guess WHERE artist_key IN ({marks})
                   UNION SELECT 'scan', g.scan_id FROM piece_stated s JOIN scan_guess g ON g.title_key = s.known_key
                   WHERE s.known_artist_key IN ({marks})
                   UNION SELECT 'piece', piece_id FROM piece_stated WHERE known_artist_key IN ({marks})""", keys * 3)


def take_stale(db: Database, kind: str) -> list[int]:
    """Remove the ids of a kind from the list and return them."""
    rows = [int(row[0]) for row in db.execute("SELECT id FROM unsettled WHERE kind = ? ORDER BY id", [kind])]
    if rows:
        db.execute("DELETE FROM unsettled WHERE kind = ?", [kind])
    return rows


def any_stale(db: Database, kinds: tuple[str, ...]) -> bool:
    """Whether anything of these kinds is on the list."""
    return any(db.execute("SELECT 1 FROM unsettled WHERE kind = ? LIMIT 1", [kind]).fetchone() for kind in kinds)
