"""People's names as shops write them: "John Smith", "Smith, John", "J. Smith", "JSmith", "Smith"; and which are one.

Whether a phrase is a name at all its form can only suggest; see :mod:`catalogue.filing.artists` for what decides.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold, without_umlauts

_CJK = re.compile(r"[\u3040-\u30ff\u3400-\u9fff\uac00-\ud7af]+")
_HANGUL = re.compile(r"[\uac00-\ud7af]+")
_LETTERS = re.compile(r"[^\W\d_]+(?:-[^\W\d_]+)*")
_ROMAN = frozenset("ii iii iv vi vii viii ix xi xii xiii xiv xv xvi xx".split())


@dataclass(frozen=True)
class Person:
    """A name taken apart. ``given`` may hold initials, or nothing if only the family name is written.

    ``text`` is the name in reading order; ``form`` says from 0 to 1 how much its form alone looks like a person's name.
    """

    given: tuple[str, ...]
    family: str
    text: str
    form: float
    family_first: bool = False  # so it was written
    initials: bool = False  # "MH": the family is all that is written, as initials

    def __post_init__(self) -> None:
        object.__setattr__(self, "family", without_umlauts(self.family))

    @cached_property
    def key(self) -> tuple[str, tuple[str, ...]]:
        """By what a written name is told from others."""
        return self.family, self.given

    @cached_property
    def fullness(self) -> tuple[int, int, int, int]:
        """Sorts fuller names behind abbreviated ones."""
        return (sum(len(given) > 2 for given in self.given), len(self.given), len(self.family.split()),
                int(not self.text.isupper()))


def read_person(phrase: Sequence[str], *, comma: bool = False) -> Person | None:
    """The name that these words write, or None if they can write none.

    ``comma`` says that a comma followed the first part: the family name comes first ("Smith, John").
    """
    return _read_person(tuple(phrase), comma)


@lru_cache(maxsize=200_000)
def _read_person(phrase: tuple[str, ...], comma: bool) -> Person | None:
    stripped = [part.strip(".,") for part in phrase]
    if len(stripped) > 1 and stripped[-1] in words.HONORIFIC_AFTER:
        stripped.pop()
    parts = [_titled(_without_honorific(part)) for part in stripped]
    if not 1 <= len(parts) <= 4 or not all(parts) or any(c.isdigit() for part in parts for c in part):
        return None
    if any(_CJK.fullmatch(part) for part in parts):
        return _east_asian(parts, addressed=parts[-1] != stripped[-1])
    folded = [fold(part) for part in parts]
    if not all(folded) or any(f in words.FUNCTION and f not in words.PARTICLES and not (len(p) == 1 and p.isupper())
            for p, f in zip(parts, folded, strict=True)):
        return None
    if len(parts) == 1:
        return _single(parts[0], folded[0], stripped[0])
    if folded[0] in words.FUNCTION and folded[0] in words.PARTICLES and not parts[0][0].isupper():
        return None
    if any(len(part) > 1 and part.casefold() in _ROMAN and (part.isupper() or part.istitle()) for part in stripped):
        return None  # "VI Harbour"
    initial = len(parts[0]) == 1 and parts[0].isupper()  # "O. Quill" is no O'Quill
    if len(parts) < 4 and not comma and not initial and all(f in words.PARTICLES for f in folded[:-1]):
        return Person((), " ".join(folded), " ".join(parts), 0.1)  # "de la Brenne", "Ter Wolde"
    loud = [part.isupper() and len(part) > 1 for part in stripped]
    loud[0] = loud[0] and any(len(part) > 2 for part, upper in zip(stripped, loud, strict=True) if upper)
    family_is_loud = loud[0] and not all(loud)
    family_before = comma or family_is_loud
    if all(f in words.PARTICLES for f in folded[1:]) or (folded[-1] in words.PARTICLES and not family_before):
        return None
    capital = not any(word[0].islower() and fold(word) not in words.PARTICLES
                      for part in parts for word in part.split(" "))
    if not comma and family_is_loud:  # "DUBOIS Claire", "VAN DAM Jan"
        at = loud.index(False)
        comma = True
        parts = [" ".join(parts[:at]), *parts[at:]]
        folded = [" ".join(folded[:at]), *folded[at:]]
    if comma:
        while len(parts) > 2 and folded[-1] in words.PARTICLES:  # "Eikelaar, Joost van den"
            parts = [f"{parts[-1]} {parts[0]}", *parts[1:-1]]
            folded = [f"{folded[-1]} {folded[0]}", *folded[1:-1]]
        given, family, text = folded[1:], folded[0], " ".join([*parts[1:], parts[0]])
    elif is_given(folded[-1]) and not is_given(folded[0]) and len(parts) == 2:
        given, family, text = [folded[1]], folded[0], f"{parts[1]} {parts[0]}"  # "Tanaka Hanako", "Smith John"
    elif len(parts[-1]) == 1 and len(parts[0]) > 1 and len(parts) == 2:
        given, family, text = [folded[1]], folded[0], f"{parts[1]} {parts[0]}"  # "Smith J"
    else:
        at = next((i for i, f in enumerate(folded) if i and f in words.PARTICLES), len(parts) - 1)
        given, family, text = folded[:at], " ".join(folded[at:]), " ".join(parts)
    if is_given(given[0]) or is_given(given[0].split(" ")[0]):
        form = 0.75 if comma or capital else 0.45
    elif len(given[0]) == 1:
        counted = len(parts[-1]) == 1 and parts[-1] in "IVX"  # "Tide I" is a title of a series
        form = 0.5 if capital and not counted else 0.1
    else:
        form = (0.3 if comma else 0.2) if capital else 0.1
    if len(parts) > 2 and not any(f in words.PARTICLES for f in folded):
        if len(parts) == 4 and form < 0.45:
            return None
        form -= 0.05 * (len(parts) - 2)
    if family_is_loud:
        form = max(form, 0.3)
    return Person(tuple(given), family, text, form, text != " ".join(parts))


def person_of(name: str) -> Person | None:
    """A whole string as a person's name, or None."""
    text = name.strip()
    family, comma, given = text.partition(",")
    if comma and given.strip():
        return read_person([family.strip(), *given.split()], comma=True)
    return read_person(text.split())


