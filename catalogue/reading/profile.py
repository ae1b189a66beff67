"""What an ICC profile says (ICC.1:2022), read from its bytes: name, media white, and the simple models in full.

A *simple* profile is a matrix with three tone curves (RGB) or one tone curve (grey). Those are evaluated in float by
``reading.colour``, in less than half of littleCMS' time; profiles with tables (CMYK and some RGB) are left to
littleCMS.
"""

import struct
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from catalogue.reading.structure import decode_text

Doubles = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class About:
    """Name, media white (XYZ) and colour space ("RGB ", "GRAY", "CMYK", "Lab "); empty for no or a broken profile."""

    name: str = ""
    white: tuple[float, float, float] | None = None
    space: str = ""


@dataclass(frozen=True, slots=True)
class Curve:
    """A tone curve: a sampled table over 0..1, or a parametric function with ICC's letters g a b c d e f."""

    table: tuple[float, ...] = ()
    function: int = 0
    numbers: tuple[float, ...] = (1.0,)

    def __call__(self, values: Doubles) -> Doubles:
        """Device values in 0..1 to linear light in 0..1."""
        if self.table:
            return np.interp(values, np.linspace(0.0, 1.0, len(self.table)), self.table)
        g, a, b, c, d, e, f = (*self.numbers, *(0.0,) * (7 - len(self.numbers)))
        if self.function == 0:
            return np.asarray(np.power(values, g))
        upper = np.power(np.maximum(a * values + b, 0.0), g)
        if self.function == 1:
            return np.where(values >= -b / a, upper, 0.0)
        if self.function == 2:
            return np.where(values >= -b / a, upper + c, c)
        if self.function == 3:
            return np.where(values >= d, upper, c * values)
        return np.where(values >= d, upper + e, c * values + f)


@dataclass(frozen=True, slots=True)
class Simple:
    """A matrix and curves to the D50 connection space; one curve and no matrix for grey."""

    curves: tuple[Curve, ...]
    to_xyz: tuple[tuple[float, float, float], ...] = ()   # rows X, Y, Z
    lightness: bool = False   # a grey curve that gives L*, not Y (connection space Lab)


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


def curve_of(data: bytes) -> Curve | None:
    """A curveType or parametricCurveType tag; ``None`` where it is neither or is cut short."""
    if len(data) < 12:
        return None
    if data[:4] == b"curv":
        count = struct.unpack_from(">I", data, 8)[0]
        if count == 0:
            return Curve()
        if len(data) < 12 + 2 * count:
            return None
        entries = struct.unpack_from(f">{count}H", data, 12)
        return Curve(numbers=(entries[0] / 256,)) if count == 1 else Curve(tuple(e / 65535 for e in entries))
    if data[:4] == b"para":
        function = struct.unpack_from(">H", data, 8)[0]
        wanted = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}.get(function, 0)
        if not wanted or len(data) < 12 + 4 * wanted:
            return None
        numbers = tuple(n / 65536 for n in struct.unpack_from(f">{wanted}i", data, 12))
        if function in (1, 2) and numbers[1] == 0:
            return None
        return Curve((), function, numbers)
    return None


def simple_of(icc: bytes) -> Simple | None:
    """The matrix-and-curves or one-curve model, ``None`` where the profile works by tables or is broken."""
    tags = tag_table(icc)
    if not tags or b"A2B0" in tags or b"D2B0" in tags:
        return None
    space = icc[16:20]
    if space == b"GRAY":
        curve = curve_of(tags.get(b"kTRC", b""))
        return Simple((curve,), lightness=icc[20:24] == b"Lab ") if curve else None
    if space != b"RGB ":
        return None
    curves = [curve_of(tags.get(name, b"")) for name in (b"rTRC", b"gTRC", b"bTRC")]
    columns = [xyz_of(tags.get(name, b"")) for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
    good_curves = tuple(curve for curve in curves if curve)
    good_columns = [column for column in columns if column]
    if len(good_curves) < 3 or len(good_columns) < 3:
        return None
    x, y, z = zip(*good_columns, strict=True)
    return Simple(good_curves, (x, y, z))


@lru_cache(maxsize=64)
def describe(icc: bytes) -> About:
    """Name, media white and colour space; empty for no or a broken profile."""
    tags = tag_table(icc)
    if not tags:
        return About()
    return About(text_of(tags.get(b"desc", b"")), xyz_of(tags.get(b"wtpt", b"")), icc[16:20].decode("latin-1"))
