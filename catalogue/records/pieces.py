"""Artists and pieces: who made it, what it is called, which master is current."""

from collections.abc import Mapping
from dataclasses import dataclass

from catalogue.errors import required
from catalogue.records import folding, stale_rows, stated_facts
from catalogue.records.rows import Database, fetch, fetch_id, fetch_int, fetch_one, fetch_text
from catalogue.records.transactions import recompute, transaction

folded = folding.fold_name  # a name as compared


@dataclass(frozen=True, slots=True)
class Artist:
    id: int
    name: str
    key: str
    contact: str
    terms: str
    notes: str


@dataclass(frozen=True, slots=True)
class ArtistRow:
    """An artist in a list, with counts."""

    id: int
    name: str
    pieces: int
    scans: int
    orders: int


@dataclass(frozen=True, slots=True)
class Piece:
    id: int
    artist_id: int
    artist: str
    title: str
    year: str
    series: str
    inventory_number: str
    medium: str
    width_mm: float | None
    height_mm: float | None
    relief_mm: float | None
    current_scan_id: int | None
    current_source: str
    notes: str


_PIECE = """SELECT p.id, p.artist_id, a.name AS artist, p.title, p.year, p.series, p.inventory_number, p.medium,
                   p.width_mm, p.height_mm, p.relief_mm, p.current_scan_id, p.current_source, p.notes
            FROM piece p JOIN artist a ON a.id = p.artist_id"""


def artist_named(db: Database, name: str) -> Artist | None:
    """The artist with that name, or with that former or other spelling; None if there is none."""
    key = folded(name)
    artist = fetch_one(db, Artist, "SELECT * FROM artist WHERE key = ?", [key])
    if artist is None and (joined := folding.joined_name(key)):
        artist = fetch_one(db, Artist, "SELECT * FROM artist WHERE replace(key, ' ', '') = ? ORDER BY id", [joined])
    if artist is None:
        other = fetch_id(db, "SELECT min(artist_id) FROM artist_stated WHERE known_key = ?", [key])
        artist = artist_by_id(db, stated_facts.root(db, "artist", other)) if other else None
    return artist


def artist_called(db: Database, name: str) -> Artist:
    """The artist that a person calls by this name, created if new. Spellings that fold alike are one artist."""
    artist = artist_named(db, name)
    if artist is None:
        with transaction(db):
            new = stated_facts.next_id(db, "artist")
            db.execute("INSERT INTO artist (id, name, key) VALUES (?, ?, ?)", [new, name.strip(), folded(name)])
            stated_facts.state_new_artist(db, new, name.strip())
            stale_rows.mark_short_name_stale(db, folded(name))
        artist = artist_by_id(db, new)
    assert artist is not None
    return artist


def piece_called(db: Database, artist_id: int, title: str, year: str = "", inventory_number: str = "") -> int:
    """The id of the artist's piece with this title, created if new; year and number are stated if not known yet."""
    key = folded(title)
    with transaction(db):
        row = db.execute("SELECT id, year, inventory_number FROM piece WHERE artist_id = ? AND key = ?",
                         [artist_id, key]).fetchone()
        facts: dict[str, object] = {}
        if row is None:
            piece_id = stated_facts.next_id(db, "piece")
            db.execute("INSERT INTO piece (id, artist_id, title, key) VALUES (?, ?, ?, ?)",
                       [piece_id, artist_id, title.strip(), key])
            facts = {"artist_id": artist_id, "title": title.strip()}
        else:
            piece_id = int(row[0])
        for name, value in (("year", year), ("inventory_number", inventory_number)):
            if value and not (row and row[name]):
                facts[name] = value
        stated_facts.state_piece(db, piece_id, facts)
        if row is not None and facts:
            recompute(db)
        elif facts:
            db.execute("UPDATE piece SET year = ?, inventory_number = ? WHERE id = ?",
                       [year, inventory_number, piece_id])
    return piece_id


def known_piece(db: Database, artist: str, title: str) -> int | None:
    """Id of a piece by names, or None; makes nothing."""
    known = artist_named(db, artist)
    return of_title(db, known.id, title) if known else None


def by_id(db: Database, piece_id: int) -> Piece | None:
    """The piece of that id, with its artist; None if there is none."""
    return fetch_one(db, Piece, _PIECE + " WHERE p.id = ?", [piece_id])


def get_piece(db: Database, piece_id: int) -> Piece:
    """As :func:`by_id`. Raises NotFound."""
    return required(by_id(db, piece_id), f"There is no piece number {piece_id}.", "Try: catalogue find WORDS.")


