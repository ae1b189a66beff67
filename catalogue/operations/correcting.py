"""Corrections to artists, pieces and scans. Later index runs follow them; each can be undone exactly."""

from collections.abc import Mapping, Sequence

from catalogue.errors import AlreadyExists, Refused, sentence
from catalogue.indexing import corrections
from catalogue.indexing.corrections import Correction, confirm_pieces, correction, merge_artists, rename_artist
from catalogue.indexing.corrections import set_scans as describe_scans
from catalogue.indexing.corrections import undo as undo_statement
from catalogue.ledger import editions
from catalogue.likeness.merging import merge as merge_pieces
from catalogue.likeness.merging import split as split_piece
from catalogue.likeness.merging import undo_older as undo_older_change
from catalogue.records import effective, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.folding import fold_name
from catalogue.records.pieces import Artist, Piece
from catalogue.untrusted import shell_word

__all__ = ["Correction", "add_piece", "add_spelling", "choose_current_master", "confirm_artist", "confirm_pieces",
           "correct_artist", "describe_artist", "describe_piece", "describe_pieces", "describe_scans",
           "merge_artists", "merge_pieces", "new_artist_note", "rename_artist", "split_piece", "state_names",
           "summarize", "undo_older_change", "undo_statement"]


def describe_piece(db: Database, piece_id: int, facts: Mapping[str, object], *,
                   artist: str | None = None) -> tuple[Correction, Piece]:
    """State what is known of an original; returns the piece as it stands then. Raises NotFound, Refused."""
    change = corrections.set_piece(db, piece_id, facts, artist=artist)
    return change, pieces.get_piece(db, piece_id)


def new_artist_note(db: Database, name: str) -> list[str]:
    """That a name is no artist's yet and is about to be one, and who of that surname may be meant; nothing where it is
    an artist's."""
    if not fold_name(name) or pieces.artist_named(db, name) is not None:
        return []
    words, new = fold_name(name).split(), name.strip()
    meant = [other.name for other in pieces.artists_matching(db, words[-1])
             if {*words} <= {*fold_name(other.name).split()}]
    return [f"{new} is a new artist.", *(f"If {other} is meant: catalogue artist merge {shell_word(new)}"
                                         f" --into {shell_word(other)}" for other in meant)]


def confirm_artist(db: Database, artist_id: int) -> Correction:
    """As :func:`confirm_pieces`, for every piece of an artist."""
    return confirm_pieces(db, [piece.id for piece in pieces.every(db) if piece.artist_id == artist_id])


def describe_pieces(db: Database, piece_ids: Sequence[int], facts: Mapping[str, object], *, artist: str | None = None,
                    edition: tuple[int, int] | None = None) -> Correction:
    """State facts of pieces, and the limit and proofs of their edition of all sizes; all at once or not at all.

    A fact that is None is taken back: what is guessed holds again. Raises NotFound, Refused.
    """
    with correction(db) as made:
        made.say(corrections.set_pieces(db, piece_ids, facts, artist=artist).detail)
        if edition is not None:
            for piece_id in piece_ids:
                editions.define(db, piece_id, edition[0], proofs=edition[1])
            made.say(f"edition of {edition[0]}" + (f" and {edition[1]} proofs" if edition[1] else ""))
    return made.result()


def add_piece(db: Database, artist: str, title: str, facts: Mapping[str, object], *,
              edition: tuple[int, int] | None = None) -> Correction:
    """Record a piece that has no scan yet, with what is known of it and its edition of all sizes.

    Raises Refused if the artist already has a piece with that title; as :func:`describe_pieces` otherwise.
    """
    with correction(db) as made:
        if pieces.known_piece(db, artist, title) is not None:
            raise AlreadyExists(f"{artist} already has a piece called {title!r}.", hint="Open it and correct it.")
        piece_id = pieces.piece_called(db, pieces.artist_called(db, artist).id, title)
        made.say(f"a new piece, {artist}: {title} ({piece_id})")
        if facts or edition:
            made.say(describe_pieces(db, [piece_id], facts, edition=edition).detail)
    return made.result()


