"""Colour profiles made here, and pixel values in them.

Profile layout: ICC.1:2001-04 (version 2.4). sRGB comes from littleCMS through Pillow. Dates and identifiers are
fixed, so that the same picture always makes the same bytes.
"""

from __future__ import annotations

import struct
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from PIL import ImageCms

from .canvas import Floats

_DATE = struct.pack(">6H", 2020, 1, 1, 0, 0, 0)
_D50 = (0.9642, 1.0, 0.8249)
# linear sRGB to XYZ under D50, IEC 61966-2-1 primaries adapted by Bradford (as in the usual sRGB v2 profile)
_SRGB_TO_XYZ = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)
_WIDE_PRIMARIES = ((0.69, 0.30), (0.19, 0.72), (0.14, 0.06))


def _wide_to_xyz() -> NDArray[np.float64]:
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in _WIDE_PRIMARIES]).T
    return np.asarray(columns * np.linalg.solve(columns, np.array(_D50)))


def _s15(*values: float) -> bytes:
    return b"".join(struct.pack(">i", round(v * 65536)) for v in values)


def _xyz(values: tuple[float, ...] | NDArray[np.float64]) -> bytes:
    return b"XYZ \0\0\0\0" + _s15(*(float(v) for v in values))


def _gamma(g: float) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(g * 256))


def _desc(name: str) -> bytes:
    text = name.encode("ascii") + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(4 + 4 + 2 + 1 + 67)


def _assemble(kind: bytes, space: bytes, pcs: bytes, tags: dict[bytes, bytes]) -> bytes:
    at, table, body = 128 + 4 + 12 * len(tags), b"", b""
    for name, data in tags.items():
        padded = data + bytes(-len(data) % 4)
        table += name + struct.pack(">II", at + len(body), len(data))
        body += padded
    header = bytearray(128)
    header[0:4] = struct.pack(">I", at + len(body))
    header[8:12] = b"\x02\x40\x00\x00"
    header[12:16], header[16:20], header[20:24] = kind, space, pcs
    header[24:36] = _DATE
    header[36:40] = b"acsp"
    header[68:80] = _s15(*_D50)
    return bytes(header) + struct.pack(">I", len(tags)) + table + body


_CPRT = b"text\0\0\0\0No rights reserved\0"


@cache
def profile(name: str) -> bytes:
    """The ICC profile called "sRGB", "Wide RGB test profile", "Grey gamma 2.2" or "Paint recipe CMYK"."""
    if name == "sRGB":
        made = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
        made[24:36], made[84:100] = _DATE, bytes(16)
        return bytes(made)
    if name == "Wide RGB test profile":
        m = _wide_to_xyz()
        tags = {b"desc": _desc(name), b"cprt": _CPRT, b"wtpt": _xyz(_D50)}
        tags |= {key: _xyz(m[:, i]) for i, key in enumerate((b"rXYZ", b"gXYZ", b"bXYZ"))}
        return _assemble(b"mntr", b"RGB ", b"XYZ ", tags | dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), _gamma(2.2)))
    if name == "Grey gamma 2.2":
        tags = {b"desc": _desc(name), b"cprt": _CPRT, b"wtpt": _xyz(_D50), b"kTRC": _gamma(2.2)}
        return _assemble(b"mntr", b"GRAY", b"XYZ ", tags)
    if name == "Paint recipe CMYK":
        grid = 7
        steps = np.array(list(product(np.linspace(0, 1, grid), repeat=4)), np.float64)
        rgb = (1 - steps[:, :3]) * (1 - steps[:, 3:])
        lab = srgb_to_lab(rgb[None])[0]
        table = np.clip(np.round(np.stack([lab[:, 0] * 2.55, lab[:, 1] + 128, lab[:, 2] + 128], 1)), 0, 255).astype(
            np.uint8
        )
        ramp = bytes(range(256))
        lut = (
            b"mft1\0\0\0\0"
            + bytes([4, 3, grid, 0])
            + _s15(1, 0, 0, 0, 1, 0, 0, 0, 1)
            + ramp * 4
            + table.tobytes()
            + ramp * 3
        )
        # an input profile needs only device-to-colour, which is all a stored picture needs
        return _assemble(
            b"scnr", b"CMYK", b"Lab ", {b"desc": _desc(name), b"cprt": _CPRT, b"wtpt": _xyz(_D50), b"A2B0": lut}
        )
    raise KeyError(name)


def _linear(colour: NDArray[np.floating]) -> NDArray[np.floating]:
    return np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)


def srgb_to_lab(colour: NDArray[np.floating]) -> NDArray[np.floating]:
    """CIELAB (h, w, 3) under D50 of sRGB values 0..1 (h, w, 3)."""
    t = (_linear(colour) @ _SRGB_TO_XYZ.T) / np.array(_D50)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(np.maximum(t, 0)), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def to_wide(colour: Floats) -> Floats:
    """sRGB values 0..1 as values of the wide test profile."""
    m = np.linalg.inv(_wide_to_xyz()) @ _SRGB_TO_XYZ
    made: Floats = (np.clip(_linear(colour) @ m.T, 0, 1) ** (1 / 2.2)).astype(np.float32)
    return made


def to_cmyk(colour: Floats) -> Floats:
    """sRGB values 0..1 as (h, w, 4) ink amounts whose model is `(1 - ink)(1 - black)`."""
    black = (1 - colour.max(-1, keepdims=True)) * np.float32(0.85)
    inks = 1 - colour / np.maximum(1 - black, 1e-4)
    made: Floats = np.clip(np.concatenate([inks, black], -1), 0, 1).astype(np.float32)
    return made
