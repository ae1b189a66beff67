"""Search over artists, pieces, orders and files, fast enough for every key pressed.

Every word must be found; the words as typed come before words that only begin so; a word that begins nothing is
corrected to the nearest words the catalogue knows.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.records.folding import unaccented, words
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
    """Hits by kind, best first. ``corrected`` pairs each mended word with what it was taken for."""

    artists: list[ArtistHit]
    pieces: list[PieceHit]
    orders: list[OrderHit]
    files: list[FileHit]
    corrected: tuple[tuple[str, tuple[str, ...]], ...] = ()

    @property
    def total(self) -> int:
        return len(self.artists) + len(self.pieces) + len(self.orders) + len(self.files)


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words artists, pieces and orders are made of: what slips are corrected to."""

    words: tuple[str, ...]


_INDEXES = ("artist_words", "piece_words", "order_words", "file_words")
_REBUILT_BY_FTS5 = ("artist_words", "file_words")    # they read a view of what they index
_FILLED_BY = {"piece_words": "SELECT id AS rowid, words FROM piece_text",
              "order_words": "SELECT id AS rowid, folded(words) AS words FROM order_text"}
_SIZE = re.compile(r"(?<![0-9.,])([0-9]+(?:[.,][0-9]+)?)\s*(?:cm|mm|inch(?:es)?|in|\"|″|′′)?\s*[x×]\s*"
                   r"([0-9]+(?:[.,][0-9]+)?)(?:\s*(cm\b|mm\b|inch(?:es)?\b|in\b|\"|″|′′))?", re.IGNORECASE)
_FIGURES = str.maketrans("oil", "011")  # letters read as figures, as in an invoice number copied by hand
_LARGEST_CM = 250  # a print's side beyond this is surely meant in millimetres


def words_of(text: str) -> list[str]:
    """The words of a query as the index knows them: folded, sizes as ``50x70``."""
    return [term[0] for term in _terms(text)]


def _terms(text: str) -> list[tuple[str, ...]]:
    """What must all be found: of each term one of the alternatives, a word, or words that follow one another. A size
    is sought as orders are indexed and as it was typed, for a title may hold one."""
    plain = unaccented(text)
    terms: list[tuple[str, ...]] = []
    end = 0
    for size in _SIZE.finditer(plain):
        terms += [(word,) for word in _words(plain[end : size.start()])]
        typed = " ".join(words(size[0]))
        terms.append(tuple(dict.fromkeys((_size_word(size), typed))))
        end = size.end()
    return terms + [(word,) for word in (_words(plain[end:]) if end else words(plain))]


def _words(text: str) -> list[str]:
    """Words beside a size: signs alone are none there."""
    stretches = words(text)
    return stretches if any(c.isalnum() for word in stretches for c in word) else []


def _size_word(match: re.Match[str]) -> str:
    """``50 × 70 cm``, ``50.2x70`` and ``500x700mm`` as orders are indexed: whole centimetres."""
    sides = [float(side.replace(",", ".")) for side in match.group(1, 2)]
    unit = (match[3] or "").lower()
    if unit.startswith("in") or unit in ('"', "″", "′′"):  # folding takes a double prime apart
        sides = [side * 2.54 for side in sides]
    elif unit == "mm" or (not unit and min(sides) > _LARGEST_CM):
        sides = [side / 10 for side in sides]
    return "{}x{}".format(*(int(side + 0.5) for side in sides))


def load_vocabulary(db: Database) -> Vocabulary:
    """All distinct words of artists, pieces and orders; load once and keep for a sitting."""
    vocabulary: set[str] = set()
    for index in _INDEXES[:3]:
        db.execute(f"CREATE VIRTUAL TABLE IF NOT EXISTS temp.{index}_known USING fts5vocab (main, {index}, 'row')")
        vocabulary.update(row[0] for row in db.execute(f"SELECT term FROM temp.{index}_known"))
    return Vocabulary(tuple(sorted(word for word in vocabulary if len(word) > 2 and not word.isdigit())))


def search(db: Database, text: str, limit: int = 20, vocabulary: Vocabulary | None = None) -> Found:
    """What fits all the words, at most ``limit`` of each kind."""
    choices, corrected = _corrected(db, text, vocabulary)
    if not choices:
        return Found([], [], [], [])
    ids = {index: _matching(db, index, choices, limit) for index in _INDEXES}
    return Found(_artists(db, ids["artist_words"]), _pieces(db, ids["piece_words"]), _orders(db, ids["order_words"]),
                 _files(db, ids["file_words"]), tuple(corrected))


def corrected_terms(db: Database, text: str) -> list[tuple[str, ...]]:
    """The words of a query, slips corrected: of each term one of the alternatives is to be found."""
    return _corrected(db, text, None)[0]


def _corrected(db: Database, text: str, vocabulary: Vocabulary | None) -> tuple[
        list[tuple[str, ...]], list[tuple[str, tuple[str, ...]]]]:
    """The terms to seek, and which words were taken for others."""
    choices = _terms(text)
    corrected = []
    for at, term in enumerate(choices):
        if not any(_begins_something(db, word) for word in term):
            word = term[0]
            vocabulary = vocabulary or load_vocabulary(db)
            figures = word.translate(_FIGURES)
            near = (figures,) if figures.isdigit() and _begins_something(db, figures) else nearest(word, vocabulary)
            if near:
                choices[at] = near
                corrected.append((word, near))
    return choices, corrected


def nearest(word: str, vocabulary: Vocabulary, most: int = 4) -> tuple[str, ...]:
    """Known words within one slip of ``word``, also where its end is not typed yet; within two from seven letters on,
    for of six they leave another word."""
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
    """Words that follow one another, for FTS5; with ``*`` the last may go on."""
    return '"' + words_.replace('"', '""') + '"' + ending


def match_query(terms: Sequence[tuple[str, ...]], ending: str) -> str:
    """All the terms, of each one of its alternatives, for FTS5; ``ending`` as for :func:`_phrase`."""
    return " AND ".join("(" + " OR ".join(_phrase(word, ending) for word in term) + ")" for term in terms)


def _in_use(db: Database, index: str) -> str:
    """Files of retired stores are not sought, lest they fill the list with what is not shown."""
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
        SELECT o.id, o.number, o.placed, o.buyer, o.status,
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
