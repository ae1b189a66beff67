"""Artist rows, computed from what a person stated of artists and from the names that scans are guessed under.

The part of ``records.effective`` that is about artists: which artist a name means, who is made, renamed and removed.
"""

from dataclasses import dataclass, field

from catalogue.errors import AlreadyExists
from catalogue.records import stated_facts
from catalogue.records.folding import fold_name, joined_name
from catalogue.records.rows import Database, exists, fetch_id, fetch_text, save_row
from catalogue.records.stale_rows import mark_names_stale, mark_short_name_stale


@dataclass(slots=True)
class Recomputation:
    """The state of one computation: names already resolved, pieces merged by title, scans filed by likeness only
    (computed last), and artists to delete at the end if they have no pieces."""

    artists: dict[tuple[str, str], int] = field(default_factory=dict)
    joined: dict[str, list[stated_facts.Row]] | None = None
    soft: set[int] = field(default_factory=set)
    idle_candidates: set[int] = field(default_factory=set)


def artist_known(db: Database, key: str) -> int | None:
    """The existing artist that a folded name refers to."""
    stated = fetch_id(db, """SELECT artist_id FROM artist_stated WHERE known_key = ?1
                             ORDER BY joined_into IS NULL, artist_id LIMIT 1""", [key]) or _stated_unspaced(db, key)
    if stated is not None:
        return stated_facts.root(db, "artist", stated)
    own = db.execute("""SELECT a.id, EXISTS (SELECT 1 FROM artist_stated s WHERE s.artist_id = a.id) FROM artist a
                        WHERE a.key = ?""", [key]).fetchone()
    if " " not in key and not (own is not None and own[1]):
        full = [int(row[0]) for row in db.execute(
            "SELECT id FROM artist WHERE substr(key, -length(?1) - 1) = ' ' || ?1 LIMIT 2", [key])]
        if len(full) == 1:
            return full[0]
    return int(own[0]) if own is not None else None


def _stated_unspaced(db: Database, key: str) -> int | None:
    """The stated artist whose Chinese, Japanese or Korean name differs from the key only by its space.

    Guessed names with different spelling stay separate, so the result does not depend on which came first.
    """
    joined = joined_name(key)
    return fetch_id(db, """SELECT s.artist_id FROM artist_stated s LEFT JOIN artist a ON a.id = s.artist_id
                           WHERE replace(s.known_key, ' ', '') = ?1 OR replace(a.key, ' ', '') = ?1
                           ORDER BY s.joined_into IS NULL, s.artist_id LIMIT 1""", [joined]) if joined else None


def artist_for(db: Database, run: Recomputation, name: str, key: str) -> int:
    """The artist that a name refers to, created if new."""
    known = run.artists.get((name, key))
    if known is not None:
        return known
    artist_id = artist_known(db, key)
    if artist_id is None:
        artist_id = stated_facts.next_id(db, "artist")
        db.execute("INSERT INTO artist (id, name, key) VALUES (?, ?, ?)", [artist_id, name.strip(), key])
        run.artists.clear()  # one-word names may mean this one
        mark_short_name_stale(db, key)
    elif not exists(db, "SELECT 1 FROM artist WHERE id = ?", [artist_id]):
        write_stated_artist(db, artist_id, stated_facts.stated_row(db, "artist_stated", artist_id) or {})
    run.artists[name, key] = artist_id
    return artist_id


def artist_in_use(db: Database, run: Recomputation, name: str, key: str) -> int | None:
    """The artist that a name refers to, if they have a row."""
    known = run.artists.get((name, key))
    if known is None and (known := artist_known(db, key)) is not None and (
            exists(db, "SELECT 1 FROM artist WHERE id = ?", [known])):
        run.artists[name, key] = known  # one whose row went is made again when a piece needs it
    return known


def former_artist(db: Database, run: Recomputation, artist_id: int, stated: stated_facts.Row) -> int:
    """A guessed artist deleted with their last piece, recreated under the same id; or the artist who has the name
    now."""
    known = artist_known(db, stated["known_artist_key"])
    if known is not None:
        return artist_for(db, run, stated["known_artist"], stated["known_artist_key"])
    db.execute("INSERT INTO artist (id, name, key) VALUES (?, ?, ?)",
               [artist_id, stated["known_artist"], stated["known_artist_key"]])
    run.artists.clear()
    mark_short_name_stale(db, stated["known_artist_key"])
    return artist_id


