"""Places of files: which parts of their paths may name artist and title, the shape of the paths, and folders of
several artists."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold
from catalogue.filing.names import WORDS, Name, Phrase, phrases, read_name
from catalogue.filing.titles import title_key
from catalogue.filing.tokens import Kind

SURELY = 0.45  # a form that only names of people have
_SAYING = WORDS | {Kind.NUMBER, Kind.YEAR}
FEW = 6  # folders beside one another that may each hold artists' folders


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """Files of one folder whose names begin alike: the folders with their kinds (s shelf, p purpose, c content), the
    stem, and the first and last token of it that are neither purpose nor version."""

    folders: tuple[str, ...]
    kinds: str
    stem: str
    first: int
    last: int
    proved: bool  # other names show that the title ends there
    shape: str  # how the path is built: which folders say something, and of how many fields and kinds of number
    own_text: str  # what the stem says from first to last, folded
    content: tuple[int, ...]  # the folders that say something
    names: tuple[Name, ...]  # of the folders


def place_of(folders: tuple[str, ...], kinds: str, stem: str, first: int, last: int, proved: bool) -> Place:
    """The place of files of these folders."""
    shape = [_built(text, 0, -1) if kind == "c" else kind for text, kind in zip(folders, kinds, strict=True)]
    shape.append(_built(stem, first, last))
    own_text = fold(read_name(stem).between(first, last)) if first <= last else ""
    content = tuple(part for part, kind in enumerate(kinds) if kind == "c")
    names = tuple(map(read_name, folders))
    return Place(folders, kinds, stem, first, last, proved, "/".join(shape), own_text, content, names)


@lru_cache(maxsize=200_000)
def _built(written: str, first: int, last: int) -> str:
    name = read_name(written)
    signs: list[str] = []
    for kind, text, *_ in name.tokens[first : last + 1 if last >= 0 else None]:
        sign = "w" if kind in WORDS else "#" if kind != Kind.BREAK else "" if text.strip() in ".-" else "|"
        if sign and (not signs or signs[-1] != sign):
            signs.append(sign)
    return "".join(signs).strip("|")


def rest_of(name: Name, first: int, last: int, phrase: Phrase) -> str:
    """What a stretch of a name says besides the phrase, folded; numbers count, sizes and the like do not."""
    return fold(" ".join([token.text for token in (*name.tokens[first : min(phrase.first, last + 1)],
                                                   *name.tokens[max(first, phrase.last + 1) : last + 1])
                          if token.kind in _SAYING]))


def title_beside(place: Place, part: int, phrase: Phrase) -> str:
    """The title that stands with a phrase: beside it, or the first thing below its folder that is not its own name."""
    if part == len(place.folders):
        return _uncounted(place, rest_of(read_name(place.stem), place.first, place.last, phrase))
    beside, own = _beside_in_folder(place.folders[part], phrase.first, phrase.last)
    if beside:
        return beside
    for below in place.content:
        if below > part:
            return _without(fold(place.folders[below]), own)
    return _uncounted(place, _without(place.own_text, own))


@lru_cache(maxsize=100_000)
def _beside_in_folder(text: str, first: int, last: int) -> tuple[str, str]:
    """What a folder's name says besides a phrase, of a series its number; and what the phrase says."""
    folder = read_name(text)
    behind = next((t for t in folder.tokens[last + 1 :] if t.kind != Kind.BREAK), None)
    beside = behind.text if behind and behind.kind == Kind.NUMBER else fold(" ".join(
        t.text for t in (*folder.tokens[:first], *folder.tokens[last + 1 :]) if t.kind in WORDS))
    return beside, fold(folder.between(first, last))


def title_below(place: Place, part: int) -> str:
    """What the file's name says besides the nearest folder below another: "Moor" of "Ann Teal/Landscapes/Moor"."""
    below = next((at for at in place.content if at > part), 0)
    return _uncounted(place, _without(place.own_text, fold(place.folders[below]))) if below else ""


def ends_in(place: Place, text: str) -> bool:
    """Whether what a file's name may hold as its title ends in ``text``, or is that."""
    return f" {place.own_text}".endswith(f" {fold(text)}")


def beside_repeated_title(folder: str, place: Place) -> tuple[int, ...]:
    """The tokens of a folder's name, first and last, beside the title that the file's name repeats: "2021-034
    Dubrelle Two Boats/Two_Boats". Empty if it repeats none, or nothing stands beside it."""
    title = title_key(read_name(place.stem).between(place.first, place.last)) if place.first <= place.last else ""
    if len(title) < 2:
        return ()
    for behind, several, left, before, right in _splits(folder):
        if left and behind and (behind == title or (several and title.startswith(behind))):
            return left
        if right and before == title:
            return right
    return ()


