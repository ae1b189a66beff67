"""Tidying a store: a plan, shown first, for files that break the naming rule or are in the wrong folder.

When it is applied, every file is checked against its digest, renamed without ever overwriting another, and listed in an
undo file before it moves.
"""

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from itertools import count, groupby
from pathlib import PurePosixPath

from catalogue.indexing.locating import locate_store
from catalogue.intake.naming import Facts, numbers_used, portable, problems, same_name, shortened
from catalogue.intake.targets import Names
from catalogue.records import intake, provenance
from catalogue.records.database import Database
from catalogue.records.intake import FiledFile
from catalogue.records.paths import display_path, is_text, native_path
from catalogue.records.preferred_names import numbered_twin
from catalogue.records.stores import Store
from catalogue.settings import Settings


class Level(StrEnum):
    """How much to rename."""

    PORTABLE = "portable"  # only names that some system refuses or confuses
    PLACE = "place"        # also folders: artist and piece as the rule says, the file's own name kept
    RULE = "rule"          # the whole path as the rule says


@dataclass(frozen=True, slots=True)
class Move:
    """One file to be renamed within its store; paths in stored form."""

    file_id: int
    source: str
    target: str
    sha256: str
    size: int
    why: str


@dataclass(frozen=True, slots=True)
class Tidying:
    """A plan. ``remarks`` are what no renaming mends: ``(kind, path, detail)``."""

    store_id: int
    store: str
    moves: tuple[Move, ...]
    in_order: int
    remarks: tuple[tuple[str, str, str], ...]


def plan_tidying(db: Database, settings: Settings, store: Store, level: Level = Level.RULE) -> Tidying:
    """What would be moved where. Looks only at the catalogue and at names on the disk; changes nothing."""
    root = locate_store(db, store)
    moves: list[Move] = []
    remarks: list[tuple[str, str, str]] = []
    in_order, names = 0, Names(db, store.id, root)
    guessed = set() if level is Level.PORTABLE else _guessed_names(db, store)
    for _, batch in groupby(intake.filed_files(db, store.id), key=lambda f: (f.piece_id, f.piece_id or f.file_id)):
        for file, known in _facts(list(batch)):
            facts = None if file.path in guessed else known
            if file.path in guessed:
                remarks.append(("guessed", file.path, f"{file.artist}, {file.title} is a guess: confirm it (catalogue"
                                " piece confirm), or correct it, then tidy again"))
            elif facts is None and level is not Level.PORTABLE:
                remarks.append(("no piece" if file.piece_id is None else "unsorted", file.path,
                                "file it under a piece, then tidy again" if file.piece_id is None else
                                "set its role: master, tile, print file or reference"))
            ruled_path = _path_by_rule(settings.naming_rule, file, facts, level)
            if ruled_path == file.path or numbered_twin(file.path) == ruled_path:
                in_order += 1
                continue
            # the name it has, put right
            own = (same_name(ruled_path) == same_name(file.path) and not names.given(ruled_path)
                   and not names.held_by_another(ruled_path, file.path))
            target = ruled_path if own else names.free(ruled_path)
            names.give(target)
            moves.append(Move(file.file_id, file.path, target, file.sha256, file.size, _why(file, ruled_path)))
    for role, kind in (("tile", "orphan tile"), ("print file", "print file without a master")):
        remarks.extend((kind, path, f"{artist or 'no artist'}, {title or 'no piece'}: no master is on record")
                       for artist, title, name, path in intake.pieces_without_master(db, role) if name == store.name)
    return Tidying(store.id, store.name, tuple(moves), in_order, tuple(remarks))


def _guessed_names(db: Database, store: Store) -> set[str]:
    """Paths of files whose artist or title nobody stated and no tag gives: a name made from a guess would hide what
    the old name said."""
    return {fact.path for fact in provenance.of_files(db, store.id)
            if provenance.GUESSED in (fact.origins["artist"].source, fact.origins["title"].source)}


def _facts(batch: Sequence[FiledFile]) -> Iterator[tuple[FiledFile, Facts | None]]:
    """What the rule may say of one piece's files. Tiles keep the counter in their name, where no two of a day share
    one; the others follow on."""
    counters = _own_counters(batch)
    used: dict[str, set[int]] = {}
    for file in batch:
        if file.role == "tile":
            used.setdefault(_date(file), set()).update(counters[file.file_id])
    seen: dict[str, set[int]] = {}
    upwards: dict[str, Iterator[int]] = {}
    for file in batch:
        if file.piece_id is None or file.role == "unsorted" or not file.artist or not file.title:
            yield file, None
            continue
        date, number = _date(file), 0
        if file.role == "tile":
            own = counters[file.file_id] - seen.setdefault(date, set())
            number = min(own) if own else next(
                n for n in upwards.setdefault(date, count(1)) if n not in used[date] and n not in seen[date])
            seen[date].add(number)
        yield file, Facts(file.artist, file.title, file.role, PurePosixPath(file.path).suffix.lower(), date,
                          file.year or date[:4], number)


def _own_counters(batch: Sequence[FiledFile]) -> dict[int, set[int]]:
    """The counter in each tile's own name, by file: as our rule writes it, else the last number of at most three
    figures, if no other tile of that day ends in the same."""
    tiles = [file for file in batch if file.role == "tile"]
    last = {file.file_id: int(numbers[-1]) for file in tiles
            if (numbers := re.findall(r"(?<![0-9])[0-9]{1,3}(?![0-9])", PurePosixPath(file.path).stem))}
    shared = Counter((_date(file), last[file.file_id]) for file in tiles if file.file_id in last)
    return {file.file_id: numbers_used([file.path]) or (
        {last[file.file_id]} if last.get(file.file_id) and shared[_date(file), last[file.file_id]] == 1 else set())
        for file in tiles}


def _date(file: FiledFile) -> str:
    try:
        return datetime.fromisoformat(file.captured).date().isoformat()
    except ValueError:
        return datetime.fromtimestamp(file.mtime_ns / 1e9, UTC).astimezone().date().isoformat()


def _path_by_rule(rule: str, file: FiledFile, facts: Facts | None, level: Level) -> str:
    own = _portable_path(file.path)
    if facts is None or level is Level.PORTABLE:
        return own
    ruled = shortened(rule, facts)
    if level is Level.RULE:
        return ruled
    folder, _, _ = ruled.rpartition("/")
    leaf = own.rpartition("/")[2]
    return f"{folder}/{leaf}" if folder else leaf


def _portable_path(path: str) -> str:
    if is_text(path) and not problems(path):
        return path
    *folders, leaf = [display_path(part) for part in _parts(path)]
    suffix = PurePosixPath(leaf).suffix
    return "/".join([*(portable(f) for f in folders), portable(leaf.removesuffix(suffix), suffix.strip())])


def _parts(path: str) -> list[str]:
    """Parts of a kept path; ``//`` there is an escape, no separator."""
    return [part.replace("\0", "//") for part in path.replace("//", "\0").split("/")]


def _why(file: FiledFile, ruled_path: str) -> str:
    troubles = problems(native_path(file.path))
    if troubles:
        return troubles[0]
    if file.path.rpartition("/")[0] != ruled_path.rpartition("/")[0]:
        return f"belongs to {file.artist}, {file.title}"
    return "its name breaks the rule"
