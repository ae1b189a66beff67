"""The naming rule: from what is known of a scan to a path that every system the shop may meet can hold.

A rule is a relative path with ``/`` between parts and fields in braces: ``{artist}``, ``{piece}``, ``{year}``,
``{role}``, ``{number}``, ``{date}``, ``{suffix}``. A field without a value takes its separator with it, a folder
without a value is left out.
"""

import re
import string
import unicodedata
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, replace

from catalogue.allowed_settings import NAMING_FIELDS, naming_rule_fault
from catalogue.errors import CatalogueError

PART_BYTES = 240   # of 255 that common file systems allow in UTF-8; the rest is for a partial copy's ending
PATH_UNITS = 200   # of 259 UTF-16 units on an older Windows; the rest is for the store's root

# Microsoft, "Naming Files, Paths, and Namespaces": reserved characters, device names, trailing dots and spaces.
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
_DEVICE = re.compile(r"(CON|PRN|AUX|NUL|CONIN\$|CONOUT\$|COM[0-9¹²³]|LPT[0-9¹²³])\s*(\.|$)", re.IGNORECASE)
_JOINS = " \t-_.,"


@dataclass(frozen=True, slots=True)
class Facts:
    """What the rule may name. ``date`` is ISO, ``suffix`` with its dot, ``number`` 0 if there is none."""

    artist: str
    piece: str
    role: str
    suffix: str
    date: str = ""
    year: str = ""
    number: int = 0


def checked_rule(rule: str) -> str:
    """The rule itself, if it can be used.

    Raises:
        CatalogueError: an unknown field, a broken brace, no suffix, or a path that leaves the store.
    """
    fault = naming_rule_fault(rule)
    if fault:
        raise CatalogueError(f"The naming rule {fault}.", hint=_hint(rule))
    return rule


def _hint(rule: str) -> str:
    names = ", ".join(f"{{{name}}}" for name in NAMING_FIELDS)
    return f"It is {rule!r}; fields are {names}. See naming_rule in settings.toml."


def apply_rule(rule: str, facts: Facts) -> str:
    """The path, relative to the store, that the rule gives; every part is portable.

    >>> apply_rule("{artist}/{piece} - {role}{number} - {date}{suffix}",
    ...            Facts("Ada Quill", "Harbour", "tile", ".tif", "2026-03-01", number=3))
    'Ada Quill/Harbour - tile 03 - 2026-03-01.tif'
    """
    values = {key: portable_text(str(value)) for key, value in asdict(facts).items()}
    values["number"] = f" {facts.number:02d}" if facts.number else ""
    *folders, leaf = checked_rule(rule).removesuffix("{suffix}").split("/")
    parts = [portable(filled) for folder in folders if (filled := _fill_in(folder, values))]
    suffix = portable_text(facts.suffix).strip().rstrip(".")[:16]
    return "/".join([*parts, portable(_fill_in(leaf, values), suffix)])


def _fill_in(pattern: str, values: dict[str, str]) -> str:
    """One part with its fields; a field without a value is dropped with the separator before it."""
    made = ""
    for text, name, _, _ in string.Formatter().parse(pattern):
        value = values[name] if name is not None else ""
        if name is not None and not value:
            made += text.rstrip(_JOINS) if made else ""
        else:
            made += (text if made else text.lstrip(_JOINS)) + value
    return made.strip()


def portable_text(text: str) -> str:
    """Text with the characters no file name may hold replaced; composed (NFC); undecodable bytes replaced."""
    plain = text.encode("utf-8", "replace").decode()
    return unicodedata.normalize("NFC", _FORBIDDEN.sub(lambda m: "'" if m[0] == '"' else "-", plain))


def portable(name: str, suffix: str = "") -> str:
    """One path part valid on Windows, macOS and Linux, with ``suffix`` kept whole; never empty, never hidden."""
    stem = portable_text(name)
    while True:
        trimmed = cut_bytes(stem.lstrip(" .\t~"), PART_BYTES - len(suffix.encode())).rstrip(" .\t")
        if _DEVICE.match(trimmed + suffix):
            trimmed = f"_{trimmed}"
        if trimmed == stem:
            break
        stem = trimmed
    return (stem or "unnamed") + suffix


def cut_bytes(text: str, size: int) -> str:
    """``text`` cut to at most ``size`` bytes of UTF-8, never within a character or between it and its accents."""
    if len(text.encode()) <= size:
        return text
    short = text.encode()[:max(size, 0)].decode(errors="ignore")
    while short and unicodedata.combining(text[len(short)]):
        short = short[:-1]
    return short


def problems(path: str) -> list[str]:
    """Why a relative path does not travel well between systems; empty if it does."""
    faults = []
    for part in path.split("/"):
        if _FORBIDDEN.search(part):
            faults.append(f"{part!r} has a character that some systems refuse")
        if part != part.rstrip(" ."):
            faults.append(f"{part!r} ends in a dot or a space")
        if part != part.lstrip(" "):
            faults.append(f"{part!r} begins with a space")
        if _DEVICE.match(part):
            faults.append(f"{part!r} is a device name on some systems")
        if any(0xD800 <= ord(c) <= 0xDFFF for c in part):
            faults.append(f"{part!r} is not UTF-8")
        elif unicodedata.normalize("NFC", part) != part:
            faults.append(f"{part!r} is decomposed Unicode, which looks the same as another name and is not")
        elif len(part.encode()) > 255:
            faults.append(f"{part[:20]!r}… is longer than 255 bytes")
    if len(path.encode("utf-16-le", "surrogatepass")) // 2 > PATH_UNITS:
        faults.append(f"the path is longer than {PATH_UNITS} characters")
    return faults


def free_path(path: str, taken: Callable[[str], bool], *, tried: int = 1) -> str:
    """``path``, or with `` (2)``, `` (3)``, … before its suffix until ``taken`` says no.

    ``tried`` is the highest number already known to be taken.
    """
    folder, _, leaf = path.rpartition("/")
    dot = leaf.rfind(".")
    stem, suffix = (leaf[:dot], leaf[dot:]) if dot > 0 else (leaf, "")
    candidate, number = path, tried
    while taken(candidate):
        number += 1
        numbered = portable(cut_bytes(stem, PART_BYTES - 8 - len(suffix.encode())), f" ({number}){suffix}")
        candidate = f"{folder}/{numbered}" if folder else numbered
    return candidate


def same_name(path: str) -> str:
    """A path as a file system that folds case and accents' form compares it."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", path).casefold())


def shortened(rule: str, facts: Facts) -> str:
    """:func:`apply_rule`, with artist and piece cut until the whole path is at most ``PATH_UNITS`` long."""
    path, length = apply_rule(rule, facts), PATH_UNITS
    while len(path.encode("utf-16-le")) // 2 > PATH_UNITS and length > 8:
        length = length * 2 // 3
        facts = replace(facts, artist=cut_bytes(facts.artist, length), piece=cut_bytes(facts.piece, length))
        path = apply_rule(rule, facts)
    return path


def numbers_used(paths: Iterable[str]) -> set[int]:
    """Tile numbers that occur before the date or the end of existing names, so that a set goes on where it stopped."""
    return {int(match[1]) for path in paths if (match := re.search(r"\btile ([0-9]{1,3})\b", path.rpartition("/")[2]))}