_Split = tuple[str, bool, tuple[int, ...], str, tuple[int, ...]]


@lru_cache(maxsize=100_000)
def _splits(text: str) -> tuple[_Split, ...]:
    """The ways to part a folder's name in two: the key of what stands behind, whether that is several tokens, the
    tokens before, if they hold a word; the key of what stands before, the tokens behind, if they hold a word."""
    folder = read_name(text)
    worded = [i for i, token in enumerate(folder.tokens) if token.kind == Kind.WORD]
    spoken = [i for i, token in enumerate(folder.tokens) if token.kind != Kind.BREAK]
    return tuple((title_key(folder.between(at, spoken[-1])), len(spoken) - number > 1,
                  (0, spoken[number - 1]) if worded and worded[0] < at else (),
                  title_key(folder.between(spoken[0], spoken[number - 1])),
                  (at, spoken[-1]) if worded and worded[-1] >= at else ())
                 for number, at in enumerate(spoken[1:], 1))


def _uncounted(place: Place, text: str) -> str:
    """A title without the number that may count captures of it: "harbour 3" as "harbour"."""
    title, _, number = text.rpartition(" ")
    return title if title and number.isdigit() and not place.proved else text


def _without(text: str, own: str) -> str:
    return text[len(own):].strip() if text.startswith(own) else text


def find_containers(places: Sequence[Place]) -> set[tuple[str, ...]]:
    """Folders that hold artists' folders, told by three or more of the folders in them that each hold several titles;
    there are few of them, and no person's name is among them."""
    titles: dict[tuple[str, ...], set[str]] = defaultdict(set)
    children: dict[tuple[str, ...], set[tuple[str, ...]]] = defaultdict(set)
    siblings: dict[tuple[str, ...], set[str]] = defaultdict(set)  # of folders without shelves: "Artists/T/Ann Teal"
    beside: dict[tuple[str, ...], tuple[str, ...]] = {}
    for place in places:
        content = place.content
        for number, part in enumerate(content):
            below = fold(place.folders[content[number + 1]]) if number + 1 < len(content) else place.own_text
            own = fold(place.folders[part])
            below = _without(below, own)
            if below and not below.isdigit() and not own.startswith(below):
                titles[place.folders[: part + 1]].add(below)
            above = tuple(place.folders[i] for i in content[:number])
            beside[place.folders[: part + 1]] = above
            siblings[above].add(place.folders[part])
            if number + 1 < len(content):
                children[place.folders[: part + 1]].add(place.folders[: content[number + 1] + 1])
    by_parent: dict[tuple[str, ...], set[tuple[str, ...]]] = defaultdict(set)
    for folder, inside in children.items():
        several = sum(len(titles[child]) > 1 for child in inside)
        if len(siblings[beside[folder]]) <= FEW and several >= 3 and (several >= 0.4 * len(inside) or len(folder) == 1):
            named = any(p.whole and (p.person.form >= SURELY or p.person.family_first) for p in phrases(folder[-1]))
            if not named:
                by_parent[folder[:-1]].add(folder)
    houses = {folder for folder in titles if any(
        word in words.INSTITUTIONS for word in fold(folder[-1]).split()) or folder[-1].endswith(words.INSTITUTION_ENDS)}
    return houses | {folder for folders in by_parent.values() for folder in folders}


def inverted_shares(places: Sequence[Place]) -> dict[tuple[str, ...], float]:
    """The share of each folder's content folders that are written "Family, Given" or "Family (Given)"."""
    children: dict[tuple[str, ...], dict[str, bool]] = defaultdict(dict)
    for place in places:
        for part in place.content:
            text, beside = place.folders[part], children[place.folders[:part]]
            if text not in beside:
                beside[text] = any(p.whole and p.person.family_first for p in phrases(text))
    return defaultdict(float, {parent: sum(shares.values()) / len(shares) for parent, shares in children.items()})


def words_of(place: Place) -> list[tuple[str, int, int]]:
    """The words of a place that are neither shelf nor purpose, folded, with part and token."""
    stem = len(place.folders)
    return [*((word, part, at) for part in place.content for word, at in _folded_words(place.folders[part])),
            *((word, stem, at) for word, at in _folded_words(place.stem) if place.first <= at <= place.last)]


@lru_cache(maxsize=200_000)
def _folded_words(text: str) -> tuple[tuple[str, int], ...]:
    return tuple((fold(token.text), at) for at, token in enumerate(read_name(text).tokens)
                 if token.kind == Kind.WORD and len(token.text) > 1)
