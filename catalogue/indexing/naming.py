"""What a file's place and name say: artist, piece, year, role."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from catalogue.reading.model import Picture


@dataclass(frozen=True, slots=True)
class Place:
    """What the path says; empty where it says nothing."""

    artist: str = ""
    piece: str = ""
    year: str = ""


@lru_cache(maxsize=64)
def _compiled(rule: str) -> re.Pattern[str]:
    pattern = ""
    for token in re.split(r"(\{artist\}|\{piece\}|\{year\}|\*\*/|\*)", rule):
        if token == "{year}":
            pattern += r"(?P<year>\d{4})"
        elif token in ("{artist}", "{piece}"):
            pattern += f"(?P<{token[1:-1]}>[^/]+?)"
        elif token == "**/":
            pattern += "(?:[^/]+/)*"
        elif token == "*":
            pattern += "[^/]*"
        else:
            pattern += re.escape(token)
    return re.compile(pattern)


def place_of(path: str, rules: Sequence[str]) -> Place:
    """Artist, piece and year by the first rule the whole path fits."""
    for rule in rules:
        found = _compiled(rule).fullmatch(path)
        if found:
            parts = found.groupdict()
            return Place(*(_tidied(parts.get(name) or "") for name in ("artist", "piece", "year")))
    return Place()


def _tidied(text: str) -> str:
    return " ".join(text.replace("_", " ").split())


# Words as shops write them in folder and file names. Common practice, no source.
_WORD = r"(?:^|[^a-z]){}(?:[^a-z]|$)"
_ROLES: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (role, re.compile("|".join(_WORD.format(word) for word in words), re.IGNORECASE)) for role, words in (
        ("tile", ("tiles?", "capture", "t\\d{1,3}", "part\\s*\\d+", "\\d+\\s*of\\s*\\d+", "r\\d+c\\d+")),
        ("print file", ("prints?", "forprint", "print-?ready", "proof-?print", "output")),
        ("reference", ("refs?", "reference", "phone", "photo", "web", "preview", "snapshot", "detail", "lowres",
                       "thumb(?:nail)?")),
        ("master", ("masters?", "stitched", "re-?scan", "rescan\\d*", "archive")),
    ))
_LOSSY = {"JPEG", "WebP", "PNG"}


def role_of(path: str, file_format: str, picture: Picture | None) -> str:
    """The role a file's name, folders, pages and pixels suggest.

    The file's own name outweighs its folders, the nearest folder the farther ones; only folders below the piece are
    asked, for an artist may well be called Masters.
    """
    parts = path.split("/")
    for part in [parts[-1], *reversed(parts[2:-1])]:
        for role, words in _ROLES:
            if words.search(part):
                return role
    if picture is None:
        return "unsorted"
    if file_format in _LOSSY:
        return "reference"
    return "master" if picture.width * picture.height > 0 else "unsorted"
