"""Which phrases of an archive's paths are artists, told from the tree as a whole.

A person's name can look like a title and a title like a name ("Grey Harbour"). What tells them apart is what varies
beside them: an artist stands with many titles, a title with one artist.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from catalogue.filing.names import WORDS, Name, Phrase, fold, is_device_name, is_shelf, phrases, read_name
from catalogue.filing.people import Person, compatible, fuller, read_person, turned
from catalogue.filing.tokens import Kind

ENOUGH = 0.45  # evidence below which a phrase is not taken for an artist
MANY = 3  # titles that show a phrase to be an artist
OUTERMOST = 0.25
CUSTOM = 0.3  # what standing where the archive's artists stand is worth


@dataclass(slots=True)
class _Evidence:
    person: Person
    beside: set[str] = field(default_factory=set)  # what varies beside it in file names
    below: set[str] = field(default_factory=set)  # what varies below it as a folder
    parents: set[str] = field(default_factory=set)
    echoed: int = 0  # files below the folder that repeat its name and add nothing
    files: int = 0
    stated: bool = False  # a file's own tags name this creator
    people: set[str] = field(default_factory=set)  # families of people named below it as a folder
    bounded: bool = False

    @property
    def variety(self) -> int:
        return len(self.below | self.beside)


@dataclass(frozen=True, slots=True)
class Found:
    """An artist in a path: in which part, at which tokens; with the evidence, from 0 to 1, and the reason in words."""

    artist: str
    part: int
    first: int
    last: int
    certainty: float
    reason: str
    either: tuple[str, ...] = ()  # where the written name may mean several artists: their names


class Artists:
    """The artists of one archive."""

    def __init__(self, paths: Sequence[tuple[str, ...]], creators: Iterable[str], known: Iterable[str] = ()) -> None:
        self._evidence: dict[tuple[str, tuple[str, ...]], _Evidence] = {}
        for creator in {*creators, *known}:
            person = person_of(creator)
            if person:
                self._of(person).stated = True
        self._turned = _family_first(paths)
        self._gather(paths)
        self._meanings: dict[tuple[str, tuple[str, ...]], tuple[str, ...]] = {}
        self._canonical = self._join()
        self._varieties: Counter[tuple[str, tuple[str, ...]]] = Counter()
        for key, evidence in self._evidence.items():
            self._varieties[self._canonical[key]] += evidence.variety
        self._scores = {key: self._score(e) for key, e in self._evidence.items()}
        for key, canonical in self._canonical.items():  # one name is as good as the other
            if canonical != key:
                best = min(0.9, max(self._scores[key], self._scores[canonical]))
                self._scores[key], self._scores[canonical] = (
                    max(self._scores[key], best),
                    max(self._scores[canonical], best),
                )
        self._customs: frozenset[tuple[str, int, bool]] = frozenset()
        self._customs = self._find_customs(paths)

    def find(self, path: tuple[str, ...]) -> Found | None:
        """The likeliest artist that a path names, or None."""
        best: tuple[float, int, int] | None = None
        chosen: Found | None = None
        for part, text in enumerate(path):
            if part < len(path) - 1 and is_shelf(read_name(text)):
                continue
            for phrase, score in self._likely(text, _spot(path, part), outermost=_is_outermost(path, part)):
                if part == len(path) - 1 and not _rest(read_name(text), phrase):
                    continue  # a file's whole name is its title
                rank = (round(score, 2), phrase.last - phrase.first, -part)
                if best is None or rank > best:
                    best = rank
                    person = self._read(phrase.person)
                    chosen = Found(
                        self.name(person),
                        part,
                        phrase.first,
                        phrase.last,
                        min(score, 0.97),
                        self._reason(person, part == len(path) - 1),
                        self._meanings.get(person.key, ()),
                    )
        return chosen or self._outer_of_two(path)

    @staticmethod
    def _outer_of_two(path: tuple[str, ...]) -> Found | None:
        """Where folders lie in one another and no name tells: the outer one, as most shops have it."""
        telling = [part for part, text in enumerate(path[:-1]) if not is_shelf(read_name(text))]
        if len(telling) < 2 or telling[0] > 0 or not _is_outermost(path, telling[0]):
            return None
        name = read_name(path[telling[0]])
        spoken = [i for i, token in enumerate(name.tokens) if token.kind in WORDS]
        text = name.between(spoken[0], spoken[-1])
        return Found(text, telling[0], spoken[0], spoken[-1], 0.4, "the outer of two folders")

    def _find_customs(self, paths: Sequence[tuple[str, ...]]) -> frozenset[tuple[str, int, bool]]:
        """Where artists mostly stand in paths of one layout: in which folder, or first or last in a name."""
        spots: dict[str, Counter[tuple[str, int, bool]]] = defaultdict(Counter)
        for path in paths:
            found = self.find(path)
            if found:
                layout, part = _spot(path, found.part)
                spots[layout][layout, part, found.first == 0] += 1
        return frozenset(
            spot
            for counter in spots.values()
            for spot, count in counter.items()
            if count >= 3 and count >= 0.6 * counter.total()
        )

    def _likely(self, text: str, spot: tuple[str, int], *, outermost: bool) -> list[tuple[Phrase, float]]:
        """Phrases of one name with enough evidence; none that is but the end of a longer name ("Mary Anna Lee").

        ``outermost``: it is the outermost of several folders and names that say something, where most shops put the
        artist (common practice, no source).
        """
        likely = []
        for phrase in phrases(text):
            score = self._scores.get(self._read(phrase.person).key, 0.0) + 0.1 * phrase.bounded + 0.05 * phrase.whole
            if phrase.bounded and phrase.person.form >= 0.1 and (*spot, phrase.first == 0) in self._customs:
                score += CUSTOM
            if outermost and phrase.whole and phrase.person.form >= 0.1:
                score += OUTERMOST
            if score >= ENOUGH:
                likely.append((phrase, score))
        return [
            (phrase, score) for phrase, score in likely if not any(self._yields(phrase, other) for other, _ in likely)
        ]

    def _yields(self, phrase: Phrase, other: Phrase) -> bool:
        """Whether one of two nested phrases is not the name: the end of a longer name ("Anna Lee" in "Mary Anna Lee"),
        or a name with a title's first words ("Ada Quill Two" in "Ada Quill Two Boats")."""
        inside = other.first <= phrase.first and phrase.last <= other.last and phrase != other
        around = other.first >= phrase.first and other.last <= phrase.last and phrase != other
        if around and phrase.person.form < ENOUGH and self._is_known(other) and not self._is_known(phrase):
            return True
        if inside and other.person.form < ENOUGH and self._is_known(phrase) and not self._is_known(other):
            return False
        if inside and phrase.first == other.first:
            return other.person.form >= ENOUGH and (
                other.bounded or 2 * self._variety(other) >= self._variety(phrase)
            )
        return (inside and other.person.form >= ENOUGH) or (
            phrase.first == other.first
            and phrase.last > other.last
            and not phrase.bounded
            and self._variety(other) > 2 * self._variety(phrase)
        )

    def _is_known(self, phrase: Phrase) -> bool:
        """Whether a phrase stands for an artist who is written elsewhere in a form that only names of people have."""
        key = self._read(phrase.person).key
        evidence = self._evidence[self._canonical.get(key, key)]
        return evidence.stated or evidence.person.form >= ENOUGH or key in self._meanings

    def _variety(self, phrase: Phrase) -> int:
        key = self._read(phrase.person).key
        return self._varieties[self._canonical.get(key, key)]

    def name(self, person: Person) -> str:
        """The fullest way in which this person is written in the archive."""
        return self._evidence[self._canonical.get(person.key, person.key)].person.text

    def canonical(self, name: str) -> str:
        """A creator as stated, in the form under which the archive files them."""
        person = person_of(name)
        if person is None or person.key not in self._canonical:
            return name.strip()
        return self.name(person)

    def _read(self, person: Person) -> Person:
        """The person, with the family name first where this archive writes it so."""
        return (turned(person) or person) if person.key in self._turned else person

    def _of(self, person: Person) -> _Evidence:
        evidence = self._evidence.setdefault(person.key, _Evidence(person))
        if (person.form, fuller(person)) > (evidence.person.form, fuller(evidence.person)):
            evidence.person = person
        return evidence

    def _gather(self, paths: Sequence[tuple[str, ...]]) -> None:
        for path in paths:
            stem = read_name(path[-1])
            for phrase in phrases(path[-1]):
                evidence = self._of(self._read(phrase.person))
                rest = _rest(stem, phrase)
                if rest:
                    evidence.beside.add(rest)
                    evidence.files += 1
                evidence.bounded |= phrase.bounded
            for part, text in enumerate(path[:-1]):
                folder = read_name(text)
                if is_shelf(folder):
                    continue
                for phrase in phrases(text):
                    evidence = self._of(self._read(phrase.person))
                    evidence.bounded |= phrase.bounded
                    evidence.parents.add("/".join(path[:part]))
                    rest = _rest(folder, phrase)
                    if rest:
                        evidence.beside.add(rest)
                        continue
                    evidence.files += 1
                    if len(evidence.people) <= MANY:
                        evidence.people |= _people_below(path, part)
                    own = fold(folder.between(phrase.first, phrase.last))
                    said = _said(path, part + 1, own)
                    if said:
                        evidence.below.add(said)
                    else:
                        evidence.echoed += 1

    def _score(self, e: _Evidence) -> float:
        if e.stated:
            return 1.0
        if len(e.people - {e.person.family}) >= 2:
            return 0.0  # a folder of several people's work is no person's
        spread = 0.4 if e.variety >= MANY else 0.25 if e.variety == 2 else 0.0
        if e.beside and not e.below and not e.bounded:
            spread *= 0.5  # a first word that many titles share ("The", "Blue") is no artist
        score = e.person.form + spread + (0.1 if len(e.parents) > 1 else 0.0)
        if e.echoed > len(e.below):
            score -= 0.4  # its files repeat it and add nothing: a piece's folder
        if e.person.form < 0.15 and not e.below:
            score -= 0.1
        return max(0.0, score)

    def _join(self) -> dict[tuple[str, tuple[str, ...]], tuple[str, tuple[str, ...]]]:
        """For each written name the fullest one it can only mean."""
        families: dict[str, list[_Evidence]] = defaultdict(list)
        for evidence in self._evidence.values():
            families[evidence.person.family].append(evidence)
        joined = {}
        for members in families.values():
            sure = [m for m in members if m.stated or m.person.form >= 0.45 or self._score(m) >= ENOUGH]
            trusted = [
                m
                for m in members
                if m.person.given
                and (m in sure or any(s.person.given and compatible(s.person, m.person) for s in sure))
            ]
            for member in members:
                fitting = [
                    t
                    for t in trusted
                    if t is not member
                    and compatible(member.person, t.person)
                    and fuller(t.person) > fuller(member.person)
                ]
                tops = [
                    t
                    for t in fitting
                    if not any(
                        o is not t and compatible(o.person, t.person) and fuller(o.person) > fuller(t.person)
                        for o in fitting
                    )
                ]
                joined[member.person.key] = tops[0].person.key if len(tops) == 1 else member.person.key
                if len(tops) > 1:
                    self._meanings[member.person.key] = tuple(sorted(t.person.text for t in tops))
        return joined

    def _reason(self, person: Person, in_file: bool) -> str:
        e = self._evidence[person.key]
        where = "the file's name" if in_file else "the folder"
        if e.stated:
            return f"{where} names an artist stated in the files"
        return f"{where} says {person.text!r}" + (f", which stands with {e.variety} titles" if e.variety > 1 else "")


