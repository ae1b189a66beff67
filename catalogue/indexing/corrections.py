"""Corrections a person makes to artists, pieces and scans: statements that later index runs follow and that can be
undone."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from catalogue.errors import AlreadyExists, Gone, Refused, required
from catalogue.records import editions, events, history, pieces, refilings, replay, scans, stated_facts
from catalogue.records.database import Database, last_statement, statement_since, transaction
from catalogue.records.folding import fold_name
from catalogue.records.pieces import Piece
from catalogue.records.scans import Scan
from catalogue.records.transactions import recompute
from catalogue.untrusted import shell_word


@dataclass(frozen=True, slots=True)
class Correction:
    """A correction that was made, in words. ``id`` is the event that names it for undoing; 0 if nothing changed."""

    id: int
    detail: str


@dataclass(slots=True)
class Making:
    """A correction in progress: :meth:`say` records what it, and corrections within it, did."""

    db: Database
    before: int | None
    words: list[str] = field(default_factory=list)

    def say(self, words: str) -> None:
        if words and words not in self.words:
            self.words.append(words)

    def say_of(self, known: Sequence[Scan], words: str, joint: str = ":") -> None:
        """Say something of these scans, if there are any."""
        if known:
            who = f"scan {known[0].sha256[:12]}…" if len(known) == 1 else f"{len(known)} scans"
            self.say(f"{who}{'' if joint == ':' else ' '}{joint} {words}")

    def result(self) -> Correction:
        return Correction(statement_since(self.db, self.before) or 0, "; ".join(self.words))


@contextmanager
def correction(db: Database) -> Iterator[Making]:
    """One transaction, logged under the words said within it."""
    making = Making(db, last_statement(db))
    with transaction(db):
        yield making
        recompute(db)
        for words in making.words:
            with transaction(db, words):
                pass


def rename_artist(db: Database, artist_id: int, name: str) -> Correction:
    """Rename an artist. Folders and tags with the former spelling still mean this artist."""
    with correction(db) as made:
        artist = pieces.get_artist(db, artist_id)
        name = " ".join(name.split())
        if not fold_name(name):
            raise Refused("An artist needs a name.")
        other = pieces.artist_named(db, name)
        if other is not None and other.id != artist.id:
            raise AlreadyExists(f"There is already an artist called {other.name!r}.",
                                hint=f"If they are the same: catalogue artist merge {shell_word(artist.name)}"
                                     f" --into {shell_word(other.name)}.")
        if name != artist.name:
            made.say(f"artist renamed: {artist.name} to {name}")
            stated_facts.state_artist(db, artist.id, {"name": name})
    return made.result()


def unname_artist(db: Database, artist_id: int) -> Correction:
    """Retract an artist's stated name: the spelling in the files holds again."""
    with correction(db) as made:
        artist = pieces.get_artist(db, artist_id)
        stated = stated_facts.stated_row(db, "artist_stated", artist.id)
        if stated is not None and stated["name"] is not None:
            made.say(f"artist {artist.name}: spelt as in the files again")
            stated_facts.state_artist(db, artist.id, {"name": None})
    return made.result()


def merge_artists(db: Database, keep_id: int, gone_id: int) -> Correction:
    """Two artists that are one: all pieces go to the one that stays, those of one title become one piece.

    Contact, terms and notes are carried over; where both have some, the other's are added to the notes. Raises
    Refused for an artist with itself, and where two pieces of one title both have editions.
    """
    with correction(db) as made:
        keep, gone = pieces.get_artist(db, keep_id), pieces.get_artist(db, gone_id)
        if keep.id == gone.id:
            raise Refused("An artist cannot be merged with themselves.")
        made.say(f"artists merged: {gone.name} ({gone.id}) into {keep.name} ({keep.id})")
        stated_facts.state_artist(db, gone.id, {})  # has stated facts now: stays known though all pieces leave
        for own, other in pieces.of_one_title(db, keep.id, gone.id):
            if editions.of_piece(db, own.id) and editions.of_piece(db, other.id):
                raise Refused(f"Both have a piece {own.title!r} with an edition.",
                              hint="Decide first which edition is valid, then merge.")
            pieces.join(db, own, other)
        facts = pieces.joined_facts({name: getattr(keep, name) for name in ("contact", "terms", "notes")},
                                   {name: getattr(gone, name) for name in ("contact", "terms", "notes")}, gone.name)
        stated_facts.state_artist(db, keep.id, facts)
        stated_facts.state_artist(db, gone.id, {"joined_into": keep.id})
    return made.result()


