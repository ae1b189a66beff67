"""Edition numbers as people write them: ``3–12, AP II``. Proofs in Roman numerals, common practice, no source."""

import re
from collections.abc import Iterable
from typing import NamedTuple

MOST = 100_000  # prints of one line or one edition; more is a slip of the finger


class Number(NamedTuple):
    """One print of an edition: ``series`` is ``"number"`` or ``"proof"``."""

    series: str
    number: int


_ROMAN = ((1000, "M"), (900, "CM"), (500, "D"), (400, "CD"), (100, "C"), (90, "XC"), (50, "L"), (40, "XL"), (10, "X"),
          (9, "IX"), (5, "V"), (4, "IV"), (1, "I"))
_PART = (
    r"(?P<proof>(?:A\.?P\.?|E\.?A\.?|P\.?A\.?|artist['’]?s? proofs?|proofs?)\s*)?"
    r"(?P<first>[0-9]+|[IVXLCDM]+)(?:\s*(?:-|–|—|to)\s*(?P<last>[0-9]+|[IVXLCDM]+))?(?:\s*(?:/|of)\s*(?P<limit>[0-9]+|[IVXLCDM]+))?")


def roman(number: int) -> str:
    """1 → ``I``, 4 → ``IV``, 1999 → ``MCMXCIX``."""
    text = ""
    for value, sign in _ROMAN:
        text += sign * (number // value)
        number %= value
    return text


def _value(text: str) -> int:
    if text.isdecimal():
        return int(text)
    upper, rest, total = text.upper(), text.upper(), 0
    for value, sign in _ROMAN:
        while rest.startswith(sign):
            total, rest = total + value, rest[len(sign):]
    if rest or roman(total) != upper:
        raise ValueError(f"{text!r} is not a Roman numeral")
    return total


def numbers_text(numbers: Iterable[tuple[str, int]]) -> str:
    """Numbers in order, runs drawn together: ``"3–12, 15, AP I–II"``; empty for none."""
    parts = []
    ordered = sorted(set(numbers))  # "number" sorts before "proof"
    start = 0
    for i, (series, number) in enumerate(ordered):
        if i + 1 < len(ordered) and ordered[i + 1] == (series, number + 1):
            continue
        first = ordered[start][1]
        show = roman if series == "proof" else str
        run = show(first) if first == number else f"{show(first)}–{show(number)}"
        parts.append(f"AP {run}" if series == "proof" else run)
        start = i + 1
    return ", ".join(parts)


def is_several(numbers: str) -> bool:
    """Whether a text of :func:`numbers_text` is of more than one number."""
    return "–" in numbers or "," in numbers


def numbered(numbers: str) -> str:
    """``number 12``, ``numbers 3–5, 9``: of an edition, as :func:`numbers_text` has them; empty for none."""
    return f"number{'s' * is_several(numbers)} {numbers}" if numbers else ""


def parse_numbers(text: str) -> tuple[list[Number], int | None]:
    """Parse ``"3-12, AP II"`` or ``"4/25"``: the numbers in the order written, and the edition size if one is stated.

    Raises ValueError if it cannot be parsed, lists a number twice, has a range that runs backwards, or exceeds
    ``MOST``.
    """
    parsed: list[Number] = []
    stated: int | None = None
    for part in filter(None, (p.strip() for p in re.split(r"[,;+&]|\band\b", text))):
        match = re.fullmatch(_PART, part, re.IGNORECASE)
        if match is None:
            raise ValueError(f"{part!r} is not an edition number")
        first = _value(match["first"])
        last = _value(match["last"]) if match["last"] else first
        proof = bool(match["proof"]) or not match["first"].isdecimal()
        if not 1 <= first <= last <= MOST:
            raise ValueError(f"{part!r} is not a range of edition numbers")
        if match["limit"] and not proof:
            stated = _value(match["limit"])
        parsed += [Number("proof" if proof else "number", n) for n in range(first, last + 1)]
    if len(set(parsed)) != len(parsed):
        raise ValueError(f"{text!r} gives a number twice")
    return parsed, stated
