"""Facts from Exif (CIPA DC-008): a TIFF's own directory, or the block other formats carry."""

import math
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from catalogue.reading.structure import decode_text

IMAGE_TEXTS = {
    0x010D: "title", 0x010E: "description", 0x010F: "make", 0x0110: "model", 0x0131: "software", 0x0132: "modified",
    0x013B: "creator", 0x8298: "rights",
}
EXIF_IFD, ORIENTATION, X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT = 0x8769, 0x0112, 0x011A, 0x011B, 0x0128
ORIGINAL, DIGITIZED, OFFSET_ORIGINAL, OFFSET_DIGITIZED, COLOUR_SPACE = 0x9003, 0x9004, 0x9011, 0x9012, 0xA001


def iso_time(stated: str, offset: str = "") -> str:
    """``YYYY:MM:DD HH:MM:SS`` as ISO 8601, with the zone where one is stated; other text as it is."""
    text = stated.strip("\0 ")
    if re.fullmatch(r"[0-9]{4}(:[0-9]{2}){5}", text):   # as some cameras write it
        text = f"{text[:10]} {text[11:]}"
    date, _, clock = text.partition(" ")
    parts = date.replace("-", ":").split(":")
    if len(parts) != 3 or not all(re.fullmatch("[0-9]{1,4}", part) for part in parts) or int(parts[0]) == 0:
        return text if re.search("[1-9]", text) else ""
    return "-".join(parts) + (f"T{clock}{offset.strip(chr(0) + ' ')}" if clock else "")


def facts(image: Mapping[int, Any], exif: Mapping[int, Any]) -> dict[str, str]:
    """Metadata fields from the image directory's and the Exif directory's values."""
    texts = {name: _text(image[code]) for code, name in IMAGE_TEXTS.items() if code in image}
    if "modified" in texts:
        texts["modified"] = iso_time(texts["modified"])
    original = iso_time(_text(exif.get(ORIGINAL, "")), _text(exif.get(OFFSET_ORIGINAL, "")))
    digitized = iso_time(_text(exif.get(DIGITIZED, "")), _text(exif.get(OFFSET_DIGITIZED, "")))
    texts["captured"] = original or digitized
    return {name: value for name, value in texts.items() if value}


@dataclass(frozen=True, slots=True)
class Block:
    """An Exif block: values by tag of the image directory and of the Exif directory. Texts are decoded, numbers are
    tuples; rationals of nothing are left out."""

    image: Mapping[int, Any]
    inner: Mapping[int, Any]

    @property
    def orientation(self) -> int:
        """1 to 8; 1 where it is unstated or makes no sense."""
        stated = _number(self.image, ORIENTATION, 1)
        return int(stated) if 1 <= stated <= 8 else 1

    @property
    def resolution(self) -> tuple[float, float] | None:
        """Pixels per inch across and down; ``None`` where a number or the unit is missing, or the unit is "none".

        CIPA DC-008 4.6.4 has inches for a missing unit; files without it carry whatever their program began with.
        """
        scale = {2: 1.0, 3: 2.54}.get(int(_number(self.image, RESOLUTION_UNIT, 0)))
        across, down = (_number(self.image, code, 0.0) for code in (X_RESOLUTION, Y_RESOLUTION))
        return (across * scale, down * scale) if scale and across > 0 and down > 0 else None

    @property
    def says_srgb(self) -> bool:
        """Whether ColorSpace is 1."""
        return _number(self.inner, COLOUR_SPACE, 0) == 1

    def facts(self) -> dict[str, str]:
        """Metadata fields."""
        return facts(self.image, self.inner)


NOTHING = Block({}, {})
SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
LETTERS = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 11: "f", 12: "d"}
MOST_VALUES = 64


def parse(data: bytes) -> Block:
    """A block as JPEG, PNG, WebP, PSD and JPEG 2000 carry it, with or without its ``Exif\\0\\0`` head. Entries that
    make no sense are left out."""
    data = data.removeprefix(b"Exif\0\0")
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(data[:4])
    if order is None or len(data) < 8:
        return NOTHING
    image = _directory(data, order, struct.unpack_from(order + "I", data, 4)[0])
    place = int(_number(image, EXIF_IFD, 0))
    return Block(image, _directory(data, order, place) if place else {})


def _directory(data: bytes, order: str, at: int) -> dict[int, Any]:
    entries: dict[int, Any] = {}
    if at + 2 > len(data):
        return entries
    count = struct.unpack_from(order + "H", data, at)[0]
    for entry in range(at + 2, min(at + 2 + 12 * count, len(data) - 11), 12):
        code, kind, number, place = struct.unpack_from(order + "HHII", data, entry)
        size = SIZES.get(kind, 0) * number
        start = entry + 8 if size <= 4 else place
        if not size or start + size > len(data):
            continue
        value = _value(data[start : start + size], kind, order)
        if value is not None:
            entries.setdefault(code, value)
    return entries


def _value(raw: bytes, kind: int, order: str) -> Any:
    if kind in (2, 7):
        return decode_text(raw.split(b"\0", 1)[0]) if kind == 2 else raw
    if kind in (5, 10):
        pairs = struct.iter_unpack(order + ("II" if kind == 5 else "ii"), raw[: 8 * MOST_VALUES])
        return tuple(top / bottom for top, bottom in pairs if bottom)
    count = min(len(raw) // SIZES[kind], MOST_VALUES)
    return struct.unpack_from(f"{order}{count}{LETTERS[kind]}", raw)


def _number(values: Mapping[int, Any], code: int, default: float) -> float:
    """The first number of a tag, or ``default``; NaN is none."""
    value = values.get(code)
    first = value[0] if isinstance(value, tuple) and value else default
    return float(first) if math.isfinite(first) else default


def _text(value: Any) -> str:
    return value.split("\0", 1)[0].strip() if isinstance(value, str) else ""