def get_artist(db: Database, artist_id: int) -> Artist:
    """As :func:`artist_by_id`. Raises NotFound."""
    return required(artist_by_id(db, artist_id), f"There is no artist number {artist_id}.",
                    "Try: catalogue artist list.")


def matching(db: Database, words: str, limit: int = 20) -> list[Piece]:
    """Pieces whose title, or artist and title, fold to exactly these words, else contain them."""
    key = folded(words)
    if not key:
        return []
    exact = fetch(db, Piece, _PIECE + " WHERE p.key = ? OR a.key || ' ' || p.key = ? LIMIT ?", [key, key, limit])
    return exact or fetch(db, Piece, _PIECE + " WHERE instr(a.key || ' ' || p.key, ?) ORDER BY a.name, p.title LIMIT ?",
                          [key, limit])


def artists(db: Database) -> list[ArtistRow]:
    """Every artist by name, with counts."""
    return fetch(db, ArtistRow, """
        SELECT a.id, a.name,
               (SELECT count(*) FROM piece p WHERE p.artist_id = a.id) AS pieces,
               (SELECT count(*) FROM scan c JOIN piece p ON p.id = c.piece_id WHERE p.artist_id = a.id) AS scans,
               (SELECT count(DISTINCT l.order_id) FROM order_line l JOIN piece p ON p.id = l.piece_id
                WHERE p.artist_id = a.id) AS orders
        FROM artist a ORDER BY a.key""")


def set_current(db: Database, piece_id: int, scan_id: int | None, source: str) -> None:
    """Choose the current master; ``source`` is ``"person"``, or ``"proposed"`` to leave the choice to the rule."""
    chosen = fetch_text(db, "SELECT sha256 FROM scan WHERE id = ?", [scan_id]) or None if source == "person" else None
    with transaction(db):
        held = stated_facts.stated_row(db, "piece_stated", piece_id)
        if chosen is not None or (held is not None and held["current_sha256"] is not None):
            stated_facts.state_piece(db, piece_id, {"current_sha256": chosen})
        stale_rows.mark_stale(db, "current", [piece_id])
        recompute(db)


def propose_current(db: Database, piece_id: int) -> None:
    """Let the rule choose the current master again (``records.current``), unless a person chose it."""
    with transaction(db):
        stale_rows.mark_stale(db, "current", [piece_id])
        recompute(db)


def state(db: Database, piece_id: int, facts: Mapping[str, object]) -> None:
    """What a person says of a piece: any of ``stated_facts.PIECE_FACTS``."""
    with transaction(db):
        stated_facts.state_piece(db, piece_id, facts)
        recompute(db)


def has_stated_facts(db: Database, piece_id: int) -> bool:
    """Whether a person has stated anything of a piece: its title, its year, which master is current."""
    stated = stated_facts.stated_row(db, "piece_stated", piece_id) or {}
    return any(stated.get(name) not in (None, "") for name in stated_facts.PIECE_FACTS if name != "joined_into")


def of_title(db: Database, artist_id: int, title: str) -> int | None:
    """Id of an artist's piece of that title."""
    return fetch_id(db, "SELECT id FROM piece WHERE artist_id = ? AND key = ?", [artist_id, folded(title)])


def of_one_title(db: Database, first: int, second: int) -> list[tuple[Piece, Piece]]:
    """Pieces that two artists both have, by title."""
    pairs = db.execute("""SELECT p.id, q.id FROM piece p JOIN piece q ON q.key = p.key
                          WHERE p.artist_id = ? AND q.artist_id = ? ORDER BY p.key""", [first, second]).fetchall()
    return [(own, its) for a, b in pairs if (own := by_id(db, a)) and (its := by_id(db, b))]


def join(db: Database, keep: Piece, gone: Piece) -> None:
    """State that two pieces are one: rows that refer to ``gone`` refer to ``keep``, and its stated facts are carried
    over.

    Scans, including those found later, follow when derived rows are recomputed.
    """
    keeping, lost = (stated_facts.stated_row(db, "piece_stated", p.id) or {} for p in (keep, gone))
    names = ("year", "series", "inventory_number", "medium", "width_mm", "height_mm", "relief_mm", "notes",
             "current_sha256")
    facts = joined_facts({name: keeping.get(name) for name in names}, {name: lost.get(name) for name in names},
                        f"{gone.artist}: {gone.title}")
    stated_facts.state_piece(db, keep.id, facts)
    stated_facts.state_piece(db, gone.id, {"joined_into": keep.id})
    for table, column in _referrers(db):
        db.execute(f"UPDATE {table} SET {column} = ? WHERE {column} = ?", [keep.id, gone.id])
    recompute(db)


