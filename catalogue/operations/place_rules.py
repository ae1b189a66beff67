"""The shop's place rules: previewed on real paths, stored in the settings, changed together with what they file."""

import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from catalogue.allowed_settings import setting_fault
from catalogue.errors import CatalogueError, Refused
from catalogue.indexing.guessing import guess_paths, guess_scans
from catalogue.indexing.refiling import Refiled, refile
from catalogue.indexing.refiling import undo as undo_refiling
from catalogue.operations.correcting import state_names
from catalogue.operations.wording import counted, number
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import effective, guesses, pieces, refilings
from catalogue.records.database import Database
from catalogue.records.guesses import Guess
from catalogue.settings import Home, read_settings
from catalogue.storage.atomic import write_atomically

__all__ = ["Named", "RulesChanged", "adopt_names", "change_place_rules", "keep_place_rules", "named_by_path",
           "named_on_record", "preview_refiling", "refile", "summarize", "undo_place_rules", "undo_refiling",
           "with_place_rules"]

MOST_LISTED = 40
PREVIEWED = 3000    # files whose names are guessed together for a preview: 1 ms each
Named = list[tuple[str, Guess]]     # paths in stored form, each with what its names suggest


@dataclass(frozen=True, slots=True)
class RulesChanged:
    """The catalogue's home under its new place rules, and what was filed otherwise."""

    home: Home
    refiled: Refiled


def named_by_path(paths: Sequence[str], rules: Sequence[str]) -> Named:
    """What rules and names suggest of files that were only seen."""
    return list(zip(paths, guess_paths(paths, rules), strict=True))


def named_on_record(db: Database, home: Home, rules: Sequence[str]) -> Named:
    """What rules, names and tags suggest of the scans on record, of a large archive ``PREVIEWED`` spread over it;
    artists and pieces under the names they have now."""
    listed = guesses.located(db)
    listed = listed[::-(-len(listed) // PREVIEWED) or 1]
    guessed = guess_scans(_under(home, rules), listed)
    present_names = {(guess.artist, guess.title): _present_names(db, guess) for guess in guessed.values()}
    named = []
    for scan in listed:
        guess = guessed[scan.scan_id]
        artist, title = present_names[guess.artist, guess.title]
        named += [(path, replace(guess, artist=artist, title=title)) for path in scan.paths]
    return named


def _present_names(db: Database, guess: Guess) -> tuple[str, str]:
    """What the artist and the piece that a guess means are called now."""
    artist = pieces.artist_named(db, guess.artist) if guess.artist else None
    meant = effective.piece_meant(db, guess.artist, guess.title) if guess.artist and guess.title else None
    piece = pieces.by_id(db, meant) if meant is not None else None
    return artist.name if artist else guess.artist, piece.title if piece else guess.title


def preview_refiling(db: Database, home: Home, rules: Sequence[str], *, report: Report = ignore_progress,
                     cancelled: Cancelled = never_cancelled) -> Refiled:
    """What other rules would file differently. Changes nothing."""
    return refile(db, _under(home, rules), apply=False, report=report, cancelled=cancelled)


def change_place_rules(db: Database, home: Home, rules: Sequence[str], *, report: Report = ignore_progress,
                       cancelled: Cancelled = never_cancelled) -> RulesChanged:
    """Keep other rules in the settings and file by them what was guessed; what a person stated stays.

    Raises CatalogueError if the settings cannot be written or it was cancelled: then nothing is changed.
    """
    new = keep_place_rules(home, rules)
    try:
        result = refile(db, new, apply=True, former_rules=home.settings.place_rules, report=report, cancelled=cancelled)
    except BaseException:
        keep_place_rules(new, home.settings.place_rules)
        raise
    return RulesChanged(new, result)


def adopt_names(db: Database, home: Home, rules: Sequence[str], names: Mapping[str, str],
                titles: Sequence[tuple[str, str, str]] = ()) -> Home:
    """Keep the rules by which a new store's names are to be read, if they are others, and state which artists its
    ``names`` mean and what its pieces are called. Nothing on record is filed otherwise by it but through these artists
    and pieces. Raises CatalogueError."""
    if names or titles:
        state_names(db, names, titles)
    return home if tuple(rules) == home.settings.place_rules else keep_place_rules(home, rules)


def undo_place_rules(db: Database, home: Home) -> tuple[Home, int]:
    """Put back the guesses from before the last refiling, of how many scans is told, and the rules changed with it.

    Raises NotFound if there is none.
    """
    rules = refilings.rules_before_last(db)
    count = undo_refiling(db)
    return (home if rules is None else keep_place_rules(home, rules)), count


def keep_place_rules(home: Home, rules: Sequence[str]) -> Home:
    """Write the rules into ``settings.toml`` and leave all else in it as it is; returns the home with them.

    Raises Refused for a rule that cannot be, CatalogueError if the file cannot be read or written.
    """
    fault = setting_fault("place_rules", list(rules))
    if fault:
        raise Refused(fault)
    path = home.settings_file.resolve()
    before = read_settings(path)
    try:
        text = path.read_text(encoding="utf-8") if path.exists() else ""
    except OSError as error:
        raise CatalogueError(f"The settings cannot be read: {error.strerror}.", path=path) from error
    text = with_place_rules(text, rules)
    write_atomically(path, text.encode())
    if read_settings(path) != replace(before, place_rules=tuple(rules)):
        raise CatalogueError("The settings are not what was written: another program has changed them.", path=path)
    return _under(home, rules)


def with_place_rules(text: str, rules: Sequence[str]) -> str:
    """The text of a settings file with these rules; all other lines unchanged."""
    lines = text.splitlines(keepends=True)
    quoted = (json.dumps(rule, ensure_ascii=False).replace("\x7f", "\\u007f") for rule in rules)
    new = "place_rules = [" + "".join(f"\n    {rule}," for rule in quoted) + ("\n]\n" if rules else "]\n")
    for start, line in enumerate(lines):
        if line.partition("=")[0].strip() != "place_rules":
            continue
        for end in range(start + 1, len(lines) + 1):
            if _parses("".join(lines[start:end])):
                return "".join([*lines[:start], new, *lines[end:]])
    return text + ("\n" if text and not text.endswith("\n") else "") + new


def _parses(text: str) -> bool:
    try:
        return "place_rules" in tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return False


def _under(home: Home, rules: Iterable[str]) -> Home:
    return replace(home, settings=replace(home.settings, place_rules=tuple(rules)))


def summarize(refiled: Refiled) -> list[str]:
    """How many scans go from which name to which; whether it was done or only shown."""
    counts = refiled.counts
    lines = [f"{count:>5}  {before or 'not filed'} → {after or 'not filed'}"
             for (before, after), count in list(counts.items())[:MOST_LISTED]]
    if len(counts) > MOST_LISTED:
        lines.append(f"       and {number(len(counts) - MOST_LISTED)} more; --json has all.")
    roles = number(sum(move.role_before != move.role_after for move in refiled.moves))
    moved = counted(sum(counts.values()), "scan")
    if not refiled.moves:
        return [*lines, f"{counted(refiled.looked, 'scan')} checked; all are filed as the rules say."]
    if refiled.id:
        return [*lines, f"{moved} filed differently, {roles} given another role. Undo: catalogue refile --undo"]
    return [*lines, f"{moved} would be filed differently, {roles} given another role. To do it: catalogue refile --yes"]
