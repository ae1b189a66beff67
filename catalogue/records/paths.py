"""File names and times as the catalogue keeps them: names as text, also where one is not UTF-8.

SQLite text cannot hold the lone surrogates by which Python carries undecodable bytes. A relative path never holds an
empty part, so ``//`` followed by two hex digits is free to stand for one such byte, and the way back is exact.
"""

import re

from catalogue.errors import Refused
from catalogue.untrusted import unsafe_path

_SURROGATE = re.compile("[\udc80-\udcff]")
_ESCAPE = re.compile(r"//([0-9a-f]{2})")


class UnusablePath(Refused):
    """A recorded path that leads out of its store, or that no file can have."""


def escape_path(path: str) -> str:
    """A relative path as stored: undecodable bytes escaped."""
    return path if path.isascii() else _SURROGATE.sub(lambda match: f"//{ord(match[0]) - 0xDC00:02x}", path)


def native_path(path: str) -> str:
    """A stored path as the system wants it: the inverse of :func:`escape_path`.

    Raises UnusablePath for one that leads out of its folder or that no file can have, whoever recorded it; "" is the
    folder itself.
    """
    plain = _unescape(path)
    reason = unsafe_path(plain) if path else ""
    if reason:
        raise UnusablePath(f"This path is not followed: {reason}.", path=path)
    return plain


def unsafe_escaped_path(path: str) -> str:
    """Why a path in stored form must not be followed; "" if it may be."""
    plain = _unescape(path)
    if reason := unsafe_path(plain):
        return reason
    name = plain.encode("utf-8", "surrogateescape").decode("utf-8", "surrogateescape")
    return "" if escape_path(name) == path else "no file can have such a name"


def _unescape(path: str) -> str:
    return _ESCAPE.sub(lambda match: chr(0xDC00 + int(match[1], 16)), path) if "//" in path else path


def display_path(path: str) -> str:
    """A stored path for display: a replacement character for each undecodable byte."""
    return _ESCAPE.sub("\N{REPLACEMENT CHARACTER}", path)


def is_text(path: str) -> bool:
    """Whether the name needs no escaping."""
    return "//" not in path


MAX_MTIME_NS = 2 ** 63 - 1  # SQLite's integers: file times from 11 April 2262 on are kept as this one


def stored_mtime(mtime_ns: int) -> int:
    """A file time as the catalogue can hold it. Compare times in this form only."""
    return max(-MAX_MTIME_NS, min(mtime_ns, MAX_MTIME_NS))
