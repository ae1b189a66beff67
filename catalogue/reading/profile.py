"""What an ICC profile says (ICC.1:2022), read from its bytes: name, media white, and whether it is a matrix and curves.
Colours are converted by littleCMS."""

import struct
from dataclasses import dataclass
from functools import lru_cache

from catalogue.reading.structure import decode_text

MATRIX_TAGS = {b"rTRC", b"gTRC", b"bTRC", b"rXYZ", b"gXYZ", b"bXYZ"}


@dataclass(frozen=True, slots=True)
class About:
    """Name, media white (XYZ) and colour space ("RGB ", "GRAY", "CMYK", "Lab "); empty for no or a broken profile."""

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


def is_matrix(icc: bytes) -> bool:
    """Whether an RGB profile converts by a matrix and three tone curves, not by tables."""
    tags = tag_table(icc)
    return icc[16:20] == b"RGB " and tags.keys() >= MATRIX_TAGS and not {b"A2B0", b"D2B0"} & tags.keys()


@lru_cache(maxsize=64)
def describe(icc: bytes) -> About:
    """Name, media white and colour space; empty for no or a broken profile."""
    tags = tag_table(icc)
    if not tags:
        return About()
    return About(text_of(tags.get(b"desc", b"")), xyz_of(tags.get(b"wtpt", b"")), icc[16:20].decode("latin-1"))
