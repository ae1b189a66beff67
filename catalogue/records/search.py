"""Search over artists, pieces, orders and files, fast enough for every key pressed.

Every word must be found; the words as typed come before words that only begin so; a word that begins nothing is
corrected to the nearest words the catalogue knows. Where asked for, a word that is still nowhere is left out, and so
are words such as "the" that nothing has together with the rest. A word with a figure never is: an order's number, a
size or a year means that one and no other.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.records.folding import fold_name, separated
from catalogue.records.order_states import ORDER_STATUS
from catalogue.records.query_terms import Term, has_figure, is_telling, terms_of
from catalogue.records.rows import Database, exists, fetch


@dataclass(frozen=True, slots=True)
class ArtistHit:
    id: int
    name: str
    pieces: int


@dataclass(frozen=True, slots=True)
class PieceHit:
    id: int
    artist: str
    title: str
    year: str
    sha256: str | None


@dataclass(frozen=True, slots=True)
class OrderHit:
    id: int
    number: str
    placed: str
    buyer: str
    status: str
    summary: str
    piece_id: int | None


@dataclass(frozen=True, slots=True)
class FileHit:
    id: int
    path: str
    store: str
    state: str
    scan_id: int | None
    piece_id: int | None
    role: str | None
    sha256: str | None


@dataclass(frozen=True, slots=True)
class Found:
    """Hits by kind, best first. ``corrected`` pairs each misspelt word with its correction; ``ignored`` are words
    that the hits need not contain."""

    artists: list[ArtistHit]
    pieces: list[PieceHit]
    orders: list[OrderHit]
    files: list[FileHit]
    corrected: tuple[tuple[str, tuple[str, ...]], ...] = ()
    ignored: tuple[str, ...] = ()

    @property
    def total(self) -> int:
        return len(self.artists) + len(self.pieces) + len(self.orders) + len(self.files)


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words artists, pieces and orders are made of: what misspellings are corrected to."""

    words: tuple[str, ...]


_INDEXES = ("artist_words", "piece_words", "order_words", "file_words")
_REBUILT_BY_FTS5 = ("artist_words", "file_words")    # they read a view of what they index
_FILLED_BY = {"piece_words": "SELECT id AS rowid, words FROM piece_text",
              "order_words": "SELECT id AS rowid, folded(words) AS words FROM order_text"}
_FIGURES = str.maketrans("oil", "011")  # letters confused with digits, as in a hand-copied invoice number
def load_vocabulary(db: Database) -> Vocabulary:
    """All distinct words of artists, pieces and orders; load once and keep for a sitting."""
    vocabulary: set[str] = set()
    for index in _INDEXES[:3]:
        db.execute(f"CREATE VIRTUAL TABLE IF NOT EXISTS temp.{index}_known USING fts5vocab (main, {index}, 'row')")
        vocabulary.update(row[0] for row in db.execute(f"SELECT term FROM temp.{index}_known"))
    return Vocabulary(tuple(sorted(word for word in vocabulary if len(word) > 2 and not word.isdigit())))


def search(db: Database, text: str, limit: int = 20, vocabulary: Vocabulary | None = None, *,
           leave_out: bool = False) -> Found:
    """What fits all the words, at most ``limit`` of each kind; with ``leave_out`` all but those that fit nothing."""
    choices, corrected, unknown = _corrected(db, text, vocabulary, leave_out)
    if not choices:
        return Found([], [], [], [])
    sought = [term for term in choices if term not in unknown]
    ids = {index: _matching(db, index, sought, limit) for index in _INDEXES}
    telling = [term for term in sought if is_telling(term)]
    if leave_out and 0 < len(telling) < len(sought) and not (ids["artist_words"] or ids["piece_words"]):
        # a file may have "the" from a folder's name, an order from its notes: they do not stand for the piece meant
        wider = {index: list(dict.fromkeys([*whole, *_matching(db, index, telling, limit)]))[:limit]
                 for index, whole in ids.items()}
        if wider != ids:
            ids, sought = wider, telling
    _add_by_other_spelling(db, text, ids, limit)
    ignored = (term[0] for term in choices if term not in sought) if any(ids.values()) else ()
    return Found(_artists(db, ids["artist_words"]), _pieces(db, ids["piece_words"]), _orders(db, ids["order_words"]),
                 _files(db, ids["file_words"]), tuple(corrected), tuple(dict.fromkeys(ignored)))


