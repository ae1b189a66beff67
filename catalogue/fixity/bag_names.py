"""Names in bags: RFC 8493's escaping, and names that every system and every reader of bags can hold."""

import re
from unicodedata import category, normalize

from catalogue.records.paths import display_path
from catalogue.untrusted import unsafe_path

_ESCAPED = {"\n": "%0A", "\r": "%0D", "%": "%25"}
_UNESCAPED = {"0A": "\n", "0D": "\r", "25": "%"}
_AWKWARD = re.compile(r'[%<>:"|?*\\~]')   # the first breaks common readers of bags, the rest some file systems
_PART_BYTES = 200
_RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?")


def escaped(path: str) -> str:
    """A path escaped for a manifest: only LF, CR and ``%``, in one pass (RFC 8493, 2.1.3)."""
    return re.sub(r"[\n\r%]", lambda m: _ESCAPED[m[0]], path)


def unescaped(text: str) -> str:
    """The inverse of :func:`escaped`; other ``%`` signs are kept."""
    return re.sub(r"%(0[AaDd]|25)", lambda m: _UNESCAPED[m[1].upper()], text)


def unsafe(path: str) -> str:
    """Why a path from a bag must not be followed on any system; "" when it may (RFC 8493, 5.1)."""
    if path.startswith(("~", "\\\\")) or re.match(r"[A-Za-z]:[\\/]", path):
        return "it leads out of the folder"
    return unsafe_path(path)


def portable(path: str) -> str:
    """A relative path as named in our bags, safe for readers of bags and for file systems.

    Composed accents, no control characters, no space at either end of a part, no reserved name, no part over 200 bytes.
    """
    return "/".join(_part(part) for part in normalize("NFC", display_path(path)).split("/"))


def _part(name: str) -> str:
    name = "".join("_" if category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") else c for c in name)
    name = _AWKWARD.sub("_", name).strip().rstrip(".").strip()
    if not name or _RESERVED.fullmatch(name):
        name = f"_{name}"
    data = name.encode()
    if len(data) <= _PART_BYTES:
        return name
    stem, dot, suffix = name.rpartition(".")
    suffix = dot + suffix if dot and len(suffix.encode()) <= 10 else ""
    shortened = (stem if suffix else name).encode()[:_PART_BYTES - len(suffix.encode())]
    return shortened.decode(errors="ignore").rstrip() + suffix


def distinct(path: str, taken: set[str]) -> str:
    """``path``, with a number if needed so that no disk confuses it with another in ``taken``; adds the result to it.

    Some disks distinguish neither capitals nor the composition of accents.
    """
    stem, dot, suffix = path.rpartition(".")
    if not dot or "/" in suffix:
        stem, suffix = path, ""
    number, candidate = 1, path
    while (key := normalize("NFC", normalize("NFC", candidate).casefold())) in taken:
        number += 1
        candidate = f"{stem} ({number}){dot if suffix else ''}{suffix}"
    taken.add(key)
    return candidate