def set_piece(db: Database, piece_id: int, values: Mapping[str, object], *, artist: str | None = None) -> Correction:
    """State facts of a piece: title, year, series, inventory_number, medium, width_mm, height_mm, relief_mm, notes, and
    another artist by name, made if new. Unchanged facts are not stated again; None retracts a statement, so that the
    guess holds again (``artist_id`` None: of the artist).

    Raises Refused if the artist has another piece of that title.
    """
    return set_pieces(db, [piece_id], values, artist=artist)


def set_pieces(db: Database, piece_ids: Sequence[int], values: Mapping[str, object], *,
               artist: str | None = None) -> Correction:
    """:func:`set_piece` for several pieces, all or none of them."""
    facts = {name: value.strip() if isinstance(value, str) else value for name, value in values.items()}
    with correction(db) as made:
        if facts.get("title") is not None and not fold_name(str(facts["title"])):
            raise Refused("A piece needs a title.")
        if artist is not None and not fold_name(artist):
            raise Refused("An artist needs a name.")
        named: dict[str, list[Piece]] = {}
        for piece_id in piece_ids:
            piece = pieces.get_piece(db, piece_id)
            changed = _changed(db, piece, facts, artist)
            if changed:
                names = ", ".join(name.removesuffix("_mm").removesuffix("_id").replace("_", " ")
                                  + (" guessed again" if value is None else "")
                                  for name, value in changed.items())
                named.setdefault(names, []).append(piece)
                pieces.state(db, piece.id, changed)
        for names, of in named.items():
            who = f"piece {of[0].artist}: {of[0].title} ({of[0].id})" if len(of) == 1 else f"{len(of)} pieces"
            made.say(f"{who}: {names}" + ("" if names.endswith("guessed again") else " stated"))
    return made.result()


def confirm_pieces(db: Database, piece_ids: Sequence[int]) -> Correction:
    """State artist and title of pieces as they are, so that no later guess changes them and files may be named by them.
    What was stated already is left; all at once or not at all. Raises NotFound."""
    with correction(db) as made:
        confirmed = []
        for piece_id in piece_ids:
            piece = pieces.get_piece(db, piece_id)
            stated = stated_facts.stated_row(db, "piece_stated", piece.id) or {}
            facts = {name: value for name, value in (("artist_id", piece.artist_id), ("title", piece.title))
                     if stated.get(name) is None}
            if facts:
                pieces.state(db, piece.id, facts)
                confirmed.append(piece)
        if confirmed:
            made.say(f"{confirmed[0].artist}: {confirmed[0].title} ({confirmed[0].id}) confirmed" if len(confirmed) == 1
                     else f"{len(confirmed)} pieces confirmed")
    return made.result()


def _changed(db: Database, piece: Piece, facts: Mapping[str, object], artist: str | None) -> dict[str, object]:
    """What of ``facts`` is not so yet. Raises Refused if the artist has another piece of that title."""
    stated = stated_facts.stated_row(db, "piece_stated", piece.id) or {}
    changed = {name: value for name, value in facts.items()
               if (stated.get(name) is not None if value is None else getattr(piece, name) != value)}
    if artist is not None:
        other = pieces.artist_called(db, artist)
        if other.id != piece.artist_id:
            changed["artist_id"] = other.id
    owner, title = changed.get("artist_id", piece.artist_id), changed.get("title", piece.title)
    there = pieces.of_title(db, owner, title) if isinstance(owner, int) and isinstance(title, str) else None
    if there is not None and there != piece.id:
        held = pieces.get_piece(db, there)
        raise AlreadyExists(f"{held.artist} already has a piece called {held.title!r}.",
                            hint=f"If they are the same: catalogue piece merge {piece.id} --into {held.id}.")
    return changed


