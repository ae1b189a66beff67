"""Whose work new scans show: by likeness to held scans, by metadata, by folder and name; with the reason."""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.filing.model import STATED_IN_FILE, Guessed
from catalogue.indexing.guessing import guess_paths
from catalogue.intake.arrivals import Arrival
from catalogue.reading.model import Reading
from catalogue.records import intake, pieces, scans
from catalogue.records.database import Database
from catalogue.records.paths import display_path
from catalogue.records.pieces import folded
from catalogue.records.query_terms import words_of
from catalogue.records.search import search
from catalogue.settings import Home

# Words in file names that name no work. Common practice, no source.
_IDLE = frozenset({
    "scan", "scans", "img", "image", "dsc", "dscf", "picture", "untitled", "new", "copy", "final", "tile", "tiles",
    "master", "stitched", "rescan", "re", "part", "capture", "print", "web", "ref", "reference", "detail", "export",
    "flat", "edited", "tif", "tiff", "jpg", "jpeg", "png", "page", "of", "left", "right", "top", "bottom", "upper",
    "lower", "and", "a", "the",
})


@dataclass(frozen=True, slots=True)
class SimilarScan:
    """A held scan that a new one resembles. ``relation`` reads from the new one: "re-scan", "tile of", "has tile", …"""

    scan_id: int
    piece_id: int | None
    relation: str
    certainty: float
    evidence: str


Likeness = Callable[[Reading], Sequence[SimilarScan]]


def similar_held(db: Database, arrivals: Sequence[Arrival], likeness: Likeness | None) -> list[SimilarScan]:
    """Held scans the arrivals resemble, surest first; one entry a held scan."""
    similar: dict[int, SimilarScan] = {}
    for arrival in arrivals:
        same = scans.by_digest(db, arrival.reading.sha256)
        if same:
            similar[same.id] = SimilarScan(same.id, same.piece_id, "same bytes", 1.0, "known, but not in this store")
        for scan in intake.of_pixels(db, arrival.reading.pixel_digest):
            if scan.sha256 != arrival.reading.sha256:
                similar[scan.id] = SimilarScan(scan.id, scan.piece_id, "same pixels", 1.0,
                                     f"{scan.sha256[:12]}… has the same pixels")
        for kin in likeness(arrival.reading) if likeness else ():
            if kin.scan_id not in similar or similar[kin.scan_id].certainty < kin.certainty:
                similar[kin.scan_id] = kin
    return sorted(similar.values(), key=lambda k: (-k.certainty, k.scan_id))


def guess_names(db: Database, home: Home, folder: Path, arrivals: Sequence[Arrival], kin: Sequence[SimilarScan]
          ) -> tuple[Guessed, Guessed]:
    """Artist and piece, each the surest that any clue gives."""
    guesses = [pair for pair in (_by_kin(db, kin), _by_metadata(db, arrivals), _by_place(db, home, folder, arrivals),
                                 _by_words(db, folder, arrivals)) if pair]
    artist = max((a for a, _ in guesses if a.value), key=lambda g: g.certainty, default=Guessed())
    fitting = [p for a, p in guesses if p.value and (not a.value or folded(a.value) == folded(artist.value))]
    return artist, max(fitting, key=lambda g: g.certainty, default=Guessed())


def known_piece(db: Database, artist: str, title: str) -> int | None:
    """Id of a held piece by names, or None."""
    return pieces.known_piece(db, artist, title) if artist and title else None


def year_of(db: Database, piece_id: int | None) -> str:
    """The piece's year as the catalogue has it."""
    piece = pieces.by_id(db, piece_id) if piece_id is not None else None
    return piece.year if piece else ""


def _by_kin(db: Database, kin: Sequence[SimilarScan]) -> tuple[Guessed, Guessed] | None:
    for held in kin:
        piece = pieces.by_id(db, held.piece_id) if held.piece_id is not None else None
        if piece:
            why = f"{held.relation}: {held.evidence}"
            return Guessed(piece.artist, held.certainty, why), Guessed(piece.title, held.certainty, why)
    return None


def _by_metadata(db: Database, arrivals: Sequence[Arrival]) -> tuple[Guessed, Guessed] | None:
    creators = {a.reading.metadata.creator.strip() for a in arrivals} - {""}
    titles = {a.reading.metadata.title.strip() for a in arrivals} - {""}
    creator = display_path(creators.pop()) if len(creators) == 1 else ""
    title = display_path(titles.pop()) if len(titles) == 1 else ""
    if not creator and not title:
        return None
    return (_artist(db, creator, STATED_IN_FILE, 0.95, 0.8),
            _piece(db, creator, title, STATED_IN_FILE, 0.95, 0.8))


def _by_place(db: Database, home: Home, folder: Path, arrivals: Sequence[Arrival]) -> tuple[Guessed, Guessed] | None:
    """As the shop's place rules or the tree of folders suggest, with and without the folder's own name; all must
    agree."""
    known_artists = [artist.name for artist in pieces.artists_whole(db)]
    for prefix in ("", f"{folder.name}/"):
        names = {(g.artist, g.title) for g in guess_paths([prefix + a.inside for a in arrivals],
                                                          home.settings.place_rules, known_artists)}
        who, title = names.pop() if len(names) == 1 else ("", "")
        if who and title:
            artist = _artist(db, who, "named by its folder", 0.9, 0.6)
            if prefix and artist.certainty < 0.9:
                continue  # a key's own name is an artist's only if the shop knows that artist
            return artist, _piece(db, who, title, "named by its path", 0.9, 0.65)
    return None


def _by_words(db: Database, folder: Path, arrivals: Sequence[Arrival]) -> tuple[Guessed, Guessed] | None:
    """Words of the file's name, then of its folders', looked up among held pieces; misspellings allowed."""
    stem = re.sub(r"\d+", " ", Path(display_path(arrivals[0].inside)).stem)
    around = " ".join((*Path(display_path(arrivals[0].inside)).parts[:-1], folder.name))
    words = [w for w in words_of(stem) if len(w) > 2 and w not in _IDLE]
    if not words:
        return None
    more = [w for w in words_of(around) if len(w) > 2 and w not in _IDLE and w not in words]
    hits = search(db, " ".join([*words, *more]), 3).pieces if more else []
    hits = hits or search(db, " ".join(words), 3).pieces
    if not hits:
        return Guessed(), Guessed(" ".join(words).capitalize(), 0.3, "the words of its name")
    hit = hits[0]
    whole = set(words_of(hit.title)) <= set(words + more)
    certainty = 0.5 if len(hits) > 1 else 0.8 if whole and len(words) > 1 else 0.7 if whole else 0.55
    others = f"; also matches {hits[1].artist}, {hits[1].title}" if len(hits) > 1 else ""
    why = f"its name says {' '.join(words)!r}{others}"
    return Guessed(hit.artist, certainty, why), Guessed(hit.title, certainty, why)


def _artist(db: Database, name: str, why: str, known: float, new: float) -> Guessed:
    if not name:
        return Guessed()
    held = pieces.artist_named(db, name) is not None
    return Guessed(name, known if held else new, why if held else f"{why}; a new artist")


def _piece(db: Database, artist: str, title: str, why: str, known: float, new: float) -> Guessed:
    if not title:
        return Guessed()
    held = known_piece(db, artist, title) is not None
    return Guessed(title, known if held else new, why if held else f"{why}; a new piece")
