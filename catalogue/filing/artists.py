"""Which phrases of an archive's paths are artists, learned from the tree as a whole.

Every phrase that could be a person is a candidate of its place. A place's candidates are weighed by what the phrase is
(its form, the titles it stands with, the other ways in which it is written) and by where it stands: in paths of one
shape the artist stands in one slot ("the first field of the name", "the second folder"), learned in rounds from the
likeliest candidates, as in expectation maximisation.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

from catalogue.filing.evidence import Candidate, Evidence, NameEvidence, Slot
from catalogue.filing.folding import fold
from catalogue.filing.joining import Key, join_people
from catalogue.filing.people import Person, compatible, core_of, is_given, person_of
from catalogue.filing.places import SURELY, Place, ends_in, words_of
from catalogue.filing.symbols import is_count

ENOUGH = 0.5  # weight below which a phrase is not taken for an artist
ONCE_ENOUGH = 0.75  # weight that a name never written in full must reach in one place
FEW_PLACES, ENOUGH_IN_FEW = 2, 1.1  # and where it is met in so few places
VOTES = 4  # places in which a name must be met to say which words stand in titles
IN_TITLES = (0.0, 0.25, 0.5, 0.7)  # taken off a name by the number of other artists whose titles hold a word of it
IN_TITLES_KNOWN = (0.0, 0.05, 0.15, 0.3)
PROMISING = 0.3  # weight from which a phrase helps to find out where artists stand
ROUNDS = 3
_NOBODY: frozenset[Key] = frozenset()


@dataclass(frozen=True, slots=True)
class ArtistInPath:
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

    def __init__(self, places: Sequence[Place], creators: Iterable[str], known: Iterable[str] = ()) -> None:
        met = NameEvidence(places, creators, known)
        self._evidence, self._candidates, self._rewritten = met.by_name, met.candidates, met.rewritten
        self._names = join_people(self._evidence)
        self._ways = Counter(self._names.of(key) for key, e in self._evidence.items() if e.whole)
        self._weigh_candidates()
        self._slots: dict[Slot, float] = {}
        self._words = [words_of(place) for place in places]
        self._beside: dict[str, set[Key]] = {}
        self._penalties: dict[Key, float] = {}
        self._houses: frozenset[Key] = frozenset()
        self._chosen: list[tuple[Candidate, float] | None] = []
        for _ in range(ROUNDS):
            self._chosen = [self._choose(candidates, PROMISING) for candidates in self._candidates]
            self._learn_slots(places)
        self._chosen = [self._choose(candidates, ENOUGH) for candidates in self._candidates]
        self._drop_doubtful()
        self._take_announced(places)
        self.by_place = {
            place: self._as_found(chosen, len(place.folders))
            for place, chosen in zip(places, self._chosen, strict=True)
        }

    def name(self, person: Person) -> str:
        """The fullest form of this person's name in the archive."""
        return self._evidence[self._names.of(person.key)].person.text

    def are_one(self, person: Person, name: str) -> bool:
        """Whether a written name can be the artist filed as ``name``."""
        person = self._rewritten.get(person.key, person)
        if person.key in self._evidence and self.name(person) == name:
            return True
        known = person_of(name)
        return known is not None and compatible(person, known)

    def canonical(self, name: str) -> str:
        """A stated creator in the form under which the archive files them."""
        person = person_of(name)
        if person is None or person.key not in self._evidence:
            return name.strip()
        return self.name(person)

    def _weigh(self, key: Key) -> float:
        """How much a written name looks like an artist, wherever it stands."""
        evidence = self._evidence[key]
        canonical = self._evidence[self._names.of(key)]
        own = self._weigh_alone(evidence)
        return max(own, 0.9 * self._weigh_alone(canonical)) if canonical is not evidence else own

    @staticmethod
    def _weigh_alone(evidence: Evidence) -> float:
        if evidence.stated:
            return 1.2
        if len(evidence.below - {evidence.person.family}) >= 2:
            return 0.0  # a folder of several people's work is no person's
        variety = len(evidence.titles)
        if sum(is_count(title) for title in evidence.titles) > 0.5 * variety:
            return evidence.person.form - 0.4  # a series: "Untitled" stands with 3, 4 and 7
        weight = evidence.person.form + (0.0, 0.0, 0.15, 0.25, 0.3, 0.35)[min(variety, 5)]
        if evidence.echoed > 2 * variety and evidence.echoed >= 1 and evidence.person.form < SURELY:
            weight -= 0.4  # its files repeat it and add nothing: a piece's folder
        return weight

    def _weigh_candidates(self) -> None:
        """Weigh what is the same wherever a candidate occurs."""
        weights = {key: self._weigh(key) for key in self._evidence}
        for candidate in chain.from_iterable(self._candidates):
            phrase = candidate.phrase
            candidate.name = self._names.of(candidate.key)
            candidate.known = candidate.name in self._names.sure or self._evidence[candidate.name].stated
            if self._evidence[candidate.key].titles or candidate.known:
                candidate.weight = weights[candidate.key] + 0.05 * phrase.bounded + 0.05 * phrase.whole
                if not phrase.spot.isupper() and not candidate.known:
                    candidate.weight -= 0.15

    def _weight_of(self, candidate: Candidate) -> float:
        if candidate.phrase.whole and candidate.name in self._houses:
            return 0.0  # a client's, under whom several artists are filed
        place = self._slots.get(candidate.slot, 0.0) + (0.15 if candidate.outermost and candidate.phrase.whole else 0.0)
        return candidate.weight + place - self._title_penalty(candidate)

    def _drop_doubtful(self) -> None:
        """Leave unsorted what is filed under a name that never occurs in a form only names have, nor where artists
        surely are."""
        weights: dict[Key, list[float]] = defaultdict(list)
        for best in self._chosen:
            if best:
                weights[best[0].name].append(best[1])
        sure = {key for key, of_name in weights.items()
                if max(of_name) >= (ONCE_ENOUGH if len(of_name) > FEW_PLACES else ENOUGH_IN_FEW)}
        self._chosen = [best if best and (best[0].known or best[0].name in sure) else None for best in self._chosen]

    def _take_announced(self, places: Sequence[Place]) -> None:
        """Where nothing else tells, a numbered job's folder names its artist, and so does one among "artists"; but not
        where files there end in its name, as in a piece's title, or hold no title."""
        artists = {best[0].name for best in self._chosen if best}
        pieces = {candidate.key for place, candidates in zip(places, self._candidates, strict=True)
                  for candidate in candidates
                  if candidate.announced and ends_in(place, candidate.phrase.person.text)}
        for at, candidates in enumerate(self._candidates):
            if self._chosen[at] or any(c.name in artists for c in candidates if not c.announced):
                continue
            self._chosen[at] = next(((c, ENOUGH) for c in candidates if c.announced and c.key not in pieces
                                     and self._evidence[c.key].titles
                                     and c.name not in self._houses), None)

    def _title_penalty(self, candidate: Candidate) -> float:
        """How much a phrase looks like a title: its words stand in titles of several other artists."""
        penalty = self._penalties.get(candidate.key)
        if penalty is None:
            penalty = self._penalties[candidate.key] = self._count_title_penalty(candidate)
        return penalty

    def _count_title_penalty(self, candidate: Candidate) -> float:
        own = candidate.name
        others = [len(self._beside.get(word, _NOBODY) - {own}) for word in fold(candidate.phrase.person.text).split()
                  if len(word) > 1]
        return (IN_TITLES_KNOWN if candidate.known else IN_TITLES)[min(max(others, default=0), 3)]

    def _choose(self, candidates: Sequence[Candidate], enough: float) -> tuple[Candidate, float] | None:
        best: tuple[Candidate, float] | None = None
        likely = [(c, w) for c in candidates if (w := self._weight_of(c)) >= enough]
        for candidate, weight in likely:
            if len(likely) > 1 and any(candidate.part == other.part and candidate is not other
                                       and self._yields(candidate, other) for other, _ in likely):
                continue
            if best is None or (round(weight, 3), len(candidate.phrase.person.text), -candidate.part) > (
                round(best[1], 3), len(best[0].phrase.person.text), -best[0].part
            ):
                best = candidate, weight
        return best

    def _variety(self, candidate: Candidate) -> int:
        return max(len(self._evidence[candidate.key].titles), len(self._evidence[candidate.name].titles))

    def _support(self, candidate: Candidate) -> int:
        """In how many ways it is written, and with how many titles it stands, up to three."""
        return self._ways[candidate.name] + min(3, self._variety(candidate))

    def _yields(self, candidate: Candidate, other: Candidate) -> bool:
        """Whether of two nested phrases of one part the first is not the name: but a piece of a longer one ("Lee" in
        "Mary Lee"), or one with words of a title ("Ada Quill Two" in "Ada Quill Two Boats")."""
        a, b = candidate.phrase, other.phrase
        inside = b.first <= a.first and a.last <= b.last
        around = a.first <= b.first and b.last <= a.last
        if inside:
            core = core_of(b.person.family)
            if is_given(a.person.family) and (*a.person.given, a.person.family) == b.person.given:
                return True  # "Marie Laure" in "Marie Laure Tremel"
            if b.spot.isupper() and not a.person.given and core_of(a.person.family) == core != b.person.family:
                return True  # "Brenne" in "Aurélien de la Brenne"
            if not b.person.given and not a.person.given:
                return False
            if b.person.key in self._names.sure and compatible(a.person, b.person):
                return True
            if candidate.known and not other.known:
                return False
            if a.person.family == b.person.family and other.known:
                return True
            if candidate.known and self._support(candidate) > self._support(other):
                return False
            known = other.known and not candidate.known
            return known or b.spot.isupper() or (
                self._variety(other) >= 2 and self._variety(other) >= 0.8 * self._variety(candidate))
        if around:
            if a.spot.isupper() and (not other.known or candidate.known):
                return False
            if other.known and not candidate.known:
                return True
            if other.known and self._support(other) > self._support(candidate) and (a.person.family != b.person.family):
                return True
            return self._variety(candidate) < 0.5 * self._variety(other)
        return False

    def _find_houses(self) -> frozenset[Key]:
        """Folders that hold two or more artists who elsewhere occur without it: clients, galleries."""
        held: dict[Key, set[str]] = defaultdict(set)
        chosen = Counter(best[0].name for best in self._chosen if best)
        for candidates in self._candidates:
            inside = [c for c in candidates if c.phrase.spot.isupper() and chosen[c.name] >= VOTES]
            for outer in candidates if inside else ():
                if outer.phrase.whole:
                    held[outer.name] |= {
                        c.name[0] for c in inside
                        if c.part > outer.part and c.name[0] != outer.name[0]}
        return frozenset(key for key, families in held.items() if len(families) > 1)

    def _find_title_words(self) -> dict[str, set[Key]]:
        """By word the artists in whose paths it stands besides their names."""
        beside: dict[str, set[Key]] = defaultdict(set)
        met = Counter(best[0].name for best in self._chosen if best)
        for words, best in zip(self._words, self._chosen, strict=True):
            if best is None:
                continue
            candidate = best[0]
            if met[candidate.name] < VOTES and not candidate.known:
                continue
            phrase, full = candidate.phrase, self._evidence[candidate.name].person.text
            own = (*fold(phrase.person.text).split(), *fold(full).split())
            for word, part, at in words:
                if word not in own and not (part == candidate.part and phrase.first <= at <= phrase.last):
                    beside[word].add(candidate.name)
        return beside

    def _learn_slots(self, places: Sequence[Place]) -> None:
        """What each slot is worth: how often the likeliest artist of paths of that shape stands there, and whether
        what stands there behaves as artists do: several of them, each with several titles."""
        shapes: Counter[str] = Counter()
        chosen: Counter[Slot] = Counter()
        self._beside = self._find_title_words()
        self._penalties = {}
        self._houses = self._find_houses()
        values: dict[Slot, dict[Key, set[str]]] = defaultdict(lambda: defaultdict(set))
        for place, best in zip(places, self._chosen, strict=True):
            shapes[place.shape] += 1
            if best:
                candidate = best[0]
                chosen[candidate.slot] += 1
                values[candidate.slot][candidate.name].add(candidate.title)
        self._slots = {}
        for slot, count in chosen.items():
            share = count / shapes[slot[0]]
            people = values[slot]
            titles = sum(len(met) for met in people.values()) / len(people)
            if slot[2] == "m":
                continue  # a word from inside a field
            worth = 0.6 * share * min(1.0, count / 4)
            if len(people) >= 3 and titles >= 1.5:
                worth += 0.2
            elif len(people) >= 4 and titles < 1.15:
                worth -= 0.2
            elif len(people) == 1 and count > 8 and slot[2] == "W":
                worth = -0.3
            self._slots[slot] = worth

    def _as_found(self, chosen: tuple[Candidate, float] | None, depth: int) -> ArtistInPath | None:
        if chosen is None:
            return None
        candidate, weight = chosen
        person = candidate.phrase.person
        evidence = self._evidence[self._names.of(person.key)]
        if evidence.person.initials and not evidence.stated:
            return None  # letters that nothing resolves may be a code
        where = "the file's name" if candidate.part == depth else "the folder"
        if evidence.stated:
            reason = f"{where} names an artist stated in the files"
        else:
            reason = f"{where} says {person.text!r}"
            if len(evidence.titles) > 1:
                reason += f", which appears with {len(evidence.titles)} titles"
        return ArtistInPath(
            self.name(person), candidate.part, candidate.phrase.first, candidate.phrase.last,
            min(0.97, 0.5 + 0.35 * weight), reason, self._names.either.get(person.key, ()))
