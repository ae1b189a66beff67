"""What the folders of an archive are for: shelves (when, where), purposes ("druk", "bits") or content (whose, what).

Some are recognised by their words. Others are learned: a folder whose files show the same titles as the files around it
holds another version of them, whatever its name; so does one whose name recurs under many titles.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from functools import lru_cache

from catalogue.filing.folding import fold
from catalogue.filing.names import WORDS, read_name
from catalogue.filing.people import read_person
from catalogue.filing.tokens import Kind, Token, role_word

MANY = 3  # places in which a folder's name must be met
SHARED = 0.5  # share of its titles that must be met around it
FEW = 6  # titles: fewer than that two artists may both have
FULL_NAME = 0.15  # form of two words that may be a full name, as for artists

Path = tuple[str, ...]


def folder_kinds(folders: Sequence[Path], titles: Sequence[str]) -> dict[Path, str]:
    """For each folder of the archive: s, p or c. ``folders`` and ``titles`` have one entry a file; a title is empty
    if the file's own name holds none."""
    held: dict[Path, set[str]] = defaultdict(set)
    entries: dict[Path, Counter[str]] = defaultdict(Counter)  # in how many of a folder's entries a title is met
    direct: dict[Path, set[str]] = defaultdict(set)
    for folder, title in set(zip(folders, titles, strict=True)):
        direct[folder].add(title)
        for depth in range(1, len(folder) + 1):
            held[folder[:depth]].add(title)
    for folder, titles_in in held.items():
        entries[folder[:-1]].update(titles_in)
    for folder, titles_in in direct.items():
        entries[folder].update(titles_in)
    met, shared, bare = Counter[str](), Counter[str](), Counter[str]()
    parents: dict[str, set[Path]] = defaultdict(set)
    children: Counter[Path] = Counter()
    for folder, titles_in in held.items():
        name = purpose_key(folder[-1])
        parents[name].add(folder[:-1])
        children[folder[:-1]] += 1
        around = entries[folder[:-1]]
        plain = {t: t.rstrip("0123456789") or t for t in titles_in if t}  # captures counted are one title
        met[name] += len(set(plain.values()))
        shared[name] += len({p for t, p in plain.items() if _is_around(t, titles_in, around)})
        bare[name] += titles_in == {""} and len(folder) > 1 and not read_name(folder[-2]).is_shelf
    years: Counter[Path] = Counter()
    for folder in held:
        years[folder[:-1]] += folder[-1].isdigit()
    titled = {parent for parent in children if len(parent) > 0 and years[parent] <= 0.25 * children[parent]}
    spread = {name for name, parents_of in parents.items() if _is_spread(parents_of, children)}
    purposes = spread | {name for name in parents if _is_purpose(name, met, shared, bare)}
    kinds = {}
    for folder in held:
        text = folder[-1]
        if text.isdigit() and len(text) == 4 and folder[:-1] in titled:
            kinds[folder] = "c"
        elif read_name(text).is_shelf:
            kinds[folder] = "s"
        else:
            name = purpose_key(text)
            everywhere = name in spread and len(parents[name]) >= 2 * MANY  # "ana dosya" is no Ana
            few = name not in spread and shared[name] < FEW and not bare[name] and not children[folder]
            kinds[folder] = "p" if name in purposes and (everywhere or not _is_named(text, few=few)) else "c"
    return kinds


def _is_spread(parents: set[Path], children: Counter[Path]) -> bool:
    """Whether a folder's name recurs under many content folders that hold few others: "bits" in piece after piece.
    Where artists recur under purposes, each purpose holds many of them."""
    within = [p for p in parents if p and not read_name(p[-1]).is_shelf]
    return len(within) >= MANY and len(within) > sum(children[p] for p in within) / len(within)


