"""Artist, piece and role guessed for scans on record, from the whole tree of their paths and tags at once.

The shop's place rules come first: a path that fits one is read by it. All others are judged in the light of their
neighbours by :mod:`catalogue.filing`. Guesses are derived facts: kept in ``scan_guess``, made again at will, and never
set above what a person stated.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice

from catalogue.filing.guess import FileFacts, guess_all
from catalogue.filing.guess import Guess as TreeGuess
from catalogue.filing.model import NOTHING, STATED_IN_FILE
from catalogue.indexing import naming
from catalogue.indexing.naming import PathNames
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.records import guesses
from catalogue.records.database import Database, transaction
from catalogue.records.guesses import Guess, Located
from catalogue.records.paths import display_path
from catalogue.records.provenance import GUESSED, READ, TAGS, Origin, reasons_text
from catalogue.settings import Home

WHOLE_TREE = 20_000  # scans up to which new ones are judged beside all others, else beside those of their folders
BATCH = 500
MADE_FROM_MASTERS = ("print file", "reference")


def guess_new(db: Database, home: Home, read: Collection[int], *, report: Report = ignore_progress) -> int:
    """Guess scans that have no guess yet, and those just ``read``; returns how many were given another guess.

    Names guessed before stay: they change only when somebody refiles, who is shown the change first. Another role is
    taken, as of a tile renamed to master.
    """
    wanted = set(guesses.scans_without_guess(db)).union(read)
    if not wanted:
        return 0
    whole = guesses.count(db) <= WHOLE_TREE
    listed = guesses.located(db, near=None if whole else wanted)
    report(Progress("Filing", 0, len(wanted)))
    fresh = guess_scans(home, listed, () if whole else guesses.artists(db))
    changed = 0
    todo = [scan for scan in listed if scan.scan_id in wanted]
    for start in range(0, len(todo), BATCH):
        with transaction(db):
            for scan in todo[start:start + BATCH]:
                changed += _keep(db, scan.scan_id, fresh[scan.scan_id])
        report(Progress("Filing", min(start + BATCH, len(todo)), len(todo)))
    return changed


def _keep(db: Database, scan_id: int, guess: Guess) -> bool:
    before = guesses.of_scan(db, scan_id)
    if before is not None:
        role = before.role if guess.role == "unsorted" else guess.role
        guess = replace(before if before.artist and before.title else guess, role=role)
    if guess == before:
        return False
    guesses.save(db, scan_id, guess)
    return True


def guess_scans(home: Home, listed: Sequence[Located], known_artists: Iterable[str] = (), *,
                report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> dict[int, Guess]:
    """What rules, tags and the tree of paths suggest of each scan, by id."""
    guessed = {}
    made = _guessed(listed, home.settings.place_rules, known_artists)
    for number, (scan, guess) in enumerate(zip(listed, made, strict=True)):
        if number % BATCH == 0:
            report(Progress("Guessing names", number, len(listed)))
            if cancelled():
                break
        guessed[scan.scan_id] = guess
    return guessed


def guess_paths(paths: Iterable[str], rules: Sequence[str], known_artists: Iterable[str] = ()) -> list[Guess]:
    """What rules and the tree suggest of files that were only seen, not read; paths in stored form."""
    listed = [Located(0, (path,), naming.format_of(path), None, None, naming.NO_TAGS, None) for path in paths]
    return list(_guessed(listed, rules, known_artists, seen_only=True))


def _guessed(listed: Sequence[Located], rules: Sequence[str], known_artists: Iterable[str], *,
             seen_only: bool = False) -> Iterator[Guess]:
    """One guess for each scan, from the most telling of its files' names.

    What a place rule reads in a path is certain, and the folders it reads are left out of the tree, so that the rest is
    judged without them. ``seen_only``: files are assumed to be pictures.
    """
    names = [(scan, path, naming.names_in_path(path, rules)) for scan in listed for path in scan.paths]
    facts = []
    for scan, path, path_names in names:
        title, creator = naming.stated_names(scan.metadata)
        same = scan.scan_id if scan.group is None and len(scan.paths) > 1 else scan.group
        facts.append(FileFacts(path_names.rest or display_path(path), title, creator or path_names.artist, scan.format,
                               scan.width or 0, scan.height or 0, seen_only or bool(scan.width), same))
    trees = zip(names, guess_all(facts, known_artists), strict=True)
    for scan in listed:
        readings = [_read(*name, tree, seen_only) for name, tree in islice(trees, len(scan.paths))]
        yield max(readings, key=lambda reading: reading[0])[1]  # of equals the first


def _read(scan: Located, path: str, path_names: PathNames, tree: TreeGuess,
          seen_only: bool) -> tuple[tuple[bool, bool, float], Guess]:
    """The guess from one name of a scan, after its rank: artist and piece or not, whether it may be a master (the
    bytes of a master are one, whatever a copy of it was named for), and how surely."""
    pixels = None if seen_only else (scan.width or 0) * (scan.height or 0)
    by_rule = naming.guess_read(path_names, path, scan.format, pixels, scan.metadata) if path_names.whole else None
    guess = by_rule or _of_tree(scan, path_names, tree)
    certainty = 1.0 if by_rule else tree.artist.certainty + tree.piece.certainty
    return (bool(guess.artist and guess.title), guess.role not in MADE_FROM_MASTERS, certainty), guess


def _of_tree(scan: Located, path_names: PathNames, tree: TreeGuess) -> Guess:
    if tree.by_likeness:  # as a guess it would outlast the likeness, which files the scan anyway
        tree = replace(tree, artist=NOTHING, piece=NOTHING)
    origins = {name: Origin(READ, TAGS) if value.reason == STATED_IN_FILE else Origin(GUESSED, value.reason)
               for name, value in (("artist", tree.artist), ("title", tree.piece), ("year", tree.year),
                                   ("number", tree.number), ("role", tree.role)) if value.reason}
    title, number = tree.piece.value, tree.number.value
    if not title and (title := naming.document_name(scan.metadata)):
        origins["title"] = Origin(READ, TAGS)
    by_rule = Origin(GUESSED, f"the place rule {path_names.rule}")
    if path_names.artist and not scan.metadata.creator.strip():
        origins["artist"] = by_rule
    if path_names.piece and not naming.stated_names(scan.metadata)[0]:
        title, origins["title"] = path_names.piece, by_rule
    origins |= {name: by_rule for name in ("year", "number", "series") if getattr(path_names, name)}
    if scan.metadata.inventory_number:
        origins["number"] = Origin(READ, TAGS)
    return Guess(tree.artist.value, title, path_names.year or tree.year.value,
                 scan.metadata.inventory_number or path_names.number or number, tree.role.value, reasons_text(origins),
                 path_names.series)