def _titled(part: str) -> str:
    """"DUBOIS" as "Dubois"; initials unchanged."""
    return part.title() if part.isupper() and len(part) > 2 else part


def _without_honorific(part: str) -> str:
    return next((part.removesuffix(h) for h in words.HONORIFIC_AFTER if part.endswith(h) and len(part) > len(h) + 1),
        part)


def turned(person: Person) -> Person | None:
    """The same two words with the family name first, or None if that cannot apply."""
    words_ = person.text.split(" ")
    if (len(words_) != 2 or len(person.given) != 1 or len(person.given[0]) < 2 or person.form >= 0.45
            or person.family_first):
        return None
    return Person((person.family,), person.given[0], f"{words_[1]} {words_[0]}", person.form, True)


def _single(part: str, folded: str, written: str) -> Person | None:
    if len(part) > 3 and part[:2].isupper() and part[2:4].islower() and _LETTERS.fullmatch(part):  # "CDubois"
        return Person((fold(part[0]),), fold(part[1:]), f"{part[0]}. {part[1:]}", 0.45)
    if 2 <= len(written) <= 4 and written.isalpha() and written.isupper() and folded not in words.SHELF | _ROMAN:
        return Person((), folded, written, 0.1, initials=True)
    if len(part) < 3 or not part[0].isalpha() or folded in words.DEVICE or folded in words.SHELF:
        return None
    return Person((), folded, part, 0.1 if part[0].isupper() else 0.05)


def _east_asian(parts: list[str], *, addressed: bool) -> Person | None:
    """Family name first, with or without a space; the commonest family names tell a person from a title, and so does
    being ``addressed`` as 様 or 先生."""
    if not all(_CJK.fullmatch(part) for part in parts) or len(parts) > 2:
        return None
    whole = "".join(parts)
    if _HANGUL.fullmatch(whole):
        if len(parts) > 1 or not 2 <= len(whole) <= 4:
            return None
        cut = 2 if len(whole) == 4 else 1
        known = whole[0] in words.HANGUL_FAMILY or whole[:2] in words.HANGUL_FAMILY
        form = 0.7 if addressed else 0.3 if known and len(whole) == 3 else 0.1
        full = len(whole) > 2
        return Person((whole[cut:],) if full else (), whole[:cut] if full else whole, whole, form if full else form / 2)
    family = next((f for f in words.KANJI_FAMILY if whole.startswith(f)), parts[0] if len(parts) == 2 else "")
    if not family:
        return Person((), whole, whole, 0.6 if addressed else 0.05) if 2 <= len(whole) <= 6 else None
    given = whole[len(family) :]
    known = family in words.KANJI_FAMILY
    if not given:
        return Person((), family, family, 0.6 if addressed else 0.3 if known else 0.05)
    if len(given) > 3:
        return None
    return Person((given,), family, whole, 0.7 if known or addressed else 0.2)


def split_east_asian(person: Person, families: frozenset[str]) -> Person | None:
    """A name written in one word, with a family name taken off its beginning that the archive writes elsewhere."""
    if person.given or not _CJK.fullmatch(person.text):
        return None
    text = person.text
    fitting = [f for n in range(1, len(text)) if (f := text[:n]) in families and len(text) - n <= 4]
    return Person((text[len(fitting[-1]) :],), fitting[-1], text, max(person.form, 0.5)) if fitting else None


@lru_cache(maxsize=100_000)
def core_of(family: str) -> str:
    """ "van den Berg" as "Berg"."""
    parts = family.split(" ")
    while len(parts) > 1 and parts[0] in words.PARTICLES:
        parts.pop(0)
    return " ".join(parts)


def has_east_asian(text: str) -> bool:
    """Whether a text holds Chinese or Japanese characters, which are written without spaces."""
    return not text.isascii() and bool(_CJK.search(text))


def is_given(name: str) -> bool:
    """Whether a folded word is known as a given name."""
    return name in words.GIVEN


def initials_of(person: Person) -> str:
    """ "mh" for Margaret Harrow, "jvdb" for Jan van den Berg."""
    return "".join(part[0] for part in fold(person.text).split())


def compatible(a: Person, b: Person) -> bool:
    """Whether two written names can be one person's: same family name, given names equal, abbreviated or left out.

    "Anna Lee" and "Mary Anna Lee" are two people; "J Smith" and "John Smith" may be one.
    """
    if a.family != b.family:
        first_family, second_family = core_of(a.family), core_of(b.family)
        if not (f"{first_family} ".startswith(f"{second_family} ")
                or f"{second_family} ".startswith(f"{first_family} ")):
            return False  # of two family names the second may be left out, and small words before them
    return all(x == y or (len(x) <= 2 and y.startswith(x)) or (len(y) <= 2 and x.startswith(y))
        for x, y in zip(a.given, b.given, strict=False))
