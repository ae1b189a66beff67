"""Whether an archive writes family names first or last."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from catalogue.filing.joining import Key
from catalogue.filing.names import Phrase, phrases, read_name
from catalogue.filing.people import Person, has_east_asian, split_east_asian, turned
from catalogue.filing.places import SURELY, Place

SHARE = 0.5     # of the names that may be read either way: so many more must surely begin with the family


def find_name_orders(places: Sequence[Place]) -> dict[Key, Person]:
    """Names that this archive's other names show to be written with the family first, by what they look like."""
    orders: dict[tuple[str, int], Counter[bool]] = defaultdict(Counter)
    either: dict[tuple[str, int], list[Person]] = defaultdict(list)
    eastern: dict[Key, Person] = {}
    at_spot: dict[tuple[str, int, str], set[str]] = defaultdict(set)
    seen = set()
    for place in places:
        shape = place.shape
        for part, text in enumerate((*place.folders, place.stem)):
            if (shape, part, text) in seen or place.kinds[part : part + 1] in ("s", "p"):
                continue
            seen.add((shape, part, text))
            stem = part == len(place.folders)
            for phrase in phrases(text, place.first, place.last) if stem else phrases(text):
                if phrase.spot.isupper():
                    if has_east_asian(phrase.person.text):
                        eastern[phrase.person.key] = phrase.person
                        at_spot[shape, part, phrase.spot].add(phrase.person.text)
                    elif (phrase.whole and phrase.person.form >= SURELY and len(phrase.person.given) == 1
                          and not _is_marked(text, phrase)):
                        orders[shape, part][phrase.person.family_first] += 1
                    elif phrase.whole and turned(phrase.person):
                        either[shape, part].append(phrase.person)
    written: dict[Key, Person] = {}
    for spot, people in either.items():
        # one or two such names among many others say nothing of those
        if orders[spot][True] > max(1, orders[spot][False], SHARE * len({person.key for person in people})):
            written |= {person.key: turned(person) or person for person in people}
    families = frozenset(p.family for p in eastern.values() if p.given or p.form >= SURELY) | _eastern_families(at_spot)
    for key, person in eastern.items():
        if split := split_east_asian(person, families):
            written[key] = split
    return written


def _is_marked(text: str, phrase: Phrase) -> bool:
    """Whether signs say which name is the family's: "Quill, Ada", "QUILL Ada"."""
    return "," in text or read_name(text).tokens[phrase.first].text.isupper()


def _eastern_families(at_spot: Mapping[tuple[str, int, str], set[str]]) -> frozenset[str]:
    """Names that stand where most others too are the beginning of a longer one: "瀬戸口" of "瀬戸口小夜"."""
    beginnings = {text[:cut] for texts in at_spot.values() for text in texts
                  for cut in range(max(1, len(text) - 3), len(text))}
    families: set[str] = set()
    for texts in at_spot.values():
        begin = {text for text in texts if len(text) > 1 and text in beginnings}
        if len(begin) >= 3 and len(begin) >= 0.5 * len(texts):
            families |= begin
    return frozenset(families)
