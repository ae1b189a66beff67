"""CIELAB and CIEDE2000, vectorised.

Formula: Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula", Color Research & Application 30 (2005).
"""

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

# IEC 61966-2-1, linear sRGB to XYZ, and its white D65
_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = _TO_XYZ.sum(axis=1)


def lab(srgb: npt.NDArray[np.uint8]) -> Floats:
    """…×3 sRGB uint8 to CIELAB under D65 (2° observer)."""
    return linear_to_lab(linear(srgb))


def linear(srgb: npt.NDArray[np.uint8]) -> Floats:
    """…×3 sRGB uint8 to linear light, 0 to 1."""
    return np.asarray(_LINEAR[srgb], np.float64)


def linear_to_lab(rgb: Floats) -> Floats:
    """…×3 linear sRGB to CIELAB under D65."""
    xyz = rgb @ (_TO_XYZ / _WHITE[:, None]).T
    curved = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = curved[..., 0], curved[..., 1], curved[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def _curve() -> Floats:
    v = np.arange(256) / 255.0
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


_LINEAR = _curve()


def delta_e(first: Floats, second: Floats) -> Floats:
    """CIEDE2000 between two arrays …×3 of CIELAB, with kL = kC = kH = 1."""
    l1, a1, b1 = np.moveaxis(np.asarray(first, np.float64), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(second, np.float64), -1, 0)
    mean7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    g = 0.5 * (1 - np.sqrt(mean7 / (mean7 + 25.0**7)))
    a1, a2 = a1 * (1 + g), a2 * (1 + g)
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360, np.degrees(np.arctan2(b2, a2)) % 360
    grey = c1 * c2 == 0
    turn = np.where(grey, 0.0, (h2 - h1 + 180) % 360 - 180)
    # a difference of exactly 180° keeps the sign of h2 − h1, as the paper has it
    turn = np.where((turn == -180) & (h2 - h1 == 180), 180.0, turn)
    dl, dc, dh = l2 - l1, c2 - c1, 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2)
    lm, cm = (l1 + l2) / 2, (c1 + c2) / 2
    hue_wraps = np.abs(h1 - h2) > 180
    total = h1 + h2
    hm = np.where(hue_wraps, np.where(total < 360, (total + 360) / 2, (total - 360) / 2), total / 2)
    hm = np.where(grey, total, hm)
    t = (
        1 - 0.17 * np.cos(np.radians(hm - 30)) + 0.24 * np.cos(np.radians(2 * hm))
        + 0.32 * np.cos(np.radians(3 * hm + 6)) - 0.20 * np.cos(np.radians(4 * hm - 63))
    )
    sl = 1 + 0.015 * (lm - 50) ** 2 / np.sqrt(20 + (lm - 50) ** 2)
    sc, sh = 1 + 0.045 * cm, 1 + 0.015 * cm * t
    rt = -2 * np.sqrt(cm**7 / (cm**7 + 25.0**7)) * np.sin(np.radians(60 * np.exp(-(((hm - 275) / 25) ** 2))))
    squared = (dl / sl) ** 2 + (dc / sc) ** 2 + (dh / sh) ** 2 + rt * (dc / sc) * (dh / sh)
    return np.asarray(np.sqrt(np.maximum(squared, 0.0)), np.float64)
