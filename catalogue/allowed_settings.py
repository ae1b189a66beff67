"""The allowed values of every setting. Imported only if there is a settings file."""

import json
import os
import re
import string
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from difflib import get_close_matches

from catalogue.money import CURRENCIES
from catalogue.untrusted import unsafe_path

GRAPHICS = ("auto", "sharp", "sextants", "quadrants", "half blocks")
BED = r"(?P<name>\S.*?)\s+(?P<one>[0-9]{1,6})\s*[x×]\s*(?P<other>[0-9]{1,6})(?:\s*mm)?"


def setting_fault(name: str, value: object) -> str:
    """What is wrong with a setting as read from TOML, and what is allowed; "" if it is valid."""
    if name not in ALLOWED:
        near = get_close_matches(name.casefold(), ALLOWED, 1)
        meant = f"did you mean {near[0]}?" if near else f"the settings are {', '.join(sorted(ALLOWED))}."
        return f"Unknown setting {name!r}: {meant}"
    wanted = ALLOWED[name]
    return "" if wanted.holds(value) else f"The setting {name} is {_written(value)}; it must be {wanted.words}."


def _written(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return f"[{', '.join(map(_written, value))}]"
    return str(value)


@dataclass(frozen=True, slots=True)
class Allowed:
    """The allowed values of a setting: in words, and as a check of the TOML value."""

    words: str
    holds: Callable[[object], bool]


def _whole(least: int, most: int) -> Callable[[object], bool]:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and least <= value <= most


def _number(least: float, most: float) -> Callable[[object], bool]:
    return lambda value: isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most


def _texts(holds: Callable[[str], bool], *, some: bool) -> Callable[[object], bool]:
    return lambda value: isinstance(value, list) and (bool(value) or not some) and all(
        isinstance(item, str) and holds(item) for item in value)


def _wholes(least: int, most: int, count: int | None = None) -> Callable[[object], bool]:
    is_whole = _whole(least, most)
    return lambda value: isinstance(value, list) and all(map(is_whole, value)) and (
        len(value) == count if count else bool(value))


def _is_bed(text: str) -> bool:
    match = re.fullmatch(BED, text)
    return match is not None and all(10 <= int(match[side]) <= 100_000 for side in ("one", "other"))


def _one_of(*words: str) -> Allowed:
    return Allowed(" or ".join(_written(word) for word in words), lambda value: value in words)


def _is_place_rule(rule: str) -> bool:
    named = [name for name in re.findall(r"\{(\w*)(?:=[^{}/]*)?\}", rule) if name not in IDLE_FIELDS]
    braces = len(re.findall(r"[{}]", rule)) == 2 * len(re.findall(r"\{\w+(?:=[^{}/]*)?\}", rule))
    return bool(named or "{" in rule) and braces and len(named) == len(set(named)) and set(named) <= set(PLACE_FIELDS)


def _is_naming_rule(rule: object) -> bool:
    return isinstance(rule, str) and not naming_rule_fault(rule)


def naming_rule_fault(rule: str) -> str:
    """Why a rule cannot name files; "" if it can."""
    try:
        named = [name for _, name, _, _ in string.Formatter().parse(rule) if name is not None]
    except ValueError as error:
        return f"cannot be read: {error}"
    unknown = [name for name in named if name not in NAMING_FIELDS]
    if unknown:
        return f"has an unknown field {{{unknown[0]}}}"
    if not rule.endswith("{suffix}"):
        return "must end in {suffix}"
    if unsafe_path(rule):
        return "must be a plain path within the store"
    return ""


def _is_date_form(form: object) -> bool:
    """Whether a date written so can be read again."""
    try:
        return isinstance(form, str) and all(datetime.strptime(day.strftime(form), form).date() == day
                                             for day in (date(2024, 5, 31), date(2031, 2, 1)))
    except ValueError:
        return False


PLACE_FIELDS = ("artist", "piece", "year", "number", "series")
IDLE_FIELDS = ("job", "ignore")
NAMING_FIELDS = ("artist", "piece", "year", "role", "number", "date", "suffix")
_YES_OR_NO = Allowed("true or false", lambda value: isinstance(value, bool))
ALLOWED: dict[str, Allowed] = {
    "place_rules": Allowed("a list of paths, each with some of {artist}, {piece}, {year}, {number}, {series}, "
                           "once each, or {job}, {ignore}",
                           _texts(_is_place_rule, some=False)),
    "ignore": Allowed("a list of names or patterns without /", _texts(lambda name: bool(name) and "/" not in name,
                                                                     some=False)),
    "workers": Allowed("a whole number from 0 (as many as processors) to 256", _whole(0, 256)),
    "print_ppi": Allowed("a list of whole numbers from 1 to 10000, such as [300, 240, 200, 150]", _wholes(1, 10_000)),
    "currency": Allowed("the three letters of a currency (ISO 4217), such as \"EUR\"",
                        lambda value: isinstance(value, str) and value in CURRENCIES),
    "dates": Allowed("a format with day, month and year such as \"%d %b %Y\"", _is_date_form),
    "open_with": Allowed("the name of a program, or \"\"", lambda value: isinstance(value, str)),
    "naming_rule": Allowed("a path within the store that ends in {suffix}; fields are "
                           + ", ".join(f"{{{name}}}" for name in NAMING_FIELDS), _is_naming_rule),
    "bed_mm": Allowed("two whole numbers from 10 to 100000, such as [297, 420]", _wholes(10, 100_000, count=2)),
    "beds": Allowed("a list of names with two sides in mm from 10 to 100000, such as [\"A2 bed 420x594\"]",
                    _texts(_is_bed, some=False)),
    "tile_overlap": Allowed("a number from 0 to 0.9", _number(0, 0.9)),
    "backups_kept": Allowed("a whole number from 1 to 100000", _whole(1, 100_000)),
    "copies_wanted": Allowed("a whole number from 1 to 100: how many copies of every scan there should be",
                             _whole(1, 100)),
    "copies_on_one_disk": _YES_OR_NO,
    "read_only": _YES_OR_NO,
    "theme": _one_of("dark", "light"),
    "graphics": _one_of(*GRAPHICS),
    "connection": _one_of("auto", "fast", "slow"),
    "print_folder": Allowed("the absolute path of a folder, or \"\"", lambda value: isinstance(value, str) and (
        not value or ("\0" not in value and os.path.isabs(os.path.expanduser(value))))),  # noqa: PTH111, PTH117
    "print_in_stores": _YES_OR_NO,
    "audit_days": Allowed("a whole number from 1 to 36500", _whole(1, 36_500)),
}
