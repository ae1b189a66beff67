"""Artist, piece and role of every file of an archive, from the whole tree of names, tags and likenesses at once.

Each value comes with a certainty from 0 to 1 and its reason in words, so that a person can judge it. An empty value
with certainty 0 says honestly that nothing tells. The pass is pure: paths and tags in, guesses out.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from catalogue.filing.artists import Artists
from catalogue.filing.model import NOTHING, FileFacts, Guess, Guessed, Work
from catalogue.filing.names import Name, is_shelf
from catalogue.filing.passes import (
    begin,
    choose_pieces,
    find_artists_by_title,
    follow_likeness,
    join_spellings,
    read_titles,
    settle_ambiguous_artists,
    split_path,
    tell_pieces_apart,
)
from catalogue.filing.roles import LOSSY, SMALL, judge, own_role
from catalogue.filing.titles import title_key
from catalogue.filing.tokens import Kind

__all__ = ["FileFacts", "Guess", "Guessed", "guess_all"]


def guess_all(files: Sequence[FileFacts], known_artists: Iterable[str] = ()) -> list[Guess]:
    """One guess a file, in the order given. ``known_artists`` are names that a person has stated."""
    paths = [split_path(f.path) for f in files]
    artists = Artists(paths, (f.creator for f in files if f.creator), known_artists)
    works = [begin(f, parts, artists) for f, parts in zip(files, paths, strict=True)]
    settle_ambiguous_artists(works)
    read_titles(works)
    choose_pieces(works)
    find_artists_by_title(works)
    tell_pieces_apart(works)
    join_spellings(works)
    follow_likeness(works)
    return _finished(works)


def _finished(works: Sequence[Work]) -> list[Guess]:
    pieces: dict[tuple[str, str], list[Work]] = defaultdict(list)
    for work in works:
        if work.piece.value:
            pieces[work.artist_key, title_key(work.piece.value)].append(work)
    guesses = []
    for work in works:
        own = work.title
        assert own is not None
        mates = pieces.get((work.artist_key, title_key(work.piece.value)), [work]) if work.piece.value else [work]
        role = _role(work, mates)
        guesses.append(
            Guess(
                work.artist,
                work.piece,
                role,
                *(
                    Guessed(value, 0.6, "its name") if value else NOTHING
                    for value in (own.year or _folder_year(work), own.number, own.size)
                ),
            )
        )
    return guesses


def _folder_year(work: Work) -> str:
    for name in reversed(work.names[:-1]):
        for token in name.tokens:
            if token.kind is Kind.YEAR:
                return token.text
    return ""


def _role(work: Work, mates: Sequence[Work]) -> Guessed:
    assert work.title is not None
    facts = work.facts
    siblings = [m for m in mates if m.parts[:-1] == work.parts[:-1]]
    counted = [m for m in siblings if _counter(m)]
    whole = [
        m
        for m in mates
        if m is not work
        and not _counter(m)
        and m.facts.picture
        and m.facts.format not in LOSSY
        and m.title is not None
        and own_role(m.title.stripped)[0] in ("", "master")
    ]
    tile_set = (
        bool(_counter(work))
        and len(counted) >= 2
        and len({_counter(m) for m in counted}) == len(counted)
        and (bool(whole) or any(_raw(name) for name in work.names[:-1]))
    )
    first = work.found.part + 1 if work.found else 0
    folders = [n for i, n in enumerate(work.names[:-1]) if i >= first or is_shelf(n)]
    small = 0 < max(facts.width, facts.height) < SMALL
    judged = judge(
        work.title.stripped,
        folders,
        picture=facts.picture,
        lossy=facts.format in LOSSY,
        small=small,
        tile_set=tile_set,
        has_master=bool(whole),
    )
    return Guessed(judged.role, judged.certainty, judged.reason)


def _counter(work: Work) -> str:
    """The number with which a file's name ends, if it ends in one that is no year and no size."""
    tokens = [t for t in work.names[-1].tokens if t.kind is not Kind.BREAK]
    last = tokens[-1] if tokens else None
    if last is None:
        return ""
    if last.kind is Kind.VERSION and not last.text.startswith("("):
        return ""
    if last.kind in (Kind.NUMBER, Kind.COUNTER) or (last.kind is Kind.VERSION and last.text.startswith("(")):
        return last.text
    digits = last.text.lstrip("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ")
    return digits if digits.isdecimal() else ""


def _raw(name: Name) -> bool:
    return any(t.role in ("raw", "tile") for t in name.tokens)
