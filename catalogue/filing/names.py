"""A file's stem or a folder's name as words: the joints between them, and phrases that may name a person."""

import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold
from catalogue.filing.people import Person, has_east_asian, is_given, read_person
from catalogue.filing.tokens import SURE, Kind, Token, tokens

WORDS = frozenset({Kind.WORD, Kind.ROLE, Kind.VERSION, Kind.MATERIAL})


@dataclass(frozen=True, slots=True)
class Unit:
    """Tokens that are one word to a reader: "Ambrose-Nyx", or a single token. ``joint`` is how strongly it is set off
    from what precedes: 0 by a space or by camel case, 1 by a hyphen, 2 by an underscore, 3 by a dash, comma, bracket,
    by something that is surely no title, or by the beginning."""

    first: int
    last: int
    text: str
    joint: int


@dataclass(frozen=True, slots=True)
class Phrase:
    """A stretch of a name, as indices of tokens, that may be a person."""

    first: int
    last: int
    person: Person
    whole: bool  # nothing else is there but what is surely no title
    bounded: bool  # set off from the rest by more than a space
    spot: str = "W"  # W the whole, F the first field, L the last, M between; in small letters a part of it


@dataclass(frozen=True, slots=True)
class Name:
    text: str
    tokens: tuple[Token, ...]
    units: tuple[Unit, ...]
    _stretches: dict[tuple[int, int], str] = field(default_factory=dict, repr=False, compare=False)

    def between(self, first: int, last: int) -> str:
        """The text of tokens ``first`` to ``last`` inclusive, underscores and camel case as spaces."""
        text = self._stretches.get((first, last))
        if text is None:
            text = self._stretches[first, last] = self._join(first, last)
        return text

    def _join(self, first: int, last: int) -> str:
        if first == last and self.tokens[first].kind is not Kind.BREAK:
            return " ".join(self.tokens[first].text.split())
        parts = []
        for i in range(first, last + 1):
            token = self.tokens[i]
            if i > first:
                gap = self.text[self.tokens[i - 1].end : token.start]
                camel = token.text[0].isalnum() and self.tokens[i - 1].text[-1].isalnum()
                parts.append(" " if gap or camel else "")
            parts.append(token.text.replace("_", " ") if token.kind is Kind.BREAK else token.text)
        return " ".join("".join(parts).split())


@lru_cache(maxsize=200_000)
def read_name(text: str) -> Name:
    """Take a stem or a folder's name apart."""
    text = unicodedata.normalize("NFC", text)
    name_tokens = tuple(tokens(text))
    return Name(text, name_tokens, tuple(_units(name_tokens)))


def _units(name_tokens: tuple[Token, ...]) -> Iterator[Unit]:
    open_air = any(t.spaced or (t.kind is Kind.BREAK and t.text != "-") for t in name_tokens)
    joint, i = 3, 0
    while i < len(name_tokens):
        token = name_tokens[i]
        if token.kind is Kind.BREAK:
            joint = max(
                joint, 1 if token.text == "-" else 2 if set(token.text) == {"_"} and len(token.text) == 1 else 3
            )
            i += 1
            continue
        if token.kind not in WORDS:
            joint, i = 3, i + 1
            continue
        last = i
        alone = len(name_tokens) == 3  # "Ambrose-Nyx", nothing else
        while (
            (open_air or alone)
            and last + 2 < len(name_tokens)
            and name_tokens[last + 1].text == "-"
            and name_tokens[last + 2].kind in WORDS
            and name_tokens[last].text[0].isupper()
            and name_tokens[last + 2].text[0].isupper()
        ):
            last += 2
        yield Unit(i, last, "".join(t.text for t in name_tokens[i : last + 1]), joint)
        joint, i = 0, last + 1


def is_shelf(name: Name) -> bool:
    """Whether a folder's name says only where things are kept, when, or for what: "JOBS", "2021", "FOR PRINT"."""
    return _is_shelf(name.text)


@lru_cache(maxsize=100_000)
def _is_shelf(text: str) -> bool:
    name = read_name(text)
    return all(
        t.kind is not Kind.WORD
        or t.text.casefold() in words.SHELF
        or (len(t.text) == 1 and t.text.isascii())
        or not any(c.isalpha() for c in t.text)
        for t in name.tokens
    )


def is_device_name(name: Name) -> bool:
    """Whether a scanner, a camera or a program gave this name by itself: "scan0001", "IMG_2231 (2)", "Untitled-1"."""
    number = next((i for i, t in enumerate(name.tokens) if t.kind is Kind.NUMBER or t.text.isdigit()), 0)
    if number and (name.tokens[number].spaced or name.tokens[number - 1].text == "_"
                   or has_east_asian(name.tokens[number - 1].text)) and all(
            t.text.casefold() in words.UNTITLED or t.text in "_titre" for t in name.tokens[:number]):
        return False  # "Untitled 3", "無題3" is what many artists call a piece; "Untitled-1" is what programs do
    said = False
    for token in name.tokens:
        folded = token.text.casefold()
        if token.kind in (Kind.WORD, Kind.ROLE) or (token.kind is Kind.VERSION and token.text.isalpha()):
            if folded in words.DEVICE:
                said = True
            elif not folded.isdigit() and not (folded.startswith("p") and folded[1:].isdigit()):
                return False
    return said or all(
        t.kind is not Kind.WORD or t.text.isdigit() or (len(t.text) == 1 and t.text.isascii()) for t in name.tokens
    )


