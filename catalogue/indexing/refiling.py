"""Refiling: guessing again after the place rules changed, previewed first, and undoable.

What a person stated of a scan or a piece is not touched. A piece with stated facts goes along under its new name, with
its orders, where all scans guessed under it are guessed alike now.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from catalogue.errors import CatalogueError, required
from catalogue.indexing import naming
from catalogue.indexing.guessing import guess_scans
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import guesses, pieces, refilings, scans, stated_facts
from catalogue.records.database import Database, RolledBack, transaction
from catalogue.records.folding import fold_name
from catalogue.records.guesses import Guess, Guessed
from catalogue.records.paths import display_path
from catalogue.records.transactions import recompute
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Move:
    """One scan to be filed differently; ``path`` is one of its files, names are ``Artist: Title`` or empty."""

    path: str
    before: str
    after: str
    role_before: str
    role_after: str


@dataclass(frozen=True, slots=True)
class Refiled:
    """``looked`` scans were guessed again. ``id`` names the refiling for undoing; 0 if it was only shown."""

    looked: int
    moves: tuple[Move, ...]
    id: int = 0

    @property
    def counts(self) -> dict[tuple[str, str], int]:
        """How many scans move from one name to another, most frequent first."""
        counts = Counter((m.before, m.after) for m in self.moves if m.before != m.after)
        return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0])))


def refile(db: Database, home: Home, *, apply: bool, former_rules: Sequence[str] | None = None,
           report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Refiled:
    """Guess every scan again by the present place rules; without ``apply`` only report what would be filed differently.
    ``former_rules`` are kept, to be put back with the guesses.

    Raises CatalogueError when cancelled; then nothing is changed.
    """
    refiled = Refiled(0, ())
    with suppress(RolledBack), transaction(db, refilings.DONE):
        listed = list(guesses.listed(db))
        fresh = guess_scans(home, guesses.located(db), report=report, cancelled=cancelled)
        if cancelled():
            raise CatalogueError("Refiling was stopped; nothing was changed.")
        changed = [scan for scan in listed if fresh[scan.scan_id] != scan.guess]
        before = refilings.filings_of(db, fresh)
        former = refilings.snapshot(db, (scan.scan_id for scan in changed), former_rules)
        for piece_id, names in _followed(listed, fresh).items():
            _follow(db, piece_id, *names)
        for scan in changed:
            guesses.save(db, scan.scan_id, fresh[scan.scan_id])
        recompute(db)
        after = refilings.filings_of(db, fresh)
        moves = tuple(Move(display_path(scan.path), was.name, now.name, was.role, now.role) for scan in listed
                      if (was := before[scan.scan_id]) != (now := after[scan.scan_id]))
        refiling_id = refilings.save(db, former) if apply and (changed or former_rules is not None) else 0
        refiled = Refiled(len(listed), moves, refiling_id)
        if not apply:
            raise RolledBack
    return refiled


def undo(db: Database) -> int:
    """Put back the guesses from before the last refiling that still stands; returns how many scans they are of.

    Raises NotFound if there is none.
    """
    with transaction(db, refilings.UNDONE):
        return required(refilings.undo_last(db), "There is no refiling to undo.")


def adopt_upgraded(db: Database, home: Home) -> None:
    """Look at guesses that an older program left without a word of where they came from: what its rules do
    not suggest may have been typed by a person, and is stated from now on. Nothing is filed otherwise by it."""
    while waiting := guesses.upgraded(db, 500):
        with transaction(db, "facts from an earlier version that no rule explains"):
            by_piece: dict[int, list[Guessed]] = defaultdict(list)
            for scan in waiting:
                if scan.piece_id is None:
                    guesses.accept_upgraded(db, scan.scan_id)
                elif scan.piece_id not in by_piece:
                    by_piece[scan.piece_id] = guesses.upgraded_of_piece(db, scan.piece_id)
            for piece_id, of_piece in by_piece.items():
                _adopt(db, home, piece_id, of_piece)


def _adopt(db: Database, home: Home, piece_id: int, of_piece: list[Guessed]) -> None:
    piece = pieces.by_id(db, piece_id)
    rules = home.settings.place_rules or naming.FORMER_RULES
    fresh = {scan.scan_id: naming.guess(scan.path, scan.format, scans.picture(db, scan.scan_id),
                                        scans.metadata(db, scan.scan_id), rules) for scan in of_piece}
    if piece is not None:
        facts: dict[str, object] = {
            name: value for name, value, guessed in (
                ("year", piece.year, {g.year for g in fresh.values()}),
                ("inventory_number", piece.inventory_number, {g.number for g in fresh.values()}))
            if value and value not in guessed}
        if not any(_same(piece.title, g.title) for g in fresh.values()):
            facts["title"] = piece.title
        if not any(_same(piece.artist, g.artist) or fold_name(piece.artist).endswith(" " + fold_name(g.artist))
                   for g in fresh.values() if g.artist):
            facts["artist_id"] = piece.artist_id
        if facts:
            stated_facts.state_piece(db, piece_id, facts)
    for scan in of_piece:
        guess = fresh[scan.scan_id]
        if piece is not None and _same(scan.title, guess.title) and _same(scan.artist, guess.artist):
            guesses.save(db, scan.scan_id, replace(guess, role=scan.role))
        guesses.accept_upgraded(db, scan.scan_id)


def _same(first: str, other: str) -> bool:
    return fold_name(first) == fold_name(other)


def _followed(listed: Iterable[Guessed], fresh: dict[int, Guess]) -> dict[int, tuple[str, str]]:
    """Pieces whose scans are all guessed alike now, under other names than before."""
    names: dict[int, set[tuple[str, str]]] = defaultdict(set)
    spelt: dict[int, tuple[str, str]] = {}
    for scan in listed:
        if scan.piece_id is not None:
            guess = fresh[scan.scan_id]
            names[scan.piece_id].add((fold_name(guess.artist), fold_name(guess.title)))
            spelt[scan.piece_id] = (guess.artist, guess.title)
    return {piece_id: spelt[piece_id] for piece_id, all_ in names.items() if len(all_) == 1 and all(next(iter(all_)))}


def _follow(db: Database, piece_id: int, artist: str, title: str) -> None:
    if pieces.known_piece(db, artist, title) in (None, piece_id):
        stated_facts.set_known_names(db, piece_id, artist, title)
