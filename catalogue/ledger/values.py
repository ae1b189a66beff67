"""Lengths and sizes as shops write them. Pure; every function raises ValueError with a reason in plain words."""

import re
from decimal import Decimal

MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4, "″": 25.4}
_LENGTH = re.compile(r"(?P<number>[0-9]+(?:[.,][0-9]+)?)\s*(?P<unit>mm|cm|m|in|inch|inches|\"|″)?", re.IGNORECASE)
ISO_A_MM = ((841.0, 1189.0), (594.0, 841.0), (420.0, 594.0), (297.0, 420.0), (210.0, 297.0), (148.0, 210.0),
            (105.0, 148.0))     # A0 to A6, ISO 216
_SIZE = re.compile(r"(?P<first>.+?)\s*[x×X*]\s*(?P<second>.+)")


def length_mm(text: str, unit: str = "cm") -> float:
    """``"50"`` → 500 with ``unit`` cm; a unit in the text wins. Always above zero and under 100 m."""
    match = _LENGTH.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not a length")
    length = float(match["number"].replace(",", ".")) * MM_PER[(match["unit"] or unit).lower()]
    if not 0 < length < 100_000:
        raise ValueError(f"{text!r} is too short or too long for a print")
    return round(length, 3)


def margin_mm(text: str, unit: str = "mm") -> float:
    """A border or wrap: a length, or nothing for none."""
    return 0.0 if re.fullmatch(r"\s*(0+([.,]0+)?\s*(mm|cm|in)?|-|–|none|no)?\s*", text, re.IGNORECASE) else length_mm(
        text, unit)


def size_mm(text: str, unit: str = "cm") -> tuple[float, float]:
    """``"50x70"``, ``"50 × 70 cm"``, ``"500 x 700mm"`` → width and height in mm. One unit serves both."""
    match = _SIZE.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not a size; write it as 50x70 or 500x700mm")
    second = _LENGTH.fullmatch(match["second"].strip())
    shared = (second["unit"] if second else None) or unit
    return length_mm(match["first"], shared), length_mm(match["second"], shared)


def print_size_mm(text: str, unit: str = "cm") -> tuple[float, float]:
    """As :func:`size_mm`; also ``"A3"`` or ``"DIN A3"``, upright, for a print is turned as its picture is."""
    match = re.fullmatch(r"(?:DIN\s*)?A([0-6])", text.strip(), re.IGNORECASE)
    return ISO_A_MM[int(match[1])] if match else size_mm(text, unit)


def shown_mm(length: float) -> str:
    """Centimetres as people write them, to the hundredth of a millimetre: 500 → ``50``, 203.2 → ``20.32``."""
    return f"{Decimal(repr(float(length))) / 10:.3f}".rstrip("0").removesuffix(".")


def measured_size(width_mm: float, height_mm: float) -> str:
    """A size that pixels and resolution give, to the millimetre: ``"21 × 29.7 cm"``."""
    return shown_size(round(width_mm), round(height_mm))


def shown_size(width_mm: float | None, height_mm: float | None) -> str:
    """``"50 × 70 cm"``; "" for a size that is not known."""
    return f"{shown_mm(width_mm)} × {shown_mm(height_mm)} cm" if width_mm and height_mm else ""


def shown_prints(quantity: int, width_mm: float | None, height_mm: float | None) -> str:
    """``"2 prints of 50 × 70 cm"``; without the size where it is not known."""
    size = shown_size(width_mm, height_mm)
    return f"{quantity} print{'s' * (quantity != 1)}" + (f" of {size}" if size else "")
