"""The one function that computes what artist, piece and scan rows hold: what a person stated, else what was derived.

Triggers note in ``unsettled`` which rows a statement, a guess, a likeness or a file touches. :func:`recompute` works
through the list (``records.stale_rows``); ``records.database.transaction`` calls it before every commit, so that no
writer can forget it and undoing a statement needs no code of its own. A scan's role and piece follow from, in this
order,

1. what a person said (``scan_stated``),
2. the guess from path and tags (``scan_guess``): its artist and title name a piece, made if new,
3. likeness: the one piece to which confirmed pairs tie it, else the one to which sure pairs do.

A piece merged into another means that one, and so for artists. A piece without statements or scans is deleted, and so
is an artist without pieces or statements.
"""

from typing import NamedTuple

from catalogue.errors import CatalogueError
from catalogue.records import effective_artists as artists
from catalogue.records import effective_pieces as pieces
from catalogue.records import stated_facts
from catalogue.records.current import update_current
from catalogue.records.effective_artists import Recomputation
from catalogue.records.folding import fold_name
from catalogue.records.likeness_ties import is_filed_by_likeness, is_tile, neighbours, pieces_near, tied_scans
from catalogue.records.rows import Database, exists, fetch_id, fetch_text, insert_row, update_row
from catalogue.records.stale_rows import any_stale, mark_stale, take_stale

_ROUNDS = 50  # each pass computes what the previous one touched; more than a handful means that two rules contradict


class _Names(NamedTuple):
    """Artist and title as guessed, each with its key."""

    artist: str
    artist_key: str
    title: str
    title_key: str


def recompute(db: Database) -> None:
    """Bring artist, piece and scan rows in line with what was stated and derived. Within a transaction.

    Raises Refused if a statement cannot hold beside another: two pieces of one artist under one title.
    """
    if not exists(db, "SELECT 1 FROM unsettled LIMIT 1"):
        return
    run = Recomputation()
    for _ in range(_ROUNDS):
        for kind, work in (("artist", artists.recompute_artist), ("scan", _recompute_scan),
                           ("piece", _recompute_piece)):
            for row_id in take_stale(db, kind):
                work(db, run, row_id)
        if not any_stale(db, ("artist", "scan", "piece")):
            for scan_id in tied_scans(db, run.soft):
                _recompute_by_likeness(db, scan_id)
            run.soft.clear()
        if not any_stale(db, ("artist", "scan", "piece")):
            for piece_id in take_stale(db, "current"):
                update_current(db, piece_id)
            artists.remove_idle_artists(db, run)
            if not any_stale(db, ("artist", "scan", "piece", "current")):
                return
    raise CatalogueError("The catalogue's statements contradict one another.", hint="Run `catalogue doctor`.")


def piece_meant(db: Database, artist: str, title: str) -> int | None:
    """The id of the piece that a guess of these names refers to, even if it was renamed since; None if there is none
    yet."""
    return _piece_named(db, Recomputation(), _Names(artist, fold_name(artist), title, fold_name(title)))


def make_again(db: Database, table: str, row: stated_facts.Row) -> None:
    """Recreate an artist or piece without stated facts, with its former id and names; ``row`` is the deleted row.

    It is deleted again at the end of the computation if no scan is guessed to be of it.
    """
    if table == "artist_stated":
        db.execute("INSERT INTO artist (id, name, key) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
                   [row["artist_id"], row["known_name"], row["known_key"]])
        mark_stale(db, "artist", [row["artist_id"]])
    elif table == "piece_stated":
        artist_id = artists.artist_known(db, row["known_artist_key"])
        if artist_id is not None:
            db.execute("""INSERT INTO piece (id, artist_id, title, key) SELECT ?, id, ?, ? FROM artist WHERE id = ?
                          ON CONFLICT DO NOTHING""",
                       [row["piece_id"], row["known_title"], row["known_key"], artist_id])
        mark_stale(db, "piece", [row["piece_id"]])


# --- scans ---------------------------------------------------------------------------------------------