def joined_facts(keeping: Mapping[str, object], lost: Mapping[str, object], name: str) -> dict[str, object]:
    """What to state of the one that stays: its own, else the other's; where both differ the other's goes into the
    notes, as ``From Ada Quill: Harbor: year 1999``."""
    facts: dict[str, object] = {}
    others = []
    for fact, value in lost.items():
        own = keeping[fact]
        if fact == "notes" or value in (None, "") or value == own:
            continue
        if own in (None, ""):
            facts[fact] = value
        else:
            words = fact.removesuffix("_mm").replace("current_sha256", "chosen master").replace("_", " ")
            others.append(f"{words} {value:g} mm" if isinstance(value, float) else f"{words} {value}")
    notes = [str(keeping["notes"] or ""), str(lost["notes"] or "") if lost["notes"] != keeping["notes"] else "",
             f"From {name}: {'; '.join(others)}." if others else ""]
    joined = "\n".join(filter(None, notes))
    return facts | ({"notes": joined} if joined != (keeping["notes"] or "") else {})


def _referrers(db: Database) -> list[tuple[str, str]]:
    """Every table and column that refers to a piece, except for scans. Read from the schema, so a new table is not
    forgotten."""
    tables = [str(r[0]) for r in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'scan'"
                                            " ORDER BY name")]
    return [(table, str(key["from"])) for table in tables
            for key in db.execute(f"SELECT * FROM pragma_foreign_key_list('{table}')") if key["table"] == "piece"]


def counts(db: Database) -> dict[str, int]:
    """How much the catalogue holds, by kind of row."""
    tables = ("artist", "piece", "scan", "file", "orders", "order_line", "store")
    return {**{table: fetch_int(db, f"SELECT count(*) FROM {table}") for table in tables},
            "finding": fetch_int(db, "SELECT count(*) FROM finding WHERE resolved IS NULL")}


def names(db: Database) -> dict[int, str]:
    """Artist and title of every piece, folded, by id; for matching misspelt names."""
    return {int(row[0]): f"{row[1]} {row[2]}" for row in db.execute(
        "SELECT p.id, a.key, p.key FROM piece p JOIN artist a ON a.id = p.artist_id")}


def titled(db: Database, title: str) -> list[int]:
    """Ids of the pieces of exactly this title, whoever made them."""
    return [int(row[0]) for row in db.execute("SELECT id FROM piece WHERE key = ?", [folded(title)])]


def artists_matching(db: Database, words: str, limit: int = 20) -> list[Artist]:
    """The artist whose name or other spelling folds to exactly these words, else those whose name contains them."""
    key = folded(words)
    if not key:
        return []
    named = artist_named(db, words)
    return [named] if named else fetch(db, Artist, "SELECT * FROM artist WHERE instr(key, ?) ORDER BY key LIMIT ?",
                                       [key, limit])


def artist_by_id(db: Database, artist_id: int) -> Artist | None:
    """The artist of that id; None if there is none."""
    return fetch_one(db, Artist, "SELECT * FROM artist WHERE id = ?", [artist_id])


def describe_artist(db: Database, artist_id: int, **facts: str) -> None:
    """State ``contact``, ``terms`` and ``notes`` of an artist where they differ from what is on record."""
    changed = _differing(artist_by_id(db, artist_id), facts)
    if changed:
        with transaction(db):
            stated_facts.state_artist(db, artist_id, changed)
            recompute(db)


def describe(db: Database, piece_id: int, **facts: object) -> None:
    """State facts of the original, of ``stated_facts.PIECE_FACTS``, as far as they are not so yet; lengths in mm."""
    changed = _differing(by_id(db, piece_id), facts)
    if changed:
        state(db, piece_id, changed)


def _differing(held: Artist | Piece | None, facts: Mapping[str, object]) -> dict[str, object]:
    return {name: value for name, value in facts.items() if held is None or getattr(held, name) != value}


def artists_whole(db: Database) -> list[Artist]:
    """Every artist, by name."""
    return fetch(db, Artist, "SELECT * FROM artist ORDER BY key")


def every(db: Database) -> list[Piece]:
    """Every piece, by artist and title."""
    return fetch(db, Piece, _PIECE + " ORDER BY a.key, p.key")
