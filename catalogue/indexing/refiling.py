"""Guesses made anew after the place rules changed: what they would move is shown first, and can be taken back.

What a person stated of a scan or a piece is not touched. A piece of which a person has spoken goes along under its new
name, with its orders, where all scans guessed under it are guessed alike now.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from catalogue.errors import CatalogueError, NotFound
from catalogue.indexing import naming
from catalogue.indexing.guessing import guess_scans
from catalogue.progress import Cancelled, Report, never, unheard
from catalogue.records import guesses, overlays, pieces, refilings, scans
from catalogue.records.database import Database, transaction
from catalogue.records.effective import settle
from catalogue.records.folding import folded
from catalogue.records.guesses import Guess, Guessed
from catalogue.records.paths import shown
from catalogue.records.refilings import Filed
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Move:
    """One scan that is filed otherwise; ``path`` is one of its files, names are ``Artist: Title`` or empty."""

    path: str
    before: str
    after: str
    role_before: str
    role_after: str


@dataclass(frozen=True, slots=True)
class Refiled:
    """``looked`` scans were guessed anew. ``id`` names the refiling for undoing; 0 where it was only shown."""

    looked: int
    moves: tuple[Move, ...]
    id: int = 0

    @property
    def counts(self) -> dict[tuple[str, str], int]:
        """How many scans go from one name to another, most first."""
        found = Counter((m.before, m.after) for m in self.moves if m.before != m.after)
        return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))


class _Shown(Exception):
    """Only a preview was asked for: everything is rolled back."""


def refile(db: Database, home: Home, *, apply: bool, former_rules: Sequence[str] | None = None,
           report: Report = unheard, cancelled: Cancelled = never) -> Refiled:
    """Guess every scan anew by the present place rules; without ``apply`` only tell what would be filed otherwise.
    ``former_rules`` are kept, to be put back with the guesses.

    Raises CatalogueError when cancelled; then nothing is changed.
    """
    done = Refiled(0, ())
    with suppress(_Shown), transaction(db, refilings.DONE):
        listed = list(guesses.listed(db))
        fresh = guess_scans(home, guesses.located(db), report=report, cancelled=cancelled)
        if cancelled():
            raise CatalogueError("Refiling was stopped; nothing was changed.")
        changed = [one for one in listed if fresh[one.scan_id] != one.guess]
        before = refilings.filed(db, fresh)
        kept = refilings.remember(db, (one.scan_id for one in changed), former_rules)
        for piece_id, names in _followed(listed, fresh).items():
            _follow(db, piece_id, *names)
        for one in changed:
            guesses.save(db, one.scan_id, fresh[one.scan_id])
        settle(db)
        moves = _moves(listed, before, refilings.filed(db, fresh))
        kept_as = refilings.keep(db, kept) if apply and (changed or former_rules is not None) else 0
        done = Refiled(len(listed), moves, kept_as)
        if not apply:
            raise _Shown
    return done


def undo(db: Database) -> int:
    """Put back the guesses from before the last refiling that still stands; gives how many scans they are of.

    Raises NotFound where there is none.
    """
    with transaction(db, refilings.UNDONE):
        done = refilings.put_back_last(db)
        if done is None:
            raise NotFound("There is no refiling to take back.")
    return done


def former_guess_of(db: Database, home: Home, one: Guessed) -> Guess:
    """What the rules of an older program suggested of a scan on record, each path for itself."""
    return naming.guess(one.path, one.format, scans.picture(db, one.scan_id), scans.metadata(db, one.scan_id),
                        home.settings.place_rules or naming.FORMER_RULES)


def adopt_upgraded(db: Database, home: Home) -> None:
    """Look at guesses that an older program left without a word of where they came from: what its rules do
    not suggest may have been typed by a person, and is stated from now on. Nothing is filed otherwise by it."""
    while waiting := guesses.upgraded(db, 500):
        with transaction(db, "facts from an earlier version that no rule explains"):
            by_piece: dict[int, list[Guessed]] = defaultdict(list)
            for one in waiting:
                if one.piece_id is None:
                    guesses.accept_upgraded(db, one.scan_id)
                elif one.piece_id not in by_piece:
                    by_piece[one.piece_id] = guesses.upgraded_of_piece(db, one.piece_id)
            for piece_id, of_piece in by_piece.items():
                _adopt(db, home, piece_id, of_piece)


def _adopt(db: Database, home: Home, piece_id: int, of_piece: list[Guessed]) -> None:
    piece = pieces.by_id(db, piece_id)
    fresh = {one.scan_id: former_guess_of(db, home, one) for one in of_piece}
    if piece is not None:
        said: dict[str, object] = {
            name: value for name, value, guessed in (
                ("year", piece.year, {g.year for g in fresh.values()}),
                ("inventory_number", piece.inventory_number, {g.number for g in fresh.values()}))
            if value and value not in guessed}
        if not any(_same(piece.title, g.title) for g in fresh.values()):
            said["title"] = piece.title
        if not any(_same(piece.artist, g.artist) or folded(piece.artist).endswith(" " + folded(g.artist))
                   for g in fresh.values() if g.artist):
            said["artist_id"] = piece.artist_id
        if said:
            overlays.state_piece(db, piece_id, said)
    for one in of_piece:
        guess = fresh[one.scan_id]
        if piece is not None and _same(one.title, guess.title) and _same(one.artist, guess.artist):
            guesses.save(db, one.scan_id, replace(guess, role=one.role))
        guesses.accept_upgraded(db, one.scan_id)


def _same(one: str, other: str) -> bool:
    return folded(one) == folded(other)


def _followed(listed: Iterable[Guessed], fresh: dict[int, Guess]) -> dict[int, tuple[str, str]]:
    """Pieces whose scans are all guessed alike now, under other names than before."""
    names: dict[int, set[tuple[str, str]]] = defaultdict(set)
    spelt: dict[int, tuple[str, str]] = {}
    for one in listed:
        if one.piece_id is not None:
            guess = fresh[one.scan_id]
            names[one.piece_id].add((folded(guess.artist), folded(guess.title)))
            spelt[one.piece_id] = (guess.artist, guess.title)
    return {piece_id: spelt[piece_id] for piece_id, all_ in names.items() if len(all_) == 1 and all(next(iter(all_)))}


def _follow(db: Database, piece_id: int, artist: str, title: str) -> None:
    if pieces.known_piece(db, artist, title) in (None, piece_id):
        overlays.know_piece_as(db, piece_id, artist, title)


def _moves(listed: list[Guessed], before: dict[int, Filed], after: dict[int, Filed]) -> tuple[Move, ...]:
    return tuple(
        Move(shown(one.path), was.name, now.name, was.role, now.role) for one in listed
        if (was := before[one.scan_id]) != (now := after[one.scan_id]))