def _recompute_scan(db: Database, run: Recomputation, scan_id: int) -> None:
    scan = db.execute("""
        SELECT c.sha256, c.role, c.role_source, c.piece_id, c.piece_source, c.capture, s.role AS stated_role,
               s.piece_id AS stated_piece, s.capture AS stated_capture, g.artist, g.artist_key, g.title, g.title_key,
               coalesce(g.role, 'unsorted') AS guessed_role, g.piece_id AS guessed_piece
        FROM scan c LEFT JOIN scan_stated s ON s.sha256 = c.sha256 LEFT JOIN scan_guess g ON g.scan_id = c.id
        WHERE c.id = ?""", [scan_id]).fetchone()
    if scan is None:
        return
    role, role_source = scan["stated_role"], "person"
    if role is None:
        role, role_source = scan["guessed_role"], "guess"
        if role == "unsorted" and is_tile(db, scan_id):
            role = "tile"
    guessed = None
    if scan["artist_key"] and scan["title_key"]:
        names = _Names(scan["artist"], scan["artist_key"], scan["title"], scan["title_key"])
        guessed = _piece_named(db, run, names)
        if guessed is None and scan["stated_piece"] is None:
            guessed = _new_piece(db, run, names, scan["guessed_piece"])
    # one that leads nowhere while a person files the scan keeps the number of a piece that went, to be made again by it
    leads_away = guessed is None and exists(db, "SELECT 1 FROM piece WHERE id = ?", [scan["guessed_piece"]])
    if guessed != scan["guessed_piece"] and (guessed is not None or leads_away):
        db.execute("UPDATE scan_guess SET piece_id = ? WHERE scan_id = ?", [guessed, scan_id])
        mark_stale(db, "piece", (guessed, scan["guessed_piece"]))
    piece_id, source = guessed, "guess"
    if scan["stated_piece"] is not None:
        piece_id, source = stated_facts.root(db, "piece", int(scan["stated_piece"])), "person"
        if not exists(db, "SELECT 1 FROM piece WHERE id = ?", [piece_id]):
            mark_stale(db, "piece", [piece_id])
            mark_stale(db, "scan", [scan_id])
            _recompute_piece(db, run, piece_id)
    if piece_id is None:
        run.soft.add(scan_id)
        piece_id, source = scan["piece_id"], scan["piece_source"]  # computed after all others
        if source == "person":
            piece_id, source = None, "guess"
    _write_scan(db, scan_id, role, role_source, piece_id, source)
    capture = scan["stated_capture"] or "{}"
    if capture != scan["capture"]:
        db.execute("UPDATE scan SET capture = ? WHERE id = ?", [capture, scan_id])


def _write_scan(db: Database, scan_id: int, role: str, role_source: str, piece_id: int | None, source: str) -> None:
    held = db.execute("SELECT role, role_source, piece_id, piece_source FROM scan WHERE id = ?", [scan_id]).fetchone()
    if tuple(held) == (role, role_source, piece_id, source):
        return
    db.execute("UPDATE scan SET role = ?, role_source = ?, piece_id = ?, piece_source = ? WHERE id = ?",
               [role, role_source, piece_id, source, scan_id])
    mark_stale(db, "piece", (piece_id, held["piece_id"]))
    if piece_id != held["piece_id"]:
        mark_stale(db, "scan",
                   [other for other in neighbours(db, scan_id, confirmed=False) if is_filed_by_likeness(db, other)])


def _recompute_by_likeness(db: Database, scan_id: int) -> None:
    held = db.execute("SELECT role, role_source, piece_id, piece_source FROM scan WHERE id = ?", [scan_id]).fetchone()
    near = pieces_near(db, scan_id, confirmed=True)
    if not near and len(near := pieces_near(db, scan_id, confirmed=False)) > 1:
        near = []
    piece_id, source = (near[0], "likeness") if near else (None, "guess")
    if (piece_id, source) != (held["piece_id"], held["piece_source"]):
        db.execute("UPDATE scan SET piece_id = ?, piece_source = ? WHERE id = ?", [piece_id, source, scan_id])
        mark_stale(db, "piece", (piece_id, held["piece_id"]))


# --- pieces --------------------------------------------------------------------------------------------