def recompute_artist(db: Database, run: Recomputation, artist_id: int) -> None:
    """Update an artist's row from what was stated, and mark stale everything guessed by one of their names."""
    run.artists.clear()
    stated = stated_facts.stated_row(db, "artist_stated", artist_id)
    held = db.execute("SELECT name, key FROM artist WHERE id = ?", [artist_id]).fetchone()
    if stated is None and held is not None and exists(db, "SELECT 1 FROM piece_stated WHERE artist_id = ?",
                                                      [artist_id]):
        stated_facts.state_artist(db, artist_id, {})  # pinned: a statement names them, the log must know whom it means
        stated = stated_facts.stated_row(db, "artist_stated", artist_id)
    parts = dict(db.execute("""
        WITH RECURSIVE part (id) AS (SELECT ?1 UNION SELECT artist_id FROM artist_stated JOIN part ON joined_into = id)
        SELECT artist_id, known_key FROM artist_stated JOIN part ON artist_id = id""", [artist_id]).fetchall())
    keys = {str(key) for key in parts.values()}  # with all merged into them
    keys |= {str(held[1])} if held else set()
    if stated and stated["joined_into"] is None:
        keys.add(write_stated_artist(db, artist_id, stated))
    elif held is not None and not stated:
        db.execute("UPDATE artist SET contact = '', terms = '', notes = '' WHERE id = ?", [artist_id])
    for joined in {joined_name(key) for key in keys} - {""}:
        keys |= {str(row[0]) for row in db.execute(
            "SELECT DISTINCT artist_key FROM scan_guess WHERE replace(artist_key, ' ', '') = ?", [joined])}
    mark_names_stale(db, keys)
    ids = [artist_id, *parts]
    db.execute(f"""INSERT OR IGNORE INTO unsettled SELECT 'piece', piece_id FROM piece_stated
                   WHERE artist_id IN ({', '.join('?' * len(ids))})""", ids)
    db.execute("""INSERT OR IGNORE INTO unsettled SELECT 'piece', id FROM piece WHERE artist_id = ?1
                  UNION SELECT 'scan', g.scan_id FROM piece p JOIN scan_guess g ON g.piece_id = p.id
                  WHERE p.artist_id = ?1""", [artist_id])
    run.idle_candidates.add(artist_id)


def write_stated_artist(db: Database, artist_id: int, stated: stated_facts.Row) -> str:
    """The row of an artist with stated facts; returns its key."""
    name = stated["name"] if stated["name"] is not None else stated["known_name"]
    key = fold_name(name) or str(stated["known_key"])
    held = db.execute("SELECT key FROM artist WHERE id = ?", [artist_id]).fetchone()
    if held is None or held[0] != key:
        mark_short_name_stale(db, key)
        mark_short_name_stale(db, str(held[0]) if held else "")
    _free_artist_key(db, artist_id, key)
    save_row(db, "artist", {"id": artist_id}, {
        "name": name, "key": key, **{column: stated[column] or "" for column in ("contact", "terms", "notes")}})
    return key


def _free_artist_key(db: Database, artist_id: int, key: str) -> None:
    """Take a key from a guessed artist; their pieces are then filed under the artist who was stated to have the
    name."""
    other = fetch_id(db, "SELECT id FROM artist WHERE key = ? AND id <> ?", [key, artist_id])
    if other is None:
        return
    if exists(db, "SELECT 1 FROM artist_stated WHERE artist_id = ?", [other]):
        name = fetch_text(db, "SELECT name FROM artist WHERE id = ?", [other])
        raise AlreadyExists(f"There is already an artist called {name!r}.",
                            hint="Merge the two: catalogue artist merge.")
    db.execute("UPDATE artist SET key = ? WHERE id = ?", [f"{key}\n{other}", other])
    db.execute("INSERT OR IGNORE INTO unsettled SELECT 'scan', scan_id FROM scan_guess WHERE artist_key = ?", [key])
    db.execute("INSERT OR IGNORE INTO unsettled SELECT 'piece', id FROM piece WHERE artist_id = ?", [other])


def remove_idle_artists(db: Database, run: Recomputation) -> None:
    """Delete artists of this computation with neither pieces nor statements. Runs last: a piece may come back."""
    for artist_id in sorted(run.idle_candidates):
        gone = db.execute("""DELETE FROM artist WHERE id = ?1
                             AND NOT EXISTS (SELECT 1 FROM piece WHERE artist_id = ?1)
                             AND NOT EXISTS (SELECT 1 FROM artist_stated WHERE artist_id = ?1 AND joined_into IS NULL)
                             RETURNING key""", [artist_id]).fetchone()
        if gone is not None:
            run.artists.clear()
            mark_short_name_stale(db, str(gone[0]))
    run.idle_candidates.clear()