def _add_by_other_spelling(db: Database, text: str, ids: dict[str, list[int]], limit: int) -> None:
    """Add artists of whom a person stated a spelling with these words, and their pieces where no title has them."""
    also = [row[0] for row in db.execute("""
        WITH RECURSIVE meant (id) AS (
            SELECT artist_id FROM artist_stated WHERE joined_into IS NOT NULL AND instr(' ' || known_key, ' ' || ?)
            UNION SELECT s.joined_into FROM meant JOIN artist_stated s ON s.artist_id = meant.id
                  WHERE s.joined_into IS NOT NULL)
        SELECT a.id FROM artist a JOIN meant ON meant.id = a.id ORDER BY a.key LIMIT ?""", [fold_name(text), limit])]
    added = [artist_id for artist_id in also if artist_id not in ids["artist_words"]]
    ids["artist_words"] = [*ids["artist_words"], *added][:limit]
    if added and not ids["piece_words"]:
        ids["piece_words"] = [row[0] for row in db.execute(
            f"SELECT id FROM piece WHERE artist_id IN ({_in(added)}) ORDER BY key LIMIT ?", [limit])]


def corrected_terms(db: Database, text: str) -> list[tuple[str, ...]]:
    """The words of a query, misspellings corrected: of each term one of the alternatives is to be found."""
    return _corrected(db, text, None, False)[0]


def _corrected(db: Database, text: str, vocabulary: Vocabulary | None, leave_out: bool) -> tuple[
        list[Term], list[tuple[str, tuple[str, ...]]], list[Term]]:
    """The terms as typed with misspellings corrected, which words were taken for others, and which terms may be left
    out: they match nothing, and a term that identifies a work remains."""
    choices = terms_of(text)
    corrected: list[tuple[str, tuple[str, ...]]] = []
    unknown: list[Term] = []
    may_leave_out = leave_out and any(map(is_telling, choices))
    for at, term in enumerate(choices):
        word = term[0]
        if any(_begins_something(db, each) for each in term):
            continue
        if may_leave_out and not is_telling(term):      # "the" is no slip for "thea"
            unknown.append(term)
            continue
        vocabulary = vocabulary or load_vocabulary(db)
        figures = word.translate(_FIGURES)
        near = (figures,) if figures.isdigit() and _begins_something(db, figures) else nearest(word, vocabulary)
        if near:
            choices[at] = near
            corrected.append((word, near))
        elif may_leave_out and not has_figure(word):
            unknown.append(term)
    if not any(is_telling(term) for term in choices if term not in unknown):
        unknown = []
    return choices, corrected, unknown


def nearest(word: str, vocabulary: Vocabulary, most: int = 4) -> tuple[str, ...]:
    """Known words one edit away from ``word``, even if its end is not typed yet; two edits from seven letters on,
    since in six they make another word."""
    from rapidfuzz.distance import OSA

    allowed = 2 if len(word) > 6 else 1
    if len(word) < 3 or word.isdigit():
        return ()
    near = []
    for known in vocabulary.words:
        distance = OSA.distance(word, known, score_cutoff=allowed)
        if distance > allowed and len(known) > len(word):
            distance = OSA.distance(word, known[:len(word)], score_cutoff=allowed)
        if distance <= allowed:
            near.append((distance, abs(len(known) - len(word)), known))
    return tuple(known for _, _, known in sorted(near)[:most])


def _begins_something(db: Database, word: str) -> bool:
    return any(db.execute(f"SELECT 1 FROM {index} WHERE {index} MATCH ? {_in_use(db, index)} LIMIT 1",
                          [_phrase(word, "*")]).fetchone() for index in _INDEXES)


def _phrase(words_: str, ending: str) -> str:
    """Words that follow one another, for FTS5; with ``*`` the last may go on, and Chinese and Japanese characters are
    found in the midst of a word."""
    sought = separated(words_) if ending else words_
    return '"' + sought.replace('"', '""') + '"' + ending