def correct_artist(db: Database, artist_id: int, *, name: str | None = None, join_into: int | None = None,
                   facts: Mapping[str, str] | None = None) -> Correction:
    """Spell an artist otherwise, note contact, terms or notes, or join them into another; in this order, as one
    statement. ``name`` "" gives the spelling back to what the files say. Raises NotFound, Refused.
    """
    with correction(db) as made:
        if name is not None:
            made.say((rename_artist(db, artist_id, name) if name else corrections.unname_artist(db, artist_id)).detail)
        if facts:
            artist = describe_artist(db, artist_id, **facts)
            made.say(f"artist {artist.name}: {', '.join(facts)} noted")
        if join_into is not None:
            made.say(merge_artists(db, join_into, artist_id).detail)
    return made.result()


def choose_current_master(db: Database, piece_id: int, scan_id: int) -> None:
    """State which scan a piece is printed from; the former one stays in the archive, superseded."""
    with transaction(db):
        pieces.set_current(db, piece_id, scan_id, "person")


def describe_artist(db: Database, artist_id: int, *, contact: str | None = None, terms: str | None = None,
                    notes: str | None = None) -> Artist:
    """State how to reach an artist and what was agreed; None leaves a fact unchanged. Raises NotFound."""
    with transaction(db):
        artist = pieces.get_artist(db, artist_id)
        facts = {"contact": contact, "terms": terms, "notes": notes}
        pieces.describe_artist(db, artist.id, **{name: value for name, value in facts.items() if value is not None})
    return pieces.get_artist(db, artist_id)


def state_names(db: Database, artists: Mapping[str, str], titles: Sequence[tuple[str, str, str]] = ()) -> Correction:
    """State which artist each name means that folders and tags spell, by name, and then what pieces are called:
    ``(artist, title as guessed, title)``; also before there is a scan of any. Two titles that are one join their
    pieces. Later guesses of the former names mean these artists and pieces. Raises Refused for an empty name."""
    with correction(db) as made:
        for name, meant in artists.items():
            if not fold_name(name) or not fold_name(meant):
                raise Refused("An artist needs a name.")
            guessed, other = pieces.artist_called(db, name), pieces.artist_called(db, meant)
            made.say((rename_artist(db, guessed.id, meant) if guessed.id == other.id
                      else merge_artists(db, other.id, guessed.id)).detail)
        for title in titles:
            made.say(_state_title(db, *title).detail)
    return made.result()


def add_spelling(db: Database, artist_id: int, spelling: str) -> Correction:
    """State that an artist is also written so, in folders, tags and order books. Raises NotFound; Refused if another
    artist is called so."""
    artist, other = pieces.get_artist(db, artist_id), pieces.artist_named(db, spelling)
    if other is not None and other.id != artist.id:
        raise Refused(f"{other.name!r} is another artist on record.",
                      hint=f"If they are the same artist: catalogue artist merge {shell_word(other.name)}"
                           f" --into {shell_word(artist.name)}.")
    with correction(db) as made:
        if other is None:
            state_names(db, {spelling: artist.name})
            made.say(f"{artist.name} is also written {spelling.strip()}")
    return made.result()


def _state_title(db: Database, artist: str, guessed: str, title: str) -> Correction:
    if not fold_name(title):
        raise Refused("A piece needs a title.")
    owner = pieces.artist_called(db, artist)
    piece_id = effective.piece_meant(db, artist, guessed) or pieces.piece_called(db, owner.id, guessed)
    other = pieces.of_title(db, owner.id, title)
    change = merge_pieces(db, other, piece_id) if other is not None and other != piece_id \
        else corrections.set_piece(db, piece_id, {"title": title})
    if effective.piece_meant(db, artist, guessed) is None:  # the name it had was itself a correction
        merge_pieces(db, other or piece_id, pieces.piece_called(db, owner.id, guessed))
    return change


def summarize(change: Correction) -> list[str]:
    """What was corrected, or that nothing had to change."""
    return [sentence(change.detail) if change.id else "Nothing to change."]
