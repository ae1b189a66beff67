"""Evidence for each written name that may be a person's: where it occurs, and with which titles."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from math import inf

from catalogue.filing import vocabulary as words
from catalogue.filing.joining import Key, respelt, without_words_before
from catalogue.filing.name_orders import find_name_orders
from catalogue.filing.names import Phrase, phrases, read_name
from catalogue.filing.people import Person, person_of
from catalogue.filing.places import (
    SURELY,
    Place,
    beside_repeated_title,
    find_containers,
    inverted_shares,
    rest_of,
    title_below,
    title_beside,
)
from catalogue.filing.tokens import Kind

CAP = 12  # titles counted for one artist

Slot = tuple[str, int, str]


@dataclass(slots=True)
class Evidence:
    """The archive's evidence for one written name."""

    person: Person
    titles: set[str] = field(default_factory=set)
    places: int = 0
    echoed: int = 0  # places below its folder that only repeat its name
    whole: int = 0  # times it fills a field
    folders: int = 0  # times it fills a folder's name, family first, among folders mostly written so
    stated: bool = False
    below: set[str] = field(default_factory=set)  # families of people in folders below it


@dataclass(slots=True, eq=False)
class Candidate:
    """A phrase that may name the artist of a place."""

    place: Place
    part: int
    phrase: Phrase
    key: Key
    slot: Slot
    outermost: bool
    announced: bool = False  # its folder is a numbered job's, or lies among "artists": the rest of its name is a person
    name: Key = ("", ())  # of the fullest name that the written one can only mean
    known: bool = False  # whether that is surely an artist's
    weight: float = -inf  # what speaks for it wherever it stands, least where nothing is filed under it
    _title: str | None = None

    @property
    def title(self) -> str:
        """The title that stands with it."""
        if self._title is None:
            self._title = title_beside(self.place, self.part, self.phrase)
        return self._title


class NameEvidence:
    """The evidence by written name, and for each place the phrases that may be its artist. ``rewritten``: names that
    are read otherwise than they are written, by what they look like."""

    def __init__(self, places: Sequence[Place], creators: Iterable[str], known: Iterable[str]) -> None:
        self.by_name: dict[Key, Evidence] = {}
        for creator in sorted({*creators, *known}):
            person = person_of(creator)
            if person:
                self._of(person).stated = True
        self.rewritten = find_name_orders(places)
        self._inverted = inverted_shares(places)
        self._containers = find_containers(places)
        self.candidates = [self._read_place(place) for place in places]
        self._gather_all(places)
        if slips := respelt(self.by_name) | without_words_before(self.by_name):
            self.rewritten |= slips
            self.by_name = {key: Evidence(e.person, stated=True) for key, e in self.by_name.items() if e.stated}
            self.candidates = [
                self._read_place(place) if any(c.key in slips for c in candidates) else candidates
                for place, candidates in zip(places, self.candidates, strict=True)]
            self._gather_all(places)

    def _of(self, person: Person) -> Evidence:
        evidence = self.by_name.get(person.key)
        if evidence is None:
            evidence = self.by_name[person.key] = Evidence(person)
        elif evidence.person is not person and (
                person.form, person.fullness) > (evidence.person.form, evidence.person.fullness):
            evidence.person = person
        return evidence

    def _gather_all(self, places: Sequence[Place]) -> None:
        for place, candidates in zip(places, self.candidates, strict=True):
            self._gather(place, candidates)

    def _read_place(self, place: Place) -> list[Candidate]:
        content = [part for part in place.content if place.folders[: part + 1] not in self._containers]
        candidates: list[Candidate] = []
        titled = False  # a folder shows that the file's name holds its title and no more
        for part in content:
            beside = beside_repeated_title(place.folders[part], place)
            titled = titled or bool(beside)
            for written in phrases(place.folders[part], *beside):
                phrase = self._rewrite(written)
                if phrase.person.family_first and any(
                        c.part < part and _names_again(phrase, c.phrase) for c in candidates):
                    continue
                if beside and phrase.spot == "W":
                    phrase = replace(phrase, spot="L" if phrase.first else "F", bounded=True)
                slot = place.shape, part, _slot(phrase)
                candidates.append(Candidate(place, part, phrase, phrase.person.key, slot, part == content[0],
                                            phrase.whole and _is_announced(place, part)))
        if place.first <= place.last and not titled:
            part = len(place.folders)
            for written in phrases(place.stem, place.first, place.last):
                if not rest_of(read_name(place.stem), place.first, place.last, written):
                    continue  # a file's whole name is its title
                phrase = self._rewrite(written)
                if phrase.spot == "W" and phrase.whole:  # "Smith 1974": the title is a number
                    phrase = replace(phrase, spot="F" if phrase.first == place.first else "L", whole=False)
                slot = place.shape, part, _slot(phrase)
                candidates.append(Candidate(place, part, phrase, phrase.person.key, slot, False))
        return candidates

    def _rewrite(self, phrase: Phrase) -> Phrase:
        person = self.rewritten.get(phrase.person.key)
        return replace(phrase, person=person) if person else phrase

    def _gather(self, place: Place, candidates: Sequence[Candidate]) -> None:
        for candidate in candidates:
            evidence = self._of(candidate.phrase.person)
            evidence.places += 1
            evidence.whole += candidate.phrase.spot.isupper()
            evidence.folders += (
                candidate.phrase.whole
                and candidate.part < len(place.folders)
                and candidate.phrase.person.family_first
                and self._inverted[place.folders[: candidate.part]] >= 0.5
            )
            if len(evidence.titles) < CAP:
                title = candidate.title
                if title and set(title.split()) <= words.POSITION:
                    continue  # where a capture lies: "left"
                if title:
                    evidence.titles.add(title)
                    if candidate.phrase.whole:
                        evidence.titles |= {title_below(place, candidate.part)} - {""}
                else:
                    evidence.echoed += 1
            if candidate.phrase.person.form >= SURELY and candidate.phrase.spot.isupper():
                for other in candidates:
                    if other.part < candidate.part and other.phrase.whole:
                        below = self._of(other.phrase.person).below
                        if len(below) < 3:
                            below.add(candidate.phrase.person.family)


def _names_again(phrase: Phrase, outer: Phrase) -> bool:
    """Whether a title ends in the given name of the artist whose folder holds it: "Ida Fernlow/Low Tide (Ida)"."""
    person, artist = phrase.person, outer.person
    return (person.given[:1] == artist.given[:1] != () and person.family != artist.family and outer.whole
            and artist.form >= SURELY)


def _is_announced(place: Place, part: int) -> bool:
    """Whether a folder's number, or the folder in which it lies, says that its name is a person's: "2022-014 Brell",
    "artists/brell"."""
    if any(t.kind == Kind.JOB and t.text[0].isdigit() for t in read_name(place.folders[part]).tokens):
        return True
    above = read_name(place.folders[part - 1]).spoken if part else ()
    return bool(above) and all(t.text.casefold() in words.ARTISTS for t in above)


def _slot(phrase: Phrase) -> str:
    """Where a phrase stands; "smith_low_tide" begins with a field as "Smith_Low Tide" does."""
    return phrase.spot.upper() if phrase.bounded and phrase.spot in "fl" else phrase.spot
