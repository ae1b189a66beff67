"""ICC profiles written byte by byte from the layout ICC.1:2022 prints, for checks against littleCMS."""

import struct

import numpy as np

D50 = (0.9642, 1.0, 0.8249)


def s15(value: float) -> bytes:
    """s15Fixed16Number."""
    return struct.pack(">i", round(value * 65536))


def xyz(values: tuple[float, float, float]) -> bytes:
    """XYZType."""
    return b"XYZ \0\0\0\0" + b"".join(map(s15, values))


def gamma(value: float) -> bytes:
    """curveType with one entry, u8Fixed8Number."""
    return b"curv\0\0\0\0" + struct.pack(">IH", 1, round(value * 256)) + b"\0\0"


def table(entries: np.ndarray) -> bytes:
    """curveType with many entries."""
    raw = np.clip(np.rint(entries * 65535), 0, 65535).astype(">u2").tobytes()
    return b"curv\0\0\0\0" + struct.pack(">I", len(entries)) + raw + b"\0" * (len(raw) % 4)


def parametric(function: int, *numbers: float) -> bytes:
    """parametricCurveType."""
    return b"para\0\0\0\0" + struct.pack(">HH", function, 0) + b"".join(map(s15, numbers))


def text(words: str) -> bytes:
    """multiLocalizedUnicodeType with one record."""
    raw = words.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"GB", len(raw), 28) + raw + b"\0" * (-len(raw) % 4)


def profile(space: bytes, tags: dict[bytes, bytes], pcs: bytes = b"XYZ ", kind: bytes = b"mntr") -> bytes:
    """Header, tag table and tags."""
    tags = {b"desc": text("Workshop space"), b"cprt": text("None"), b"wtpt": xyz(D50), **tags}
    offset, entries, body = 132 + 12 * len(tags), b"", b""
    for name, data in tags.items():
        entries += struct.pack(">4sII", name, offset + len(body), len(data))
        body += data
    size = offset + len(body)
    head = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x04400000, kind, space, pcs)
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    head += b"".join(map(s15, D50)) + b"\0" * 48
    return head.ljust(128, b"\0") + struct.pack(">I", len(tags)) + entries + body


def adapted(primaries: tuple[tuple[float, float], ...], white: tuple[float, float]) -> np.ndarray:
    """RGB to XYZ (D50, Bradford) from chromaticities; Lindbloom's method, columns R G B."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    source = np.array([white[0] / white[1], 1.0, (1 - sum(white)) / white[1]])
    native = columns * np.linalg.solve(columns, source)
    bradford = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
    gain = np.diag((bradford @ np.array(D50)) / (bradford @ source))
    return np.linalg.inv(bradford) @ gain @ bradford @ native


def matrix_profile(primaries: tuple[tuple[float, float], ...], white: tuple[float, float], curve: bytes) -> bytes:
    """An RGB display profile of a matrix and one curve for all."""
    columns = adapted(primaries, white).T
    tags = {name: xyz(tuple(column)) for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True)}
    return profile(b"RGB ", tags | dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), curve))


# Chromaticities as published: Adobe RGB (1998), 4.2.1; ROMM RGB (ISO 22028-2); eciRGB v2 (NTSC 1953 primaries, D50).
WIDE = matrix_profile(((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), (0.3127, 0.3290), gamma(563 / 256))
ROMM = matrix_profile(((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001)), (0.3457, 0.3585), gamma(1.8))
NTSC = matrix_profile(((0.67, 0.33), (0.21, 0.71), (0.14, 0.08)), (0.3457, 0.3585),
                      table(np.linspace(0, 1, 1024) ** 2.2))
SRGB_LIKE = matrix_profile(((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), (0.3127, 0.3290),
                           parametric(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
GREY = profile(b"GRAY", {b"kTRC": gamma(2.2)})


def cmyk_profile() -> bytes:
    """A CMYK output profile with a lut16 table of 5⁴ points, invented, enough to be converted through."""
    grid, steps = 5, np.linspace(0, 1, 5)
    c, m, y, k = np.meshgrid(steps, steps, steps, steps, indexing="ij")
    lightness = 100 * (1 - 0.45 * c) * (1 - 0.5 * m) * (1 - 0.08 * y) * (1 - 0.95 * k)
    a = (70 * m - 40 * c) * (1 - k)
    b = (85 * y - 50 * c - 10 * m) * (1 - k)
    lab = np.stack([lightness / 100 * 65280, (a + 128) * 256, (b + 128) * 256], axis=-1)
    ends = struct.pack(">2H", 0, 65535)
    lut = b"mft2\0\0\0\0" + bytes((4, 3, grid, 0)) + b"".join(map(s15, np.eye(3).ravel())) + struct.pack(">2H", 2, 2)
    lut += ends * 4 + np.clip(np.rint(lab), 0, 65535).astype(">u2").tobytes() + ends * 3
    return profile(b"CMYK", {b"A2B0": lut, b"A2B1": lut}, pcs=b"Lab ", kind=b"prtr")
