"""How this archive marks its files: words that follow many titles and belong to none ("gesamt", "HD", "links oben").

Such words are learned from the tree itself: what follows one title alone may be its own; what follows many, each of
which also stands with other such words or by itself, is the shop's mark.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from catalogue.filing import vocabulary as words
from catalogue.filing.names import Name
from catalogue.filing.people import fold, without_umlauts
from catalogue.filing.tokens import SURE, Kind, Token

MANY = 3  # titles that a mark must follow
MOSTLY = 0.6  # share of them that must be met in another way too

Rest = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Stem:
    """A file's name without its artist: tokens ``first`` to ``last`` inclusive of ``name``, and whose it is."""

    artist: str
    name: Name
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class _Split:
    stem: Stem
    title: str
    rest: Rest
    soft: bool  # the rest is made of words for purposes, positions and the like alone
    set_off: bool


def find_marks(stems: Iterable[Stem], titles: dict[str, set[str]]) -> frozenset[Rest]:
    """What follows titles as a mark. ``titles``: keys known as whole titles, by artist."""
    splits = [split for stem in set(stems) for split in _splits(stem)]
    beside: dict[tuple[str, str], set[Rest]] = defaultdict(set)
    follows: dict[Rest, list[_Split]] = defaultdict(list)
    for split in splits:
        beside[split.stem.artist, split.title].add(split.rest)
        follows[split.rest].append(split)
    many = {rest for rest, found in follows.items() if len({(s.stem.artist, s.title) for s in found}) >= MANY}
    marks = set()
    for rest in many:
        found = {(s.stem.artist, s.title): s for s in follows[rest]}
        alone = sum(title in titles.get(artist, ()) for artist, title in found)
        elsewhere = sum(
            title in titles.get(artist, ()) or bool((beside[artist, title] & many) - {rest})
            for artist, title in found
        )
        certain = all(s.soft for s in found.values()) or all(s.set_off for s in found.values())
        if elsewhere >= MOSTLY * len(found) and (certain or alone >= MOSTLY * len(found)):
            marks.add(rest)
    return frozenset(marks)


def rest_of(name: Name, at: int, last: int) -> Rest:
    """Tokens ``at`` to ``last`` inclusive, as marks are compared."""
    return tuple(fold(t.text) or t.text for t in name.tokens[at : last + 1] if t.kind is not Kind.BREAK)


def is_soft(token: Token) -> bool:
    """Whether a word by its meaning may say what a file is for, or where a capture lies."""
    folded = token.text.casefold()
    return (
        token.kind is not Kind.WORD
        or folded in words.POSITION
        or (folded in words.FUNCTION and not _roman(token.text))
    )


def _splits(stem: Stem) -> Iterator[_Split]:
    tokens = stem.name.tokens
    for at in range(stem.first + 1, stem.last + 1):
        if tokens[at].kind is Kind.BREAK:
            continue
        before = at - 1
        while before > stem.first and tokens[before].kind is Kind.BREAK:
            before -= 1
        rest = tokens[at : stem.last + 1]
        if tokens[before].kind in SURE or any(t.kind is Kind.NUMBER or _roman(t.text) for t in rest):
            continue
        if all(t.kind in SURE or t.kind in (Kind.BREAK, Kind.YEAR) for t in rest):
            continue
        title = without_umlauts(fold(stem.name.between(stem.first, before)).replace(" ", ""))
        if len(title) > 1 or (title and not title.isascii()):
            yield _Split(
                stem,
                title,
                rest_of(stem.name, at, stem.last),
                all(is_soft(t) for t in rest),
                tokens[at - 1].kind is Kind.BREAK,
            )


def _roman(text: str) -> bool:
    return text.isupper() and set(text) <= set("IVX")
