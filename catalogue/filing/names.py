"""A file's stem or folder's name as words: the separators between them, and phrases that may be a person's name."""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import NamedTuple

from catalogue.filing import vocabulary as words
from catalogue.filing.folding import fold
from catalogue.filing.people import Person, has_east_asian, is_given, read_person
from catalogue.filing.tokens import SURE, Kind, Token, tokens

WORDS = frozenset({Kind.WORD, Kind.ROLE, Kind.VERSION, Kind.MATERIAL})
_BESIDE_NAMES = SURE | {Kind.BREAK, Kind.YEAR, Kind.NUMBER}
_BEFORE_NAMES = words.HONORIFIC | words.CALLED


class Unit(NamedTuple):
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


class Name:
    """A stem or a folder's name taken apart; what else follows from it is worked out once, when it is asked for."""

    def __init__(self, text: str) -> None:
        self.text = unicodedata.normalize("NFC", text)
        self.tokens = tuple(tokens(self.text))
        self._stretches: dict[tuple[int, int], str] = {}

    def between(self, first: int, last: int) -> str:
        """The text of tokens ``first`` to ``last`` inclusive, underscores and camel case as spaces."""
        text = self._stretches.get((first, last))
        if text is None:
            text = self._stretches[first, last] = " ".join("".join(self._spaced[first : last + 1]).split())
        return text

    @cached_property
    def _spaced(self) -> list[str]:
        """The texts of the tokens, each behind a space where one is before it, or camel case."""
        texts, end, before = [], 0, " "
        for kind, text, start, _, _ in self.tokens:
            gap = start > end or (text[0].isalnum() and before.isalnum())
            end, before = start + len(text), text[-1]
            shown = text.replace("_", " ") if kind == Kind.BREAK else text
            texts.append(f" {shown}" if gap else shown)
        return texts

    @cached_property
    def spoken(self) -> tuple[Token, ...]:
        """The tokens that are no breaks."""
        return tuple(token for token in self.tokens if token.kind != Kind.BREAK)

    @cached_property
    def units(self) -> tuple[Unit, ...]:
        """The words of a name as a reader sees them."""
        return tuple(_units(self.tokens))

    @cached_property
    def is_shelf(self) -> bool:
        """Whether a folder's name says only where things are kept, when, or for what: "JOBS", "2021", "FOR PRINT"."""
        return all(token.kind != Kind.WORD or token.text.casefold() in words.SHELF or is_letter(token.text)
                   or not any(c.isalpha() for c in token.text) for token in self.tokens)

    @cached_property
    def is_device(self) -> bool:
        """Whether a scanner, a camera or a program gave this name by itself: "scan0001", "IMG_2231 (2)"."""
        number = next((i for i, t in enumerate(self.tokens) if t.kind == Kind.NUMBER or t.text.isdigit()), 0)
        if number and (self.tokens[number].spaced or self.tokens[number - 1].text == "_"
                       or has_east_asian(self.tokens[number - 1].text)) and all(
                t.text.casefold() in words.UNTITLED or t.text in "_titre" for t in self.tokens[:number]):
            return False  # "Untitled 3", "無題3" is what many artists call a piece; "Untitled-1" is what programs do
        says_device = False
        for token in self.tokens:
            folded = token.text.casefold()
            if token.kind in (Kind.WORD, Kind.ROLE) or (token.kind == Kind.VERSION and token.text.isalpha()):
                if folded in words.DEVICE:
                    says_device = True
                elif not folded.isdigit() and not (folded.startswith("p") and folded[1:].isdigit()):
                    return False
        return says_device or all(t.kind != Kind.WORD or t.text.isdigit() or is_letter(t.text) for t in self.tokens)


def is_letter(text: str) -> bool:
    """Whether a text is one sign of the Latin alphabet; of Chinese characters one may be a word."""
    return len(text) == 1 and text.isascii()


@lru_cache(maxsize=200_000)
def read_name(text: str) -> Name:
    """Take a stem or a folder's name apart."""
    return Name(text)


def _units(name_tokens: tuple[Token, ...]) -> Iterator[Unit]:
    open_air = any(t.spaced or (t.kind == Kind.BREAK and t.text != "-") for t in name_tokens)
    joint, i = 3, 0
    while i < len(name_tokens):
        token = name_tokens[i]
        if token.kind == Kind.BREAK:
            joint = max(
                joint, 1 if token.text == "-" else 2 if set(token.text) == {"_"} and len(token.text) == 1 else 3
            )
            i += 1
            continue
        if token.kind not in WORDS:
            joint, i = 3, i + 1
            continue
        last = i
        is_hyphenated_pair = len(name_tokens) == 3  # "Ambrose-Nyx", nothing else
        while (
            (open_air or is_hyphenated_pair)
            and last + 2 < len(name_tokens)
            and name_tokens[last + 1].text == "-"
            and name_tokens[last + 2].kind in WORDS
            and name_tokens[last].text[0].isupper()
            and name_tokens[last + 2].text[0].isupper()
        ):
            last += 2
        yield Unit(i, last, "".join(t.text for t in name_tokens[i : last + 1]), joint)
        joint, i = 0, last + 1


