"""What each level of folders means, as chosen by a person, and the place rules that express it.

A choice applies to all folders at one depth below a prefix: ``Choice(("Clients",), 1, "artist")`` says that the folders
directly inside ``Clients`` are artists. The longest prefix wins, so one odd folder can mean something else.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

MEANINGS = ("artist", "piece", "series", "year", "job", "ignore")
_REPEATED = ("job", "ignore")   # any number of levels may be these
_PART = re.compile(r"\{(" + "|".join(MEANINGS) + r")(?:=([^{}/]*))?\}")
_END = "/**/*"


@dataclass(frozen=True, slots=True)
class Choice:
    """``prefix``: folders from the store's root on; ``depth`` counts the folders above; ``meaning`` is one of
    ``MEANINGS``, or "" to leave the level to the guess."""

    prefix: tuple[str, ...]
    depth: int
    meaning: str


def with_choice(choices: Iterable[Choice], new: Choice) -> tuple[Choice, ...]:
    """``choices`` with one more, replacing those it covers."""
    others = [choice for choice in choices if not (
        choice.depth == new.depth and choice.prefix[:len(new.prefix)] == new.prefix)]
    return (*others, new)


def meaning_of(choices: Iterable[Choice], folder: Sequence[str]) -> str:
    """What a folder means, "" if that is guessed from the names."""
    fitting = [choice for choice in choices
               if choice.depth == len(folder) - 1 and tuple(folder[:len(choice.prefix)]) == choice.prefix]
    return max(fitting, key=lambda choice: len(choice.prefix)).meaning if fitting else ""


def rules_of(choices: Sequence[Choice]) -> tuple[str, ...]:
    """The place rules of some choices, the most particular first.

    Raises ValueError for a folder whose name no rule can hold.
    """
    rules: dict[str, None] = {}
    regions = {choice.prefix for choice in choices} | {()}
    for region in sorted(regions, key=lambda prefix: (-len(prefix), prefix)):
        for name in region:
            if "{" in name or "}" in name:
                raise ValueError(f"the folder {name!r} has a brace in its name, which no rule can hold")
        known = [choice for choice in choices if region[:len(choice.prefix)] == choice.prefix]
        meanings = _meanings(known)
        if not any(choice.prefix == region for choice in choices):
            continue
        for last in range(max(meanings, default=-1), max(len(region) - 2, -1), -1):
            parts = [_part(_once(meanings, depth, last), region, depth) for depth in range(last + 1)]
            if any("{" in part for part in parts):
                rules["/".join(parts) + _END] = None
    return tuple(rules)


def choices_of(rules: Iterable[str]) -> tuple[tuple[Choice, ...], tuple[str, ...]]:
    """Choices that give these rules again, and the rules that no choice can express."""
    choices: list[Choice] = []
    others: list[str] = []
    for rule in reversed(list(rules)):  # the most general comes last
        read = _choices_of(rule)
        if read is None:
            others.insert(0, rule)
            continue
        for choice in read:
            if choice.meaning != meaning_of(choices, (*choice.prefix, *[""] * (choice.depth + 1 - len(choice.prefix)))):
                choices = list(with_choice(choices, choice))
    return tuple(choices), tuple(others)


def _choices_of(rule: str) -> list[Choice] | None:
    if not rule.endswith(_END):
        return None
    parts = rule.removesuffix(_END).split("/")
    literal: list[str] = []
    meanings: list[str] = []
    for part in parts:
        field = _PART.fullmatch(part)
        if field is None and part != "*" and re.search(r"[{}*]", part):
            return None
        name = field[2] if field else None if part == "*" else part
        if name is not None:
            if len(literal) < len(meanings):
                return None     # a name below a level that may be anything
            literal.append(name)
        meanings.append(field[1] if field else "")
    prefix = tuple(literal)
    return [Choice(prefix if depth >= len(prefix) - 1 else prefix[:depth + 1], depth, meaning)
            for depth, meaning in enumerate(meanings)]


def _meanings(choices: Iterable[Choice]) -> dict[int, str]:
    """The meaning of each depth, by the longest prefix."""
    longest: dict[int, Choice] = {}
    for choice in choices:
        if choice.depth not in longest or len(choice.prefix) > len(longest[choice.depth].prefix):
            longest[choice.depth] = choice
    return {depth: choice.meaning for depth, choice in longest.items()}


def _once(meanings: dict[int, str], depth: int, last: int) -> str:
    """The meaning of a depth in a rule of so many; what only one level can mean, the deepest does."""
    meaning = meanings.get(depth, "")
    again = any(meanings.get(deeper) == meaning for deeper in range(depth + 1, last + 1))
    return "ignore" if meaning and meaning not in _REPEATED and again else meaning


def _part(meaning: str, region: Sequence[str], depth: int) -> str:
    if depth < len(region):
        return f"{{{meaning}={region[depth]}}}" if meaning else re.sub(r"\*+", "*", region[depth])
    return f"{{{meaning}}}" if meaning else "*"