def _is_named(text: str, *, few: bool) -> bool:
    """Whether a folder's name holds a job's number, a date or a person, as no purpose does. Where the titles of ``few``
    files right in it are all that speaks for a purpose, two words that look like a full name are one.
    """
    if any(t.kind in (Kind.JOB, Kind.DATE, Kind.INVENTORY) for t in read_name(text).tokens):
        return True
    person = read_person(text.replace(",", " ").split())
    if person is None or text[0].islower():     # "per cliente" is no Per
        return False
    return person.form >= 0.45 or (few and person.form >= FULL_NAME and bool(person.given) and not any(
        role_word(word) for word in text.split()))


def _is_purpose(name: str, met: Counter[str], shared: Counter[str], bare: Counter[str]) -> bool:
    all_shared = shared[name] >= 2 and shared[name] == met[name]
    mostly = shared[name] >= MANY and shared[name] >= SHARED * met[name]
    return all_shared or mostly or (bare[name] >= MANY and not met[name])


def _is_around(title: str, titles_in: set[str], around: Counter[str]) -> bool:
    """Whether files beside a folder show a title of it too; "harbour3" in it is "harbour" around it."""
    if around[title] > 1:
        return True
    plain = title.rstrip("0123456789")
    return plain != title and plain not in titles_in and around[plain] > 0


@lru_cache(maxsize=200_000)
def purpose_key(text: str) -> str:
    """A folder's name as purposes are compared: "01_captures" and "02 captures" alike, "Boats 7" and "Boats 8" not."""
    return fold(text).lstrip("0123456789 ")


def folder_titles(folders: Iterable[Path]) -> list[str]:
    """Names of folders that may hold one piece each: those that do not recur in many places."""
    parents: dict[str, set[Path]] = defaultdict(set)
    for folder in set(folders):
        for depth in range(len(folder)):
            parents[folder[depth]].add(folder[:depth])
    return sorted(name for name, parents_of in parents.items() if len(parents_of) < MANY)


def bare_stems(paths: Collection[Path]) -> frozenset[str]:
    """Stems that say what a file is for and nothing else ("uscita_A3" in one folder after another): words that recur in
    many folders which have no other. ``paths`` are distinct."""
    stems = {path[-1]: _words_of(read_name(path[-1]).tokens) for path in paths}
    folders: dict[str, set[Path]] = defaultdict(set)
    keys: dict[Path, set[str]] = defaultdict(set)
    repeating: dict[str, set[Path]] = defaultdict(set)  # by purpose: the folders whose folders for it are named again
    for path in paths:
        key, folder = stems[path[-1]], path[:-1]
        folders[key].add(folder)
        keys[folder].add(key)
        if _repeats_folder(path):
            repeating[purpose_key(path[-2])].add(path[:-2])
    often = {key for key, folders_of in folders.items() if key and len(folders_of) >= MANY}
    bare = {key for key in often if sum(keys[folder] <= often for folder in folders[key]) >= 0.7 * len(folders[key])}
    spread = {key for key, parents in repeating.items() if len(parents) >= MANY}
    return frozenset(stem for stem, key in stems.items() if key in bare) | {
        path[-1] for path in paths if spread and _repeats_folder(path) and purpose_key(path[-2]) in spread}


def _words_of(tokens: Sequence[Token]) -> str:
    return " ".join([fold(t.text) for t in tokens if t.kind in WORDS or t.kind == Kind.NUMBER])


def _repeats_folder(path: Path) -> bool:
    """Whether a stem says its folder's name and a size: "uscita/uscita - 60x80 cm"."""
    return len(path) > 2 and not path[-2][-1:].isdigit() and purpose_key(path[-2]) == _purpose_before_size(path[-1])


@lru_cache(maxsize=200_000)
def _purpose_before_size(stem: str) -> str:
    tokens = read_name(stem).tokens
    size = next((at for at, token in enumerate(tokens) if token.kind == Kind.SIZE), len(tokens))
    return purpose_key(_words_of(tokens[:size]))
