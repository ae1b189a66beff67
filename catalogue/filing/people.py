"""People's names as shops write them: "John Smith", "Smith, John", "J. Smith", "JSmith", "Smith"; and which are one.

Whether a phrase is a name at all its form can only suggest; see :mod:`catalogue.filing.artists` for what decides.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from catalogue.filing import vocabulary as words

_WORDS = re.compile(r"[^\W_]+")
_CJK = re.compile(r"[\u3040-\u30ff\u3400-\u9fff]+")
_CAMEL_INITIAL = re.compile(r"([A-ZÀ-ÖØ-Þ])([A-ZÀ-ÖØ-Þ][a-zà-öø-ÿ]{2,}(?:-[A-ZÀ-ÖØ-Þ][a-zà-öø-ÿ]+)*)")


@dataclass(frozen=True, slots=True)
class Person:
    """A name taken apart. ``given`` may hold initials, or nothing where only the family name is written.

    ``text`` is the name in reading order; ``form`` says from 0 to 1 how much its form alone looks like a person's name.
    """

    given: tuple[str, ...]
    family: str
    text: str
    form: float
    family_first: bool = False  # so it was written

    def __post_init__(self) -> None:
        object.__setattr__(self, "family", without_umlauts(self.family))

    @property
    def key(self) -> tuple[str, tuple[str, ...]]:
        return self.family, self.given


def without_umlauts(text: str) -> str:
    """ "Stöckli" and "Stoeckli" alike; ``text`` is folded."""
    return text.replace("ae", "a").replace("oe", "o").replace("ue", "u")


@lru_cache(maxsize=500_000)
def fold(text: str) -> str:
    """A name as compared: composed, casefolded, without accents on Latin letters, one space between words."""
    if text.isascii():
        return " ".join(_WORDS.findall(text.casefold()))
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    plain = "".join(
        c
        for i, c in enumerate(decomposed)
        if not (unicodedata.combining(c) and i and unicodedata.name(decomposed[i - 1], "").startswith("LATIN"))
    )
    return " ".join(_WORDS.findall(unicodedata.normalize("NFC", plain)))


def read_person(phrase: Sequence[str], *, comma: bool = False) -> Person | None:
    """The name that these words write, or None where they can write none.

    ``comma`` says that a comma followed the first part: the family name comes first ("Smith, John").
    """
    parts = [_titled(_without_honorific(part.strip(".,"))) for part in phrase]
    if not 1 <= len(parts) <= 4 or not all(parts) or any(c.isdigit() for part in parts for c in part):
        return None
    if any(_CJK.fullmatch(part) for part in parts):
        return _east_asian(parts)
    folded = [fold(part) for part in parts]
    if not all(folded) or any(f in words.FUNCTION and f not in words.PARTICLES for f in folded):
        return None
    if len(parts) == 1:
        return _single(parts[0], folded[0])
    if folded[0] in words.FUNCTION and folded[0] in words.PARTICLES and not parts[0][0].isupper():
        return None
    if all(f in words.PARTICLES for f in folded[1:]) or folded[-1] in words.PARTICLES:
        return None
    capital = all(
        p[0].isupper() or f in words.PARTICLES or not p[0].isalpha() for p, f in zip(parts, folded, strict=True)
    )
    if comma:
        given, family, text = folded[1:], folded[0], " ".join([*parts[1:], parts[0]])
    elif folded[-1] in words.GIVEN and folded[0] not in words.GIVEN and len(parts) == 2:
        given, family, text = [folded[1]], folded[0], f"{parts[1]} {parts[0]}"  # "Tanaka Hanako", "Smith John"
    elif len(parts[-1]) == 1 and len(parts[0]) > 1 and len(parts) == 2:
        given, family, text = [folded[1]], folded[0], f"{parts[1]} {parts[0]}"  # "Smith J"
    else:
        at = next((i for i, f in enumerate(folded) if i and f in words.PARTICLES), len(parts) - 1)
        given, family, text = folded[:at], " ".join(folded[at:]), " ".join(parts)
    if given[0] in words.GIVEN or given[0].split(" ")[0] in words.GIVEN:
        form = 0.75 if comma or capital else 0.45
    elif len(given[0]) == 1:
        form = 0.5 if capital else 0.2
    else:
        form = (0.3 if comma else 0.2) if capital else 0.0
    if len(parts) == 4 and form < 0.45 and not any(f in words.PARTICLES for f in folded):
        return None
    return Person(tuple(given), family, text, form, text != " ".join(parts))


def _titled(part: str) -> str:
    """ "DUBOIS" as "Dubois"; initials stay."""
    return part.title() if part.isupper() and len(part) > 2 else part


def _without_honorific(part: str) -> str:
    return next(
        (part.removesuffix(h) for h in words.HONORIFIC_AFTER if part.endswith(h) and len(part) > len(h) + 1), part
    )


def turned(person: Person) -> Person | None:
    """The same two words with the family name first, or None where that is not in question."""
    words_ = person.text.split(" ")
    if (
        len(words_) != 2
        or len(person.given) != 1
        or len(person.given[0]) < 2
        or person.form >= 0.45
        or person.family_first
    ):
        return None
    return Person((person.family,), person.given[0], f"{words_[1]} {words_[0]}", person.form, True)


def _single(part: str, folded: str) -> Person | None:
    if initial := _CAMEL_INITIAL.fullmatch(part):
        return Person((fold(initial[1]),), fold(initial[2]), f"{initial[1]}. {initial[2]}", 0.45)
    if len(part) < 3 or not part[0].isalpha() or folded in words.DEVICE or folded in words.SHELF:
        return None
    return Person((), folded, part, 0.1 if part[0].isupper() else 0.05)


def _east_asian(parts: list[str]) -> Person | None:
    """Family name first, with or without a space; the commonest family names tell a person from a title."""
    if not all(_CJK.fullmatch(part) for part in parts) or len(parts) > 2:
        return None
    whole = "".join(parts)
    family = next((f for f in words.KANJI_FAMILY if whole.startswith(f)), parts[0] if len(parts) == 2 else "")
    if not family:
        return Person((), whole, whole, 0.05) if 2 <= len(whole) <= 5 else None
    given = whole[len(family) :]
    known = family in words.KANJI_FAMILY
    if not given:
        return Person((), family, family, 0.3 if known else 0.05)
    if len(given) > 3:
        return None
    return Person((given,), family, whole, 0.7 if known else 0.2)


def compatible(a: Person, b: Person) -> bool:
    """Whether two written names can be one person's: same family name, given names equal, abbreviated or left out.

    "Anna Lee" and "Mary Anna Lee" are two people; "J Smith" and "John Smith" may be one.
    """
    if a.family != b.family:
        return False
    return all(
        x == y or (len(x) == 1 and y.startswith(x)) or (len(y) == 1 and x.startswith(y))
        for x, y in zip(a.given, b.given, strict=False)
    )


def fuller(a: Person) -> tuple[int, int, int]:
    """Sorts fuller names behind abbreviated ones."""
    return sum(len(g) > 1 for g in a.given), len(a.given), int(not a.text.isupper())