def set_scans(db: Database, digests: Sequence[str], *, role: str | None = None, piece_id: int | None = None,
              new_piece: tuple[str, str] | None = None, artist: str | None = None,
              to_guess: Collection[str] = ()) -> Correction:
    """State what scans are and which piece they show: one there is, a new one of this artist and title, or, with
    ``artist``, for each scan that artist's piece of the title it has now. ``to_guess`` names what was stated and is
    to be guessed again: ``role``, ``piece``. All of the scans or none.

    Raises NotFound; Refused for a role there is not, for a new piece that is there already, and for a scan without a
    title where only an artist is given.
    """
    with correction(db) as made:
        if role is not None and role not in scans.ROLES:
            raise Refused(f"{role!r} is not a role of a scan.", hint=f"Roles are: {', '.join(scans.ROLES)}.")
        known = [_present(db, sha256) for sha256 in digests]
        if new_piece is not None:
            piece_id = _new_piece(db, *new_piece)
        roles = [s for s in known if role is not None and (role, "person") != (s.role, s.role_source)]
        for scan in roles:
            scans.set_role(db, scan.id, role)
        made.say_of(roles, f"a {role}" if len(roles) == 1 else f"{role}s")
        moves: dict[int, list[Scan]] = {}
        for scan in known:
            goal = piece_id if artist is None else _same_title_of(db, scan, artist)
            if goal is not None and (goal, "person") != (scan.piece_id, scan.piece_source):
                moves.setdefault(goal, []).append(scan)
        for goal, moved in moves.items():
            piece = pieces.get_piece(db, goal)
            for scan in moved:
                scans.set_piece(db, scan.id, goal)
            new = "a new piece, " if new_piece else ""
            made.say_of(moved, f"{new}{piece.artist}: {piece.title} ({piece.id})", "to")
        for field, take_back in (("role", scans.set_role), ("piece", scans.set_piece)):
            stated = [s for s in known if field in to_guess and getattr(s, f"{field}_source") == "person"]
            for scan in stated:
                take_back(db, scan.id, None)
            made.say_of(stated, f"{field} guessed again")
    return made.result()


def _present(db: Database, sha256: str) -> Scan:
    scan = scans.by_digest(db, sha256)
    if scan is None:
        raise Gone(f"The scan {sha256[:12]}…")
    return scan


def _new_piece(db: Database, artist: str, title: str) -> int:
    if not fold_name(artist) or not fold_name(title):
        raise Refused("A new piece needs an artist and a title.")
    if pieces.known_piece(db, artist, title) is not None:
        raise AlreadyExists(f"{artist} already has a piece called {title!r}.",
                            hint="Move the scan to it, or choose another title.")
    return pieces.piece_called(db, pieces.artist_called(db, artist).id, title)


def _same_title_of(db: Database, scan: Scan, artist: str) -> int:
    """The artist's piece with the scan's present title, created if new."""
    if not fold_name(artist):
        raise Refused("An artist needs a name.")
    if scan.piece_id is None:
        raise Refused(f"The scan {scan.sha256[:12]}… has no title yet, so an artist alone does not file it.",
                      hint="Give a title too.")
    return pieces.piece_called(db, pieces.artist_called(db, artist).id, pieces.get_piece(db, scan.piece_id).title)


def undo(db: Database, event_id: int | None = None) -> Correction:
    """Take back a statement by the number of its event, or the last one that still stands.

    Raises NotFound, or Refused if what it stated was changed since.
    """
    if event_id is None:
        event_id = required(history.last_standing(db), "There is nothing to undo.")
    event = events.by_id(db, event_id)
    if event is not None and event.type == "migration":
        raise Refused(f"Event {event_id} is an upgrade of the catalogue and cannot be undone.")
    if event is not None and event.detail in (refilings.DONE, refilings.UNDONE):
        # its statements say by which names pieces are known, which is right only beside the guesses of that time
        raise Refused(f"Event {event_id} is a refiling by the place rules.",
                      hint="Undo the last one with: catalogue refile --undo.")
    before = last_statement(db)
    replay.undo(db, event_id)
    return Correction(statement_since(db, before) or 0, f"Undone: {event.detail if event else event_id}")