def match_query(terms: Sequence[tuple[str, ...]], ending: str) -> str:
    """All the terms, of each one of its alternatives, for FTS5; ``ending`` as for :func:`_phrase`."""
    return " AND ".join("(" + " OR ".join(_phrase(word, ending) for word in term) + ")" for term in terms)


def _in_use(db: Database, index: str) -> str:
    """Excludes files of retired stores, which would fill the list with rows that are not shown."""
    if index != "file_words" or not exists(db, "SELECT 1 FROM store WHERE forgotten IS NOT NULL"):
        return ""
    return """AND EXISTS (SELECT 1 FROM file f JOIN store s ON s.id = f.store_id
                          WHERE f.id = file_words.rowid AND s.forgotten IS NULL)"""


def _matching(db: Database, index: str, choices: Sequence[tuple[str, ...]], limit: int) -> list[int]:
    ids: list[int] = []
    for ending in ("", "*"):
        query = match_query(choices, ending)
        newest = "ORDER BY rowid DESC" if index == "order_words" else ""  # last time's order before all others
        for (row,) in db.execute(f"SELECT rowid FROM {index} WHERE {index} MATCH ? {_in_use(db, index)} {newest}"
                                 " LIMIT ?", [query, limit + len(ids)]):
            if row not in ids:
                ids.append(row)
        if len(ids) >= limit:
            break
    return ids[:limit]


def _in(ids: Sequence[int]) -> str:
    return ", ".join(map(str, ids)) or "NULL"


def _in_order(ids: Sequence[int], column: str) -> str:
    if not ids:
        return column
    return f"CASE {column} " + " ".join(f"WHEN {i} THEN {n}" for n, i in enumerate(ids)) + " END"


def _artists(db: Database, ids: Sequence[int]) -> list[ArtistHit]:
    return fetch(db, ArtistHit, f"""
        SELECT a.id, a.name, (SELECT count(*) FROM piece p WHERE p.artist_id = a.id) AS pieces
        FROM artist a WHERE a.id IN ({_in(ids)}) ORDER BY {_in_order(ids, "a.id")}""")


def _pieces(db: Database, ids: Sequence[int]) -> list[PieceHit]:
    return fetch(db, PieceHit, f"""
        SELECT p.id, a.name AS artist, p.title, p.year,
               (SELECT sha256 FROM scan c WHERE c.id = p.current_scan_id) AS sha256
        FROM piece p JOIN artist a ON a.id = p.artist_id
        WHERE p.id IN ({_in(ids)}) ORDER BY {_in_order(ids, "p.id")}""")


def _orders(db: Database, ids: Sequence[int]) -> list[OrderHit]:
    return fetch(db, OrderHit, f"""
        SELECT o.id, o.number, o.placed, o.buyer, {ORDER_STATUS} AS status,
               coalesce((SELECT group_concat(p.title, ', ') FROM order_line l JOIN piece p ON p.id = l.piece_id
                         WHERE l.order_id = o.id), '') AS summary,
               (SELECT piece_id FROM order_line l WHERE l.order_id = o.id ORDER BY id LIMIT 1) AS piece_id
        FROM orders o WHERE o.id IN ({_in(ids)}) ORDER BY o.placed DESC, o.id DESC""")


def _files(db: Database, ids: Sequence[int]) -> list[FileHit]:
    return fetch(db, FileHit, f"""
        SELECT f.id, f.path, s.name AS store, f.state, f.scan_id, c.piece_id, c.role, c.sha256
        FROM file f JOIN store s ON s.id = f.store_id LEFT JOIN scan c ON c.id = f.scan_id
        WHERE f.id IN ({_in(ids)}) AND s.forgotten IS NULL ORDER BY {_in_order(ids, "f.id")}""")


def rebuild_search(db: Database) -> None:
    """Make every search index again, in the caller's transaction, and merge its parts."""
    import sqlite_utils  # takes long to load

    tables = sqlite_utils.Database(db.conn, execute_plugins=False)
    for name in _REBUILT_BY_FTS5:
        tables.table(name).rebuild_fts()
    for name, rows in _FILLED_BY.items():
        tables.table(name).delete_where()
        tables.table(name).insert_all(tables.query(rows))
    for name in (*_REBUILT_BY_FTS5, *_FILLED_BY):
        tables.table(name).optimize()