def person_of(name: str) -> Person | None:
    """A whole string as a person's name, or None."""
    text = name.strip()
    family, comma, given = text.partition(",")
    if comma and given.strip():
        return read_person([family.strip(), *given.split()], comma=True)
    return read_person(text.split())


def _people_below(path: tuple[str, ...], part: int) -> set[str]:
    """Families of those whom the folders right below name in a form that only names of people have."""
    if part + 1 >= len(path):
        return set()
    return {
        phrase.person.family for phrase in phrases(path[part + 1]) if phrase.whole and phrase.person.form >= ENOUGH
    }


def _is_outermost(path: tuple[str, ...], part: int) -> bool:
    """Whether a folder is the outermost that says something, and something below it says more than its name again."""
    if part == len(path) - 1 or any(not is_shelf(read_name(folder)) for folder in path[:part]):
        return False
    return bool(_said(path, part + 1, fold(path[part])))


def _family_first(paths: Sequence[tuple[str, ...]]) -> frozenset[tuple[str, tuple[str, ...]]]:
    """Names of two words that tell nothing of their order, in folders where the others have the family name first."""
    orders: dict[tuple[str, int], Counter[bool]] = defaultdict(Counter)
    open_: dict[tuple[str, int], set[tuple[str, tuple[str, ...]]]] = defaultdict(set)
    for text, spot in {(text, _spot(path, part)) for path in paths for part, text in enumerate(path[:-1])}:
        for phrase in phrases(text):
            if phrase.whole and phrase.person.form >= ENOUGH and len(phrase.person.given) == 1:
                orders[spot][phrase.person.family_first] += 1
            elif phrase.whole and turned(phrase.person):
                open_[spot].add(phrase.person.key)
    return frozenset(key for spot, keys in open_.items() if orders[spot][True] > orders[spot][False] for key in keys)


def _spot(path: tuple[str, ...], part: int) -> tuple[str, int]:
    """The layout of a path (which folders are shelves, which say something) and the part."""
    return "".join("s" if is_shelf(read_name(folder)) else "n" for folder in path[:-1]), part


def _rest(name: Name, phrase: Phrase) -> str:
    """What a name says besides the phrase, folded; only words count."""
    return fold(
        " ".join(
            u.text
            for u in name.units
            if not phrase.first <= u.first <= phrase.last and name.tokens[u.first].kind is Kind.WORD
        )
    )


def _said(path: tuple[str, ...], part: int, own: str) -> str:
    """The first thing below a folder that says something other than the folder's own name."""
    for i in range(part, len(path)):
        name = read_name(path[i])
        if i < len(path) - 1:
            if is_shelf(name):
                continue
        elif is_device_name(name):
            return ""
        said = fold(" ".join(t.text for t in name.tokens if t.kind.value == "word"))
        if said.startswith(own):
            said = said[len(own) :].strip()
        if said:
            return said
    return ""