@lru_cache(maxsize=200_000)
def phrases(text: str, first: int = 0, last: int = -1) -> tuple[Phrase, ...]:
    """Every beginning and end of the fields of a name, or of its tokens ``first`` to ``last``, that may be a person."""
    name = read_name(text)
    runs = fields(name, first, last)
    if not runs:
        return ()
    reader = _PhraseReader(name)
    for number, run in enumerate(runs):
        for length in range(1, min(4, len(run)) + 1):
            for start in (0, len(run) - length)[: 1 + (length < len(run))]:
                reader.add(run[start : start + length], run[0], _spot(number, len(runs), start, length, len(run)))
    for length in (2, 3):  # "Anna_Lee_Low Tide": names written with underscores, titles with spaces
        for start in sorted({0, len(runs) - length} if len(runs) >= length else ()):
            part = runs[start : start + length]
            if all(len(run) == 1 for run in part) and all(run[0].joint == 2 for run in part[1:]):
                person = read_person([run[0].text for run in part])
                if person and (person.form >= 0.45 or len(runs) > length) and not has_east_asian(person.text):
                    reader.add([run[0] for run in part], part[0][0], "F" if start == 0 else "L")
    for number, (before, after) in enumerate(pairwise(runs)):
        gap = name.text[name.tokens[before[-1].last].end : name.tokens[after[0].first].start].strip()
        bracket = gap in ("(", "（") and name.text[name.tokens[after[-1].last].end :].strip() in (")", "）")
        of_family = len(before) <= 2 or all(fold(u.text) in words.PARTICLES for u in before[:-1])
        if (gap == "," or bracket) and of_family and len(before) <= 4:
            rest = len(runs) - 1
            behind = read_person([u.text for u in after[:3]])
            if behind and len(after) > 1 and not is_given(behind.family) and (bracket or behind.form >= 0.45):
                continue  # "Harbour (SMITH Anna)" names her behind a title
            for length in range(1, min(4, len(after)) + 1):
                spot = _spot(min(number, rest - 1), rest, 0, length, len(after))
                reader.add([*before, *after[:length]], before[0], spot, comma=len(before))
    return tuple(reader.phrases.values())


class _PhraseReader:
    """Gathers the phrases of one name."""

    def __init__(self, name: Name) -> None:
        self.phrases: dict[tuple[int, int], Phrase] = {}
        self._tokens = name.tokens
        self._solid = [i for i, t in enumerate(name.tokens) if t.kind not in _BESIDE_NAMES]
        self._hyphens = not any(t.spaced or (t.kind == Kind.BREAK and t.text != "-") for t in name.tokens)

    def add(self, units: Sequence[Unit], begin: Unit, spot: str, comma: int = 0) -> None:
        """Note these units where they can be a person; ``begin`` is the first of their field, ``comma`` says how many
        stand before one."""
        first, last = units[0].first, units[-1].last
        for u in units:
            if any(t.kind != Kind.WORD and t.text != "-" for t in self._tokens[u.first : u.last + 1]):
                return  # no person is called "print"
        parts = [u.text for u in units]
        if comma > 1:
            parts = [" ".join(parts[:comma]), *parts[comma:]]
        person = read_person(parts, comma=bool(comma))
        if person is None:
            return
        after = self._tokens[last + 1] if last + 1 < len(self._tokens) else None
        whole = not self._solid or (first <= self._solid[0] and self._solid[-1] <= last)
        begins = units[0] is begin or units[0].joint >= 2
        ends = after is None or after.kind in SURE or (
            after.kind == Kind.BREAK and (self._hyphens or after.text != "-"))  # or there is no other joint
        self.phrases[first, last] = Phrase(first, last, person, whole, whole or (begins and ends), spot)


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
    worded = False  # whether the run holds a word that says no purpose
    for unit in units:
        word = name.tokens[unit.first].kind == Kind.WORD
        if run and (unit.joint >= strong or (word and not worded)):
            runs.append(run)  # at a joint, or behind purposes that begin it ("print Anna Lee")
            run, worded = [], False
        if run or unit.text.strip(".").casefold() not in _BEFORE_NAMES:
            run.append(unit)
            worded = worded or word
    if run:
        runs.append(run)
    return runs