@lru_cache(maxsize=200_000)
def phrases(text: str, first: int = 0, last: int = -1) -> tuple[Phrase, ...]:
    """Every beginning and end of the fields of a name, or of its tokens ``first`` to ``last``, that may be a person."""
    name = read_name(text)
    known_phrases: dict[tuple[int, int], Phrase] = {}
    runs = fields(name, first, last)
    for number, run in enumerate(runs):
        for length in range(1, min(4, len(run)) + 1):
            for start in {0, len(run) - length}:
                spot = _spot(number, len(runs), start, length, len(run))
                _add(known_phrases, name, run[start : start + length], run, spot)
    for length in (2, 3):  # "Anna_Lee_Low Tide": names written with underscores, titles with spaces
        for start in {0, len(runs) - length}:
            part = runs[start : start + length] if start >= 0 and len(runs) >= length else []
            if part and all(len(run) == 1 for run in part) and all(run[0].joint == 2 for run in part[1:]):
                person = read_person([run[0].text for run in part])
                if person and (person.form >= 0.45 or len(runs) > length) and not has_east_asian(person.text):
                    _add(known_phrases, name, [run[0] for run in part], part[0], "F" if start == 0 else "L")
    for number, (before, after) in enumerate(pairwise(runs)):
        gap = name.text[name.tokens[before[-1].last].end : name.tokens[after[0].first].start]
        bracket = gap.strip() in ("(", "（") and name.text[name.tokens[after[-1].last].end :].strip() in (")", "）")
        of_family = len(before) <= 2 or all(fold(u.text) in words.PARTICLES for u in before[:-1])
        if (gap.strip() == "," or bracket) and of_family and len(before) <= 4:
            rest = len(runs) - 1
            alone = read_person([u.text for u in after[:3]])
            if alone and len(after) > 1 and not is_given(alone.family) and (bracket or alone.form >= 0.45):
                continue  # "Harbour (SMITH Anna)" names her behind a title
            for length in (1, 2, 3, 4):
                if len(after) >= length:
                    spot = _spot(min(number, rest - 1), rest, 0, length, len(after))
                    _add(known_phrases, name, [*before, *after[:length]], [*before, *after], spot, comma=len(before))
    return tuple(known_phrases.values())


def _spot(number: int, count: int, start: int, length: int, whole: int) -> str:
    """Where in a name a phrase stands: capital letters for whole fields, small ones for parts of one."""
    if length == whole:
        return "W" if count == 1 else "F" if number == 0 else "L" if number == count - 1 else "M"
    if start == 0:
        return "f" if number == 0 else "m"
    return "l" if number == count - 1 else "m"


def fields(name: Name, first: int = 0, last: int = -1) -> list[list[Unit]]:
    """The words of a name in runs between joints stronger than the space between words.

    What stands for that space differs from name to name: in "anna_lee_low_tide" it is the underscore, in "Anna Lee_Low
    Tide" the underscore is a joint.
    """
    last = len(name.tokens) - 1 if last < 0 else last
    units = [u for u in name.units if first <= u.first and u.last <= last]
    joints = {u.joint for u in units[1:]}
    strong = 1 if joints == {0, 1} else 2 if joints & {0, 1} or " " in name.text or has_east_asian(name.text) else 3
    runs: list[list[Unit]] = []
    run: list[Unit] = []
    for unit in units:
        word = name.tokens[unit.first].kind is Kind.WORD
        if run and (unit.joint >= strong or (word and name.tokens[run[-1].first].kind is not Kind.WORD
                                             and all(name.tokens[u.first].kind is not Kind.WORD for u in run))):
            runs.append(run)  # at a joint, or behind purposes that begin it ("print Anna Lee")
            run = []
        if run or unit.text.strip(".").casefold() not in words.HONORIFIC | words.CALLED:
            run.append(unit)
    if run:
        runs.append(run)
    return runs


def _add(
    known_phrases: dict[tuple[int, int], Phrase], name: Name, units: list[Unit], run: list[Unit], spot: str,
    comma: int = 0
) -> None:
    if any(t.kind is not Kind.WORD for u in units for t in name.tokens[u.first : u.last + 1] if t.text != "-"):
        return  # no person is called "print"
    parts = [u.text for u in units]
    if comma > 1:
        parts = [" ".join(parts[:comma]), *parts[comma:]]
    person = read_person(parts, comma=bool(comma))
    if person is None:
        return
    first, last = units[0].first, units[-1].last
    after = name.tokens[last + 1] if last + 1 < len(name.tokens) else None
    rest = [t for i, t in enumerate(name.tokens) if not first <= i <= last]
    whole = all(t.kind in SURE or t.kind in (Kind.BREAK, Kind.YEAR, Kind.NUMBER) for t in rest)
    begins = units[0] is run[0] or units[0].joint >= 2
    hyphens = not any(t.spaced or (t.kind is Kind.BREAK and t.text != "-") for t in name.tokens)  # no other joints
    ends = after is None or (after.kind is Kind.BREAK and (hyphens or after.text != "-")) or after.kind in SURE
    known_phrases[first, last] = Phrase(first, last, person, whole, whole or (begins and ends), spot)

