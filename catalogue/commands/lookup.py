"""The one piece or artist that a person's words mean."""

from typing import TYPE_CHECKING

from catalogue.errors import Ambiguous, NotFound
from catalogue.records import pieces
from catalogue.records.database import Database
from catalogue.records.pieces import Artist, Piece

if TYPE_CHECKING:
    from catalogue.records.search import Found

ID, TITLE = "id:", "title:"  # before a piece's number, or its title, where both could be meant
ID_DIGITS = 18  # SQLite's integers have 64 bits


def find_piece(db: Database, words: str) -> Piece:
    """The one piece meant by its number, its title, or words; ``id:3`` and ``title:3`` say which.

    Raises NotFound, or Ambiguous with the pieces that fit.
    """
    meant = meant_pieces(db, words)
    if len(meant) == 1:
        return meant[0][1]
    if meant:
        listed = "; ".join(f"{typed} for {p.artist}: {p.title}" for typed, p in meant[:8])
        raise Ambiguous(f"{words!r} is the number of one piece and the title of another.", hint=f"Write {listed}.")
    if words.startswith(ID):
        raise NotFound(f"There is no piece number {words.removeprefix(ID)}.", hint="Try: catalogue find WORDS.")
    words = words.removeprefix(TITLE)
    fitting = pieces.matching(db, words) or [
        piece for hit in _search(db, words).pieces if (piece := pieces.by_id(db, hit.id))]
    if not fitting:
        raise NotFound(f"No piece matches {words!r}.", hint="Try: catalogue find WORDS.")
    if len(fitting) > 1:
        listed = "; ".join(f"{p.id} {p.artist}: {p.title}" for p in fitting[:8])
        raise Ambiguous(f"{len(fitting)} pieces match {words!r}.", hint=f"Give the number: {listed}.")
    return fitting[0]


def meant_pieces(db: Database, words: str) -> list[tuple[str, Piece]]:
    """Pieces that a number stands for, each with the way to say that it is meant: by its id, and by its title."""
    number = words.removeprefix(ID)
    if not (number.isascii() and number.isdigit() and len(number) <= ID_DIGITS):
        return []
    by_id = pieces.by_id(db, int(number))
    meant = [(f"{ID}{number}", by_id)] if by_id else []
    if number == words:
        meant += [(f"{ID}{piece.id}", piece) for piece_id in pieces.titled(db, words)
                  if (piece := pieces.by_id(db, piece_id)) and piece != by_id]
    return meant


def find_artist(db: Database, words: str) -> Artist:
    """The one artist meant; raises NotFound, or Ambiguous with those who fit."""
    fitting = pieces.artists_matching(db, words) or [
        artist for hit in _search(db, words).artists if (artist := pieces.artist_by_id(db, hit.id))]
    if not fitting:
        raise NotFound(f"No artist matches {words!r}.", hint="Try: catalogue artist list.")
    if len(fitting) > 1:
        raise Ambiguous(f"{len(fitting)} artists match {words!r}.", hint="; ".join(a.name for a in fitting[:8]) + ".")
    return fitting[0]


def _search(db: Database, words: str) -> "Found":
    from catalogue.records.search import search  # not needed where a number or a title is given

    return search(db, words, 20)
