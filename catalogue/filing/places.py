"""Places of files: what of their paths may name artist and title, how the paths are built, which folders hold several
artists."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold
from catalogue.filing.names import WORDS, Name, Phrase, phrases, read_name
from catalogue.filing.titles import title_key
from catalogue.filing.tokens import Kind

SURELY = 0.45  # a form that only names of people have
FEW = 6  # folders beside one another that may each hold artists' folders


@dataclass(frozen=True, slots=True)
class Place:
    """Files of one folder whose names begin alike: the folders with their kinds (s shelf, p purpose, c content), the
    stem, and the first and last token of it that are neither purpose nor version."""

    folders: tuple[str, ...]
    kinds: str
    stem: str
    first: int
    last: int
    proved: bool = False  # other names show that the title ends there


def shape_of(place: Place) -> str:
    """How a path is built: which folders say something, and of how many fields and kinds of number."""
    parts = []
    for text, kind in zip(place.folders, place.kinds, strict=True):
        parts.append(_built(read_name(text), 0, -1) if kind == "c" else kind)
    stem = read_name(place.stem)
    return "/".join((*parts, _built(stem, place.first, place.last)))


def _built(name: Name, first: int, last: int) -> str:
    last = len(name.tokens) - 1 if last < 0 else last
    signs: list[str] = []
    for token in name.tokens[first : last + 1]:
        sign = "w" if token.kind in WORDS else "|" if token.kind is Kind.BREAK and token.text.strip() not in ".-" else \
            "" if token.kind is Kind.BREAK else "#"
        if sign and (not signs or signs[-1] != sign):
            signs.append(sign)
    return "".join(signs).strip("|")


def rest_of(name: Name, first: int, last: int, phrase: Phrase) -> str:
    """What a stretch of a name says besides the phrase, folded; numbers count, sizes and the like do not."""
    return fold(" ".join(
        t.text for i, t in enumerate(name.tokens)
        if first <= i <= last and not phrase.first <= i <= phrase.last
        and t.kind in (Kind.WORD, Kind.ROLE, Kind.VERSION, Kind.MATERIAL, Kind.NUMBER, Kind.YEAR)))


def title_beside(place: Place, part: int, phrase: Phrase) -> str:
    """The title that stands with a phrase: beside it, or the first thing below its folder that is not its own name."""
    if part == len(place.folders):
        return _uncounted(place, rest_of(read_name(place.stem), place.first, place.last, phrase))
    folder = read_name(place.folders[part])
    behind = next((t for t in folder.tokens[phrase.last + 1 :] if t.kind is not Kind.BREAK), None)
    if behind and behind.kind is Kind.NUMBER:
        return behind.text  # of a series
    beside = fold(" ".join(t.text for i, t in enumerate(folder.tokens)
                           if not phrase.first <= i <= phrase.last and t.kind in WORDS))
    if beside:
        return beside
    own = fold(folder.between(phrase.first, phrase.last))
    for below in range(part + 1, len(place.folders)):
        if place.kinds[below] == "c":
            return _without(fold(place.folders[below]), own)
    return _uncounted(place, _without(_folded_stem(place), own))


def title_below(place: Place, part: int) -> str:
    """What the file's name says besides the nearest folder below another: "Moor" of "Ann Teal/Landscapes/Moor"."""
    below = next((at for at in range(part + 1, len(place.folders)) if place.kinds[at] == "c"), 0)
    return _uncounted(place, _without(_folded_stem(place), fold(place.folders[below]))) if below else ""


def _folded_stem(place: Place) -> str:
    return fold(read_name(place.stem).between(place.first, place.last)) if place.first <= place.last else ""


def ends_in(place: Place, text: str) -> bool:
    """Whether what a file's name may hold as its title ends in ``text``, or is that."""
    return f" {_folded_stem(place)}".endswith(f" {fold(text)}")


def beside_repeated_title(folder: Name, place: Place) -> tuple[int, ...]:
    """The tokens of a folder's name, first and last, beside the title that the file's name repeats: "2021-034 Dubrelle
    Two Boats/Two_Boats". Empty where it repeats none, or nothing stands beside it."""
    title = title_key(read_name(place.stem).between(place.first, place.last)) if place.first <= place.last else ""
    said = [i for i, token in enumerate(folder.tokens) if token.kind is not Kind.BREAK]
    if len(title) < 2 or len(said) < 2:
        return ()
    for number, at in enumerate(said[1:], 1):
        behind = title_key(folder.between(at, said[-1]))
        several = len(said) - number > 1
        if behind and (behind == title or (several and title.startswith(behind))) and _holds_word(folder, 0, at):
            return 0, said[number - 1]
        before = title_key(folder.between(said[0], said[number - 1]))
        if before == title and _holds_word(folder, at, len(folder.tokens)):
            return at, said[-1]
    return ()


def _holds_word(name: Name, first: int, stop: int) -> bool:
    return any(token.kind is Kind.WORD for token in name.tokens[first:stop])


def _uncounted(place: Place, said: str) -> str:
    """A title without the number that may count captures of it: "harbour 3" as "harbour"."""
    title, _, number = said.rpartition(" ")
    return title if title and number.isdigit() and not place.proved else said


def _without(said: str, own: str) -> str:
    return said[len(own):].strip() if said.startswith(own) else said


def find_containers(places: Sequence[Place]) -> set[tuple[str, ...]]:
    """Folders that hold artists' folders, told by three or more of the folders in them that each hold several titles;
    there are few of them, and no person's name is among them."""
    titles: dict[tuple[str, ...], set[str]] = defaultdict(set)
    children: dict[tuple[str, ...], set[tuple[str, ...]]] = defaultdict(set)
    siblings: dict[tuple[str, ...], set[str]] = defaultdict(set)  # of folders without shelves: "Artists/T/Ann Teal"
    beside: dict[tuple[str, ...], tuple[str, ...]] = {}
    for place in places:
        content = [part for part, kind in enumerate(place.kinds) if kind == "c"]
        base = _folded_stem(place)
        for number, part in enumerate(content):
            below = fold(place.folders[content[number + 1]]) if number + 1 < len(content) else base
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
        for part, text in enumerate(place.folders):
            if place.kinds[part] == "c":
                children[place.folders[:part]][text] = any(
                    p.whole and p.person.family_first for p in phrases(text))
    return defaultdict(float, {parent: sum(found.values()) / len(found) for parent, found in children.items()})
