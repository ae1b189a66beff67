"""The fewest codes for a change of style: a terminal keeps a style until it is told another (ECMA-48, SGR).

Rich begins each stretch of text with the whole of its style and ends it with none at all. Over a slow line that is more
than the text.
"""

import re
from functools import lru_cache
from typing import NamedTuple

_CODES = re.compile(r"\x1b\[([\d;]*)m")
_MOVE = re.compile(r"\x1b\[(?:\d+;\d+H|\d+G)")
WEIGHTS, NORMAL_WEIGHT = frozenset({"1", "2"}), "22"


class Look(NamedTuple):
    """What a terminal writes in: the codes of foreground and background, "" for its own, and of all else."""

    foreground: str = ""
    background: str = ""
    others: frozenset[str] = frozenset()


def shorten_styles(sequence: str) -> str:
    """What shows the same, from no style to none, with only what changes between one style and the next."""
    parts = []
    shown = wanted = Look()
    at = 0
    for match in _CODES.finditer(sequence):
        text = sequence[at:match.start()]
        if text:
            if wanted != shown and not _MOVE.fullmatch(text):
                parts.append(_change(shown, wanted))
                shown = wanted
            parts.append(text)
        wanted = _applied(wanted, match[1])
        at = match.end()
    rest = sequence[at:]
    if rest and wanted != shown:
        parts.append(_change(shown, wanted))
        shown = wanted
    parts.append(rest)
    if shown != Look():
        parts.append("\x1b[0m")
    return "".join(parts)


@lru_cache(4096)
def _applied(look: Look, codes: str) -> Look:
    """A look after applying codes; a colour code takes several numbers."""
    foreground, background, others = look
    numbers = codes.split(";")
    at = 0
    while at < len(numbers):
        number = numbers[at]
        length = {"2": 5, "5": 3}.get(numbers[at + 1], 1) if number in ("38", "48") and at + 1 < len(numbers) else 1
        code = ";".join(numbers[at:at + length])
        if number in ("", "0"):
            foreground, background, others = "", "", frozenset()
        elif number == "38" or (len(number) == 2 and number[0] in "39" and number != "39"):
            foreground = code
        elif number == "48" or (number[0] == "4" and len(number) == 2 and number != "49") or number[:2] == "10":
            background = code
        elif number == "39":
            foreground = ""
        elif number == "49":
            background = ""
        else:
            others |= {code}
        at += length
    return Look(foreground, background, others)


@lru_cache(4096)
def _change(shown: Look, wanted: Look) -> str:
    """The code from one look to another."""
    gone = shown.others - wanted.others
    if (gone - WEIGHTS) or (shown.foreground and not wanted.foreground) or (shown.background and not wanted.background):
        codes = ["0", *sorted(wanted.others), *filter(None, (wanted.foreground, wanted.background))]
    else:
        others = shown.others - WEIGHTS if gone else shown.others
        codes = [*([NORMAL_WEIGHT] if gone else []), *sorted(wanted.others - others)]
        codes += [wanted.foreground] if wanted.foreground != shown.foreground else []
        codes += [wanted.background] if wanted.background != shown.background else []
    return f"\x1b[{';'.join(codes)}m"
