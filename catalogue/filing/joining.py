"""Which written names are one person: "J Smith", "Smith", "JS", "Simth" and "John Smith"."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

from catalogue.filing.folding import fold
from catalogue.filing.people import Person, compatible, core_of, initials_of, is_given

Key = tuple[str, tuple[str, ...]]
SLIP = 6  # letters of a family name from which one wrong letter is taken for a slip
OFTEN = 2  # how many times more often the right spelling is met


class Named(Protocol):
    """Facts of a written name: how often it occurs, and whether a file states it."""

    person: Person
    places: int
    whole: int  # in how many it fills a field
    folders: int  # in how many it fills a folder's name
    stated: bool

    @property
    def titles(self) -> set[str]: ...


@dataclass(frozen=True, slots=True)
class Names:
    """``canonical`` leads from a written name to the fullest one it can only mean; ``either`` to the several that it
    may mean, in words; ``sure`` are names of people for certain."""

    canonical: dict[Key, Key]
    either: dict[Key, tuple[str, ...]]
    sure: frozenset[Key]

    def of(self, key: Key) -> Key:
        """The key of the fullest name."""
        return self.canonical.get(key, key)


def join_people(evidence: Mapping[Key, Named]) -> Names:
    """For each written name the fullest one it can only mean."""
    families: dict[str, list[Named]] = defaultdict(list)
    for named in evidence.values():
        families[core_of(named.person.family).split(" ")[0]].append(named)
    full = _full_names(evidence)
    joined: dict[Key, Key] = {}
    either: dict[Key, tuple[str, ...]] = {}
    sure: set[Key] = set()
    for members in families.values():
        family_titles = max((len(m.titles) for m in members if not m.person.given), default=0)
        trusted = [m for m in members if m.person.given and _is_sure(m, family_titles)]
        trusted = [m for m in trusted if m.whole or m.stated or (
            len(m.titles) > 1 and not any(_ends_in(t.person, m.person) for t in members if t.whole or t in trusted))]
        known = {m.person.family for m in trusted}
        trusted += [m for m in members if m not in trusted and m.person.given and m.person.family in known and m.whole
                    and not m.person.family_first and len(m.person.given) == 1 and m.person.form >= 0.2]
        trusted += [m for m in members if m.person.given and m not in trusted and len(m.person.given[0]) > 1
                    and (not m.person.family_first or len(m.titles) >= 0.4 * family_titles)
                    and any(len(t.person.given[0]) == 1 and compatible(t.person, m.person) for t in trusted)]
        trusted += [m for m in members if m not in trusted and _is_short_form_known(m.person, evidence)]
        trusted = [m for m in trusted if not _goes_on(m, full)]
        sure.update(m.person.key for m in trusted)
        for member in members:
            tops = _fullest(member, trusted)
            if len(tops) == 1:
                joined[member.person.key] = tops[0].person.key
            elif len(tops) > 1:
                either[member.person.key] = tuple(sorted(t.person.text for t in tops))
        joined |= _join_second_families(members, trusted)
    joined |= _join_letters(evidence, joined)
    joined |= _join_initials(evidence, joined)
    return Names(joined, either, frozenset(sure))


def _full_names(evidence: Mapping[Key, Named]) -> Mapping[str, list[Named]]:
    """By family the full names that often fill a field."""
    full: dict[str, list[Named]] = defaultdict(list)
    for named in evidence.values():
        if named.person.given and named.whole > 1:
            full[named.person.family].append(named)
    return full


def _goes_on(named: Named, full: Mapping[str, list[Named]]) -> bool:
    """Whether what is met once begins with an artist's name and goes on with a word of a title, as before the comma of
    "Ada Quill Slipway, Early"."""
    *before, family = named.person.given
    return named.whole == 1 and not named.stated and not named.folders and any(
        len(other.titles) > 2 * len(named.titles) and before in ([], list(other.person.given))
        for other in full.get(family, ()))


def _ends_in(longer: Person, shorter: Person) -> bool:
    """ "Mary Anna Lee" ends in "Anna Lee"."""
    return (
        longer.family == shorter.family
        and len(longer.given) > len(shorter.given)
        and longer.given[-len(shorter.given):] == shorter.given
    )


def _is_short_form_known(person: Person, evidence: Mapping[Key, Named]) -> bool:
    """Whether "Ann Teal" stands once and "Teal" with several titles, where "Ann" never fills a field as titles do."""
    if not person.given or person.family_first or person.form < 0.15 or not evidence[person.key].whole:
        return False
    first, short = evidence.get((person.given[0], ())), evidence.get((person.family, person.given[1:]))
    return short is not None and short.whole > 0 and len(short.titles) > 1 and not (first and first.whole)


def _join_second_families(members: list[Named], trusted: list[Named]) -> dict[Key, Key]:
    """ "Almenara Sotos" as Nicanor Almenara Sotos: the first word is a family name of another's, and no first name."""
    joins = {}
    for member in members:
        longer = [t for t in trusted if _ends_in(t.person, member.person)]
        if len(member.person.given) == 1 and not is_given(member.person.given[0]) and len(longer) == 1:
            joins[member.person.key] = longer[0].person.key
    return joins


def _is_sure(named: Named, family_titles: int = 0) -> bool:
    """Whether a full name is one. "Granhed, Low Tide" is none where "Granhed" stands with many other titles:
    ``family_titles``."""
    if named.stated or named.person.form >= 0.45:
        return True
    slug = named.person.text.islower() and len(named.titles) > 2
    if named.person.form < (0.1 if slug else 0.15) or not named.whole:
        return False
    if named.folders:
        return bool(named.titles)
    return len(named.titles) >= max(2, 0.4 * family_titles if named.person.family_first else 0)


