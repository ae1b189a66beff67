"""What an ICC profile says of itself (ICC.1:2022), read from its bytes; nothing is converted here."""

import struct
from dataclasses import dataclass

from .structure import decode_text


@dataclass(frozen=True, slots=True)
class About:
    """Name and media white (XYZ), colour space ("RGB ", "GRAY", "CMYK", "Lab ")."""

    name: str = ""
    white: tuple[float, float, float] | None = None
    space: str = ""


def tag_table(icc: bytes) -> dict[bytes, bytes]:
    """A profile's tags by signature; those that reach beyond its bytes are left out."""
    if len(icc) < 132 or icc[36:40] != b"acsp":
        return {}
    count = min(struct.unpack_from(">I", icc, 128)[0], 200)
    tags: dict[bytes, bytes] = {}
    for at in range(132, min(132 + 12 * count, len(icc) - 11), 12):
        name, offset, size = struct.unpack_from(">4sII", icc, at)
        if offset + size <= len(icc):
            tags[name] = icc[offset : offset + size]
    return tags


def xyz_of(data: bytes) -> tuple[float, float, float] | None:
    """The first XYZ of an XYZType tag."""
    if len(data) < 20 or data[:4] != b"XYZ ":
        return None
    x, y, z = struct.unpack_from(">3i", data, 8)
    return x / 65536, y / 65536, z / 65536


def text_of(data: bytes) -> str:
    """The text of a textDescriptionType, multiLocalizedUnicodeType (first record) or textType tag."""
    kind = data[:4]
    if kind == b"desc" and len(data) >= 12:
        length = struct.unpack_from(">I", data, 8)[0]
        return decode_text(data[12 : 12 + length].split(b"\0", 1)[0])
    if kind == b"mluc" and len(data) >= 28:
        length, offset = struct.unpack_from(">II", data, 20)
        return data[offset : offset + length].decode("utf-16-be", "replace").strip("\0 ")
    if kind == b"text":
        return decode_text(data[8:].split(b"\0", 1)[0])
    return ""


def describe(icc: bytes) -> About:
    """Name, media white and colour space; empty for no or broken profile."""
    tags = tag_table(icc)
    if not tags:
        return About()
    space = icc[16:20].decode("ascii", "replace")
    return About(text_of(tags.get(b"desc", b"")), xyz_of(tags.get(b"wtpt", b"")), space)