def _piece_named(db: Database, run: Recomputation, names: _Names) -> int | None:
    """The id of the piece that a guess refers to, or None.

    In this order: the piece known by that name before it was corrected, the artist's piece of that title, a piece that
    had the title when it was merged into another. If several match, the first: a scan stays with it even if a new piece
    gets its old name.
    """
    known = db.execute("""SELECT piece_id, known_artist, known_artist_key FROM piece_stated WHERE known_key = ?
                          ORDER BY known_artist_key <> ?, piece_id""",
                       [names.title_key, names.artist_key]).fetchall()
    artist_id = artists.artist_known(db, names.artist_key) if known else None
    for row in known:
        if row[2] == names.artist_key or (artist_id is not None and
                                          artists.artist_in_use(db, run, str(row[1]), str(row[2])) == artist_id):
            return _root_piece(db, run, int(row[0]))
    artist_id = artists.artist_in_use(db, run, names.artist, names.artist_key)
    if artist_id is None:
        return None
    bearing = fetch_id(db, "SELECT id FROM piece WHERE artist_id = ? AND key = ?", [artist_id, names.title_key])
    if bearing is None:
        bearing = next((int(row["piece_id"]) for row in pieces.joined_of_title(db, run, names.title_key)
                        if artist_id == _artist_of_joined(db, run, row)), None)
    return None if bearing is None else _root_piece(db, run, bearing)


def _root_piece(db: Database, run: Recomputation, piece_id: int) -> int:
    """The piece at the end of a chain of merges; its row is created if necessary."""
    root = stated_facts.root(db, "piece", piece_id)
    if not exists(db, "SELECT 1 FROM piece WHERE id = ?", [root]):
        _recompute_piece(db, run, root)
    return root


def _artist_of_joined(db: Database, run: Recomputation, stated: stated_facts.Row) -> int | None:
    if stated["artist_id"] is not None:
        return stated_facts.root(db, "artist", int(stated["artist_id"]))
    return artists.artist_in_use(db, run, str(stated["known_artist"]), str(stated["known_artist_key"]))


def _new_piece(db: Database, run: Recomputation, names: _Names, former: int | None) -> int:
    """A piece by guess: the one this scan was guessed under before, if all others guessed under it are guessed alike
    now and no statement names it, so that it keeps its id; else a new one."""
    artist_id = artists.artist_for(db, run, names.artist, names.artist_key)
    title = names.title.strip()
    if former is not None and stated_facts.stated_row(db, "piece_stated", former) is None:
        held = db.execute("SELECT artist_id FROM piece WHERE id = ?", [former]).fetchone()
        if held is None:
            return pieces.add_piece(db, former, artist_id, title, names.title_key)
        if not exists(db, "SELECT 1 FROM scan_guess WHERE piece_id = ? AND (artist_key <> ? OR title_key <> ?)",
                      [former, names.artist_key, names.title_key]):
            db.execute("UPDATE piece SET artist_id = ?, title = ?, key = ? WHERE id = ?",
                       [artist_id, title, names.title_key, former])
            mark_stale(db, "piece", [former])
            run.idle_candidates.add(int(held[0]))
            return former
    return pieces.add_piece(db, stated_facts.next_id(db, "piece"), artist_id, title, names.title_key)