def _join_letters(evidence: Mapping[Key, Named], joined: Mapping[Key, Key]) -> dict[Key, Key]:
    """Names of the same letters, where hyphens hide which is the family: "hester-dray-marlow", "Hester Dray-Marlow"."""
    same: dict[str, list[Named]] = defaultdict(list)
    for named in evidence.values():
        if named.person.given:
            written = fold(named.person.text)
            same[written.replace(" ", "")].append(named)
            same[" ".join(sorted(written.split()))].append(named)  # "Kurehashi Sayo", "Sayo Kurehashi"
    families = Counter(named.person.family for named in evidence.values() if named.whole or len(named.titles) > 1)
    joins: dict[Key, Key] = {}
    for members in same.values():
        if len(members) > 1:
            best = max(members, key=lambda m: (
                round(m.person.form, 1), m.person.text.count("-"), families[m.person.family], m.whole, m.person.text))
            for member in members:
                if member is not best and member.person.key not in joined and member.person.key not in joins:
                    joins[member.person.key] = joined.get(best.person.key, best.person.key)
    return joins


def _fullest(member: Named, trusted: list[Named]) -> list[Named]:
    fitting = [t for t in trusted if t is not member and compatible(member.person, t.person)
               and t.person.fullness > member.person.fullness
               and (core_of(t.person.family) == core_of(member.person.family)
                    or t.person.family_first or len(t.titles) > 2 or t.stated)]
    return [t for t in fitting if not any(
        o is not t and compatible(o.person, t.person) and o.person.fullness > t.person.fullness for o in fitting)]


def respelt(evidence: Mapping[Key, Named]) -> dict[Key, Person]:
    """Names whose family is one letter off one that is met much more often, each with that family in its place."""
    of_family: dict[str, list[Named]] = defaultdict(list)
    for named in evidence.values():
        of_family[named.person.family].append(named)
    places = {family: sum(named.places for named in members) for family, members in of_family.items()}
    titles = {family: len(set().union(*(named.titles for named in members if named.whole)))
              for family, members in of_family.items()}
    right: dict[str, set[str]] = defaultdict(set)
    for family, members in of_family.items():
        if len(family) >= SLIP and any(_is_sure(named) or (named.whole and titles[family] > 1) for named in members):
            for shorter in _shortened(family):
                right[shorter].add(family)
    respelt_names = {}
    for family, members in of_family.items():
        if len(family) < SLIP - 1 or any(named.stated for named in members):
            continue
        near = {other for shorter in _shortened(family) for other in right.get(shorter, ())
                if other != family and abs(len(other) - len(family)) < 2
                and (places[other] >= OFTEN * places[family] or titles[other] >= OFTEN * titles[family])}
        if len(near) == 1:
            spelt = of_family[near.pop()]
            for named in members:
                fitting = [o.person for o in spelt if compatible(
                    Person(named.person.given, o.person.family, "", 0.0), o.person)]
                if fitting:
                    respelt_names[named.person.key] = _with_family_of(named.person, fitting[0])
    return respelt_names


def without_words_before(evidence: Mapping[Key, Named]) -> dict[Key, Person]:
    """Names without the word before them that stands before several other people's full names too, as no first name
    does: "Output A. Quill", "Output B. Ashe"."""
    behind: dict[str, set[str]] = defaultdict(set)
    for (family, given), named in evidence.items():
        if len(given) > 1 and named.whole and (family, given[1:]) in evidence:
            behind[given[0]].add(family)
    return {key: Person(key[1][1:], key[0], named.person.text.partition(" ")[2], max(named.person.form, 0.2))
            for key, named in evidence.items()
            if len(key[1]) > 1 and len(behind[key[1][0]]) > 2 and not is_given(key[1][0])}


def _with_family_of(person: Person, right: Person) -> Person:
    given = person.text.split()[: len(person.text.split()) - len(person.family.split())]
    family = right.text.split()[-len(right.family.split()):]
    return Person(person.given, right.family, " ".join([*given, *family]), person.form, person.family_first)


def _shortened(word: str) -> Iterator[str]:
    """The word, and it without each of its letters: two words one slip apart share one of these."""
    yield word
    for at in range(len(word)):
        yield word[:at] + word[at + 1:]


def _join_initials(evidence: Mapping[Key, Named], joined: Mapping[Key, Key]) -> dict[Key, Key]:
    """"MH" and "MAH" as Margaret Anna Harrow, or M. Harrow, or as Harrow where no first name is known."""
    full: dict[str, set[Key]] = defaultdict(set)
    ends: dict[str, set[Key]] = defaultdict(set)
    families: dict[str, set[Key]] = defaultdict(set)
    for key, named in evidence.items():
        person = named.person
        if person.given and _is_sure(named):
            letters = initials_of(person)
            full[letters].add(joined.get(key, key))
            ends[letters[0] + letters[-1]].add(joined.get(key, key))
        elif not person.given and not person.initials and key not in joined and len(named.titles) > 1 < named.whole:
            families[person.family[0]].add(key)
    joins = {}
    for key, named in evidence.items():
        if named.person.initials:
            letters = named.person.family
            near = full[letters] or ends[letters[0] + letters[-1]] or families[letters[-1]]
            if len(near) == 1:
                joins[key] = next(iter(near))
    return joins
