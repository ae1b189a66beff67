"""What a person corrects of artists, pieces and scans: each a statement that later index runs follow, each undone."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field

from catalogue.errors import NotFound, Refused
from catalogue.records import effective, events, history, overlays, pieces, replay, scans
from catalogue.records.database import Database, last_statement, transaction
from catalogue.records.folding import folded
from catalogue.records.pieces import Artist, Piece
from catalogue.records.scans import Scan


@dataclass(frozen=True, slots=True)
class Correction:
    """A correction that was made, in words. ``id`` is the event that names it for undoing; 0 where nothing changed."""

    id: int
    detail: str


@dataclass(slots=True)
class Making:
    """A correction under way; :meth:`say` what it is."""

    db: Database
    before: int | None
    words: list[str] = field(default_factory=list)

    def say(self, words: str) -> None:
        self.words.append(words)

    def done(self) -> Correction:
        event = last_statement(self.db)
        return Correction(event if event is not None and event != self.before else 0, "; ".join(self.words))


@contextmanager
def correction(db: Database) -> Iterator[Making]:
    """One transaction, logged under the words said in it."""
    making = Making(db, last_statement(db))
    with transaction(db):
        yield making
        effective.settle(db)
        if making.words:
            with transaction(db, "; ".join(making.words)):
                pass


def piece_of(db: Database, piece_id: int) -> Piece:
    """The piece of that number. Raises NotFound."""
    piece = pieces.by_id(db, piece_id)
    if piece is None:
        raise NotFound(f"There is no piece {piece_id}.", hint="Try: catalogue find WORDS.")
    return piece


def artist_of(db: Database, artist_id: int) -> Artist:
    """The artist of that number. Raises NotFound."""
    artist = pieces.artist_by_id(db, artist_id)
    if artist is None:
        raise NotFound(f"There is no artist {artist_id}.", hint="Try: catalogue artist list.")
    return artist


def scan_of(db: Database, scan_id: int) -> Scan:
    """The scan of that number. Raises NotFound."""
    scan = scans.by_id(db, scan_id)
    if scan is None:
        raise NotFound(f"There is no scan {scan_id}.")
    return scan


def rename_artist(db: Database, artist_id: int, name: str) -> Correction:
    """Another spelling for an artist. Folders and tags that spell it as before still mean this artist."""
    with correction(db) as made:
        artist = artist_of(db, artist_id)
        name = " ".join(name.split())
        if not folded(name):
            raise Refused("An artist has a name.")
        other = pieces.artist_named(db, name)
        if other is not None and other.id != artist.id:
            raise Refused(f"There is an artist called {other.name!r} already.",
                          hint=f"If the two are one: catalogue artist merge {artist.name!r} --into {other.name!r}.")
        if name != artist.name:
            made.say(f"artist renamed: {artist.name} to {name}")
            overlays.state_artist(db, artist.id, {"name": name})
    return made.done()


def merge_artists(db: Database, keep_id: int, gone_id: int) -> Correction:
    """Two artists that are one: all pieces go to the one that stays, those of one title become one piece.

    Contact, terms and notes are carried over; where both have some, the other's are added to the notes. Raises
    Refused for an artist with itself, and where two pieces of one title both have editions.
    """
    from catalogue.records import editions

    with correction(db) as made:
        keep, gone = artist_of(db, keep_id), artist_of(db, gone_id)
        if keep.id == gone.id:
            raise Refused("An artist cannot be merged with themselves.")
        made.say(f"artists merged: {gone.name} ({gone.id}) into {keep.name} ({keep.id})")
        overlays.state_artist(db, gone.id, {})  # spoken of now: stays known though all pieces leave
        for own, other in pieces.of_one_title(db, keep.id, gone.id):
            if editions.of_piece(db, own.id) and editions.of_piece(db, other.id):
                raise Refused(f"Both have a piece {own.title!r} with an edition.",
                              hint="Settle first which edition holds, then merge.")
            pieces.join(db, own, other)
        said = pieces.joined_facts({name: getattr(keep, name) for name in ("contact", "terms", "notes")},
                                   {name: getattr(gone, name) for name in ("contact", "terms", "notes")}, gone.name)
        overlays.state_artist(db, keep.id, said)
        overlays.state_artist(db, gone.id, {"joined_into": keep.id})
    return made.done()


def set_piece(db: Database, piece_id: int, said: Mapping[str, object], *, artist: str | None = None) -> Correction:
    """State facts of a piece: title, year, series, inventory_number, width_mm, height_mm, relief_mm, notes, and
    another artist by name, made if new. What is as it was is not stated anew.

    Raises Refused where the artist has another piece of that title.
    """
    with correction(db) as made:
        piece = piece_of(db, piece_id)
        facts = {name: value.strip() if isinstance(value, str) else value for name, value in said.items()}
        if "title" in facts and not folded(str(facts["title"])):
            raise Refused("A piece has a title.")
        changed = {name: value for name, value in facts.items() if getattr(piece, name) != value}
        if artist is not None:
            if not folded(artist):
                raise Refused("An artist has a name.")
            other = pieces.artist_called(db, artist)
            if other.id != piece.artist_id:
                changed["artist_id"] = other.id
        owner = changed.get("artist_id", piece.artist_id)
        there = pieces.of_title(db, int(str(owner)), str(changed.get("title", piece.title)))
        if there is not None and there != piece.id:
            held = piece_of(db, there)
            raise Refused(f"{held.artist} has a piece called {held.title!r} already.",
                          hint=f"If the two are one: catalogue piece merge {piece.id} --into {held.id}.")
        if changed:
            names = ", ".join(name.removesuffix("_mm").removesuffix("_id").replace("_", " ") for name in changed)
            made.say(f"piece {piece.artist}: {piece.title} ({piece.id}): {names} stated")
            pieces.state(db, piece.id, changed)
    return made.done()


def set_scan(db: Database, scan_id: int, *, role: str | None = None, piece_id: int | None = None) -> Correction:
    """State what a scan is and which piece it shows. Raises Refused for a role there is not."""
    with correction(db) as made:
        scan = scan_of(db, scan_id)
        if role is not None and role not in scans.ROLES:
            raise Refused(f"{role!r} is no role of a scan.", hint=f"Roles are: {', '.join(scans.ROLES)}.")
        if role is not None and (role, "person") != (scan.role, scan.role_source):
            made.say(f"scan {scan.sha256[:12]}…: a {role}")
            scans.set_role(db, scan.id, role)
        if piece_id is not None and (piece_id, "person") != (scan.piece_id, scan.piece_source):
            piece = piece_of(db, piece_id)
            made.say(f"scan {scan.sha256[:12]}… to {piece.artist}: {piece.title} ({piece.id})")
            scans.set_piece(db, scan.id, piece.id)
    return made.done()


def move_to_new_piece(db: Database, scan_id: int, artist: str, title: str, *, role: str | None = None) -> Correction:
    """File a scan under a new piece, in a role if one is given.

    Raises Refused where the artist has a piece of that title.
    """
    with correction(db) as made:
        scan = scan_of(db, scan_id)
        if not folded(artist) or not folded(title):
            raise Refused("A new piece needs an artist and a title.")
        if pieces.known_piece(db, artist, title) is not None:
            raise Refused(f"{artist} has a piece called {title!r} already.",
                          hint="Move the scan to it, or choose another title.")
        new = pieces.piece_called(db, pieces.artist_called(db, artist).id, title)
        made.say(f"scan {scan.sha256[:12]}… to a new piece, {artist}: {title} ({new})")
        scans.set_piece(db, scan.id, new)
        if role is not None:
            scans.set_role(db, scan.id, role)
    return made.done()


def undo(db: Database, event_id: int | None = None) -> Correction:
    """Take back a statement by the number of its event, or the last one that still stands.

    Raises NotFound, or Refused where what it stated was changed since.
    """
    if event_id is None:
        standing = [s for s in history.statements(db) if s.undone_by is None and s.undoes is None]
        if not standing:
            raise NotFound("There is nothing to undo.")
        event_id = standing[0].id
    event = events.by_id(db, event_id)
    if event is not None and event.type == "migration":
        raise Refused(f"Event {event_id} is the upgrade of the catalogue; it is not undone.")
    before = last_statement(db)
    replay.undo(db, event_id)
    made = last_statement(db)
    undone = event.detail if event else str(event_id)
    return Correction(made if made is not None and made != before else 0, f"Undone: {undone}")
