"""The titles that files' own names and their folders' names hold, each read beside its artist's name."""

import re
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache, partial

from catalogue.filing.artists import ArtistInPath
from catalogue.filing.model import LOSSY, SMALL, Work
from catalogue.filing.names import Name, phrases, read_name
from catalogue.filing.titles import Title, read_title
from catalogue.filing.tokens import Kind

COUNTED = re.compile(r"(?<!\d)0\d+$")  # "Harbour 01" may be a title, but vouches for none


def read_titles(works: Sequence[Work]) -> None:
    """Titles of the files' own names: what surely is one, then all in the light of that."""
    known: dict[str, set[str]] = defaultdict(set)
    for work in works:
        folder = folder_title(work)
        if folder and folder.key:
            work.folder_title = folder.key
            known[work.artist_key].add(folder.key)
    asked_of: list[tuple[str, ...]] = []    # by work: the keys of which its reading asked whether they are titles
    for work in works:
        asked: list[str] = []
        work.title = _own_title(work, partial(_note_and_deny, asked))
        asked_of.append(tuple(asked))
        counted = COUNTED.search(work.title.text)
        if work.title.key and work.title.clean and not counted and not _may_end_in_purpose(work, work.title):
            known[work.artist_key].add(work.title.key)
    everyone = frozenset().union(*known.values())
    for work, keys in zip(works, asked_of, strict=True):
        near = known.get(work.artist_key, set()) if work.artist_key else everyone
        if not near.isdisjoint(keys):
            work.title = _own_title(work, near.__contains__)


def _may_end_in_purpose(work: Work, title: Title) -> bool:
    """Whether a small picture's title may end in what the picture is for ("Moor web"): then it vouches for no title."""
    if work.proved or not _is_small(work):
        return False
    ends = read_name(title.text).tokens
    return len(ends) > 1 and ends[-1].role == "reference"


def _is_small(work: Work) -> bool:
    return work.facts.format in LOSSY or 0 < max(work.facts.width, work.facts.height) < SMALL // 2


def _note_and_deny(asked: list[str], key: str) -> bool:
    """Record the key, and answer that it is not a title."""
    asked.append(key)
    return False


def _own_title(work: Work, is_title: Callable[[str], bool]) -> Title:
    name = work.names[-1]
    if work.last < work.first:
        return Title("", True, tuple(t for t in name.tokens if t.kind != Kind.ROLE or len(name.tokens) == 1))
    first, last, away = beside_artist(work)
    small = _is_small(work)
    title = read_title(name, first, last, is_title=is_title, small=small, proved=work.proved)
    outside = tuple(t for i, t in enumerate(name.tokens) if not first <= i <= last and i not in away)
    if not outside:
        return title
    extra = read_title(name, last + 1, len(name.tokens) - 1, small=small) if last < len(name.tokens) - 1 else None
    year = title.year or next((t.text for t in outside if t.kind == Kind.YEAR), "")
    number = (title.number or (extra.number if extra else "")
        or next((t.text.split()[-1] for t in outside if t.kind == Kind.INVENTORY), ""))
    return replace(title, stripped=title.stripped + outside, year=year, number=number, size=title.size
        or (extra.size if extra else ""))


def beside_artist(work: Work) -> tuple[int, int, range]:
    """The tokens of a file's name, first and last, that stand beside its artist's name; and those of the artist's."""
    asked = work.first, work.last, work.artist.value
    if work.beside is None or work.beside[0] != asked:
        work.beside = asked, _find_beside_artist(work)
    return work.beside[1]


def _find_beside_artist(work: Work) -> tuple[int, int, range]:
    name = work.names[-1]
    start, last = work.first, work.last
    away = range(0)
    if work.artist_in_path and work.artist_in_path.part == len(work.parts) - 1:
        away = range(work.artist_in_path.first, work.artist_in_path.last + 1)
    elif work.artist.value:  # the folder names the artist; the file may do so again
        again = [p for p in phrases(work.parts[-1], start, last)
                 if not p.whole and (p.bounded or p.person.given) and work.artists.are_one(p.person, work.artist.value)]
        if again:
            longest = max(again, key=lambda p: p.last - p.first)
            away = range(longest.first, longest.last + 1)
    if not away:
        return start, last, away
    behind = any(t.kind != Kind.BREAK for t in name.tokens[away.stop : last + 1])
    before = any(t.kind in (Kind.WORD, Kind.ROLE, Kind.YEAR) for t in name.tokens[start : away.start])
    if before and not (behind and away.start == start):
        return start, away.start - 1, away
    return (away.stop, last, away) if behind or away.start == start else (start, last, away)


def folder_title(work: Work) -> Title | None:
    if work.folder is None:
        return None
    name = work.names[work.folder]
    first, last = 0, len(name.tokens) - 1
    if work.skip:
        first = next(i for i, t in enumerate(name.tokens) if t.kind == Kind.NUMBER) + 1
    if work.artist_in_path and work.artist_in_path.part == work.folder:
        first, last = without_artist(name, work.artist_in_path)
    return _read_folder(name.text, first, last)


@lru_cache(maxsize=50_000)
def _read_folder(text: str, first: int, last: int) -> Title:
    return read_title(read_name(text), first, last)


def without_artist(name: Name, artist_in_path: ArtistInPath) -> tuple[int, int]:
    """The longer stretch of tokens before or behind the artist's name."""
    before, behind = (0, artist_in_path.first - 1), (artist_in_path.last + 1, len(name.tokens) - 1)
    return max((before, behind), key=lambda span: sum(t.kind == Kind.WORD for t in name.tokens[span[0] : span[1] + 1]))