def _recompute_piece(db: Database, run: Recomputation, piece_id: int) -> None:
    held = db.execute("SELECT * FROM piece WHERE id = ?", [piece_id]).fetchone()
    stated = stated_facts.stated_row(db, "piece_stated", piece_id)
    if stated is None and held is not None and stated_facts.is_referred_to(db, piece_id):
        stated_facts.state_piece(db, piece_id, {})  # pinned: a statement names it
        stated = stated_facts.stated_row(db, "piece_stated", piece_id)
    if stated is None:
        if held is not None:
            _recompute_guessed_piece(db, run, piece_id, int(held["artist_id"]))
        return
    if stated["joined_into"] is not None:
        _remove_piece(db, run, piece_id)
        return
    artist_id, title = _names_of(db, run, stated)
    if stated["artist_id"] is not None and stated_facts.stated_row(
            db, "artist_stated", int(stated["artist_id"])) is None:
        mark_stale(db, "artist", [int(stated["artist_id"])])
    key = fold_name(title) or stated["known_key"]
    artist_id = pieces.free_piece_key(db, piece_id, artist_id, key, stated, held)
    facts = {"artist_id": artist_id, "title": title, "key": key, "medium": stated["medium"] or "",
             "notes": stated["notes"] or "", **{name: stated[name] for name in ("width_mm", "height_mm", "relief_mm")},
             **{name: value if stated[name] is None else stated[name]
                for name, value in pieces.guessed_facts(db, piece_id, stated["known_key"]).items()}}
    if held is None:
        insert_row(db, "piece", {"id": piece_id, **facts})
        pieces.mark_scans_stale(db, piece_id, artist_id, key, stated)
        pieces.mark_joined_scans_stale(db, piece_id)
    elif {name: held[name] for name in facts} != facts:
        update_row(db, "piece", facts, {"id": piece_id})
        if (held["artist_id"], held["key"]) != (artist_id, key):
            pieces.mark_scans_stale(db, piece_id, artist_id, key, stated)
            pieces.mark_scans_stale(db, piece_id, int(held["artist_id"]), str(held["key"]), stated)
            run.idle_candidates.add(int(held["artist_id"]))
    for row in db.execute("SELECT piece_id FROM piece_stated WHERE joined_into = ?", [piece_id]).fetchall():
        if exists(db, "SELECT 1 FROM piece WHERE id = ?", [row[0]]):
            mark_stale(db, "piece", [int(row[0])])
    mark_stale(db, "current", [piece_id])


def _names_of(db: Database, run: Recomputation, stated: stated_facts.Row) -> tuple[int, str]:
    """The artist and title of a piece with stated facts."""
    if stated["artist_id"] is not None:
        artist_id = stated_facts.root(db, "artist", int(stated["artist_id"]))
        if not exists(db, "SELECT 1 FROM artist WHERE id = ?", [artist_id]):
            stated_artist = stated_facts.stated_row(db, "artist_stated", artist_id)
            if stated_artist is not None:  # a row that holds nothing but a former name is not kept
                artists.write_stated_artist(db, artist_id, stated_artist)
                run.artists.clear()
            else:
                artist_id = artists.former_artist(db, run, artist_id, stated)
    else:
        artist_id = artists.artist_for(db, run, stated["known_artist"], stated["known_artist_key"])
    return artist_id, pieces.title_of(stated)


def _recompute_guessed_piece(db: Database, run: Recomputation, piece_id: int, artist_id: int) -> None:
    if not exists(db, "SELECT 1 FROM scan WHERE piece_id = ?", [piece_id]):
        db.execute("DELETE FROM piece WHERE id = ?", [piece_id])
        run.idle_candidates.add(artist_id)
        return
    key = fetch_text(db, "SELECT key FROM piece WHERE id = ?", [piece_id])
    guessed = pieces.guessed_facts(db, piece_id, key)
    db.execute("""UPDATE piece SET year = ?1, series = ?2, inventory_number = ?3, medium = '', width_mm = NULL,
                      height_mm = NULL, relief_mm = NULL, notes = '' WHERE id = ?4 AND (year <> ?1 OR series <> ?2
                      OR inventory_number <> ?3 OR medium <> '' OR notes <> ''
                      OR coalesce(width_mm, height_mm, relief_mm) IS NOT NULL)""",
               [guessed["year"], guessed["series"], guessed["inventory_number"], piece_id])
    mark_stale(db, "current", [piece_id])


def _remove_piece(db: Database, run: Recomputation, piece_id: int) -> None:
    """Delete a merged piece's row once no scan is filed under it."""
    held = db.execute("SELECT artist_id FROM piece WHERE id = ?", [piece_id]).fetchone()
    pieces.mark_filed_scans_stale(db, piece_id)
    if held is None:
        return
    for scan_id in take_stale(db, "scan"):
        _recompute_scan(db, run, scan_id)
    for scan_id in tied_scans(db, run.soft):
        _recompute_by_likeness(db, scan_id)
    db.execute("DELETE FROM piece WHERE id = ?", [piece_id])
    run.idle_candidates.add(int(held[0]))
