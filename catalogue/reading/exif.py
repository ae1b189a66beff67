"""Facts from Exif (CIPA DC-008): a TIFF's own directory, or the block other formats carry."""

import re
from collections.abc import Mapping
from typing import Any

IMAGE_TEXTS = {
    0x010D: "title", 0x010E: "description", 0x010F: "make", 0x0110: "model", 0x0131: "software", 0x0132: "modified",
    0x013B: "creator", 0x8298: "rights",
}
EXIF_IFD, ORIENTATION, X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT = 0x8769, 0x0112, 0x011A, 0x011B, 0x0128
ORIGINAL, DIGITIZED, OFFSET_ORIGINAL, OFFSET_DIGITIZED, COLOUR_SPACE = 0x9003, 0x9004, 0x9011, 0x9012, 0xA001


def iso_time(stated: str, offset: str = "") -> str:
    """``YYYY:MM:DD HH:MM:SS`` as ISO 8601, with the zone where one is stated; other text as it is."""
    text = stated.strip("\0 ")
    date, _, clock = text.partition(" ")
    parts = date.replace("-", ":").split(":")
    if len(parts) != 3 or not all(re.fullmatch("[0-9]{1,4}", part) for part in parts) or int(parts[0]) == 0:
        return text if re.search("[1-9]", text) else ""
    return "-".join(parts) + (f"T{clock}{offset.strip(chr(0) + ' ')}" if clock else "")


def facts(image: Mapping[int, Any], exif: Mapping[int, Any]) -> dict[str, str]:
    """Metadata fields from the image directory's and the Exif directory's values."""
    found = {name: _text(image[code]) for code, name in IMAGE_TEXTS.items() if code in image}
    if "modified" in found:
        found["modified"] = iso_time(found["modified"])
    original = iso_time(_text(exif.get(ORIGINAL, "")), _text(exif.get(OFFSET_ORIGINAL, "")))
    digitized = iso_time(_text(exif.get(DIGITIZED, "")), _text(exif.get(OFFSET_DIGITIZED, "")))
    found["captured"] = original or digitized
    return {name: value for name, value in found.items() if value}


def facts_from_bytes(block: bytes) -> dict[str, str]:
    """Metadata fields from an Exif block (with or without its ``Exif\\0\\0`` head)."""
    if not block:
        return {}
    from PIL.Image import Exif

    exif = Exif()
    try:
        exif.load(block)
        return facts(exif, exif.get_ifd(EXIF_IFD))
    except (SyntaxError, ValueError, KeyError, OSError, TypeError, EOFError):
        return {}


def _text(value: Any) -> str:
    if isinstance(value, bytes):
        from .structure import decode_text

        return decode_text(value.split(b"\0", 1)[0])
    return str(value).split("\0", 1)[0].strip()
