"""Conversion between two RGB profiles of a matrix and curves: by tables that littleCMS fills, and that it then judges.

littleCMS takes 190 ns a pixel for such a pair at 16 bits without its shortcut tables. What it computes is a curve a
channel, a matrix, and a curve a channel again; each is asked of it once, for every level.
"""

from collections.abc import Callable

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.reading.profile import is_matrix

Pixels = NDArray[np.uint16]
Doubles = NDArray[np.float64]
EXACT = imagecodecs.CMS.FLAGS.NOOPTIMIZE | imagecodecs.CMS.FLAGS.NOCACHE    # its tables are off by thousands of levels
LEVELS = 1 << 16
STEPS = 1 << 20         # of the table from light to level; its index is the root of the light, finer in the dark
CHUNK = 1 << 14         # pixels at a time: what is worked on stays in a processor's cache
TRIED = 40_000
MOST_APART = 1          # levels of 65535 from littleCMS, on the colours tried


def shaper(source: bytes, to: bytes, exact: Callable[[Pixels], Pixels]) -> Callable[[Pixels], Pixels] | None:
    """What takes rows × width × 3 from one profile to the other as ``exact`` does, to a level; None if one of them
    is none of a matrix and curves, or the tables depart from ``exact``."""
    if not (is_matrix(source) and is_matrix(to)):
        return None
    light, columns = _light(source)
    target_light, target_columns = _light(to)
    mix = _product(_inverse(target_columns), columns).astype(np.float32)
    curves = light.astype(np.float32)
    roots = np.arange(STEPS + 1) / STEPS
    tables = [np.rint(np.interp(roots * roots, channel, np.arange(float(LEVELS)))).astype(np.uint16)
              for channel in np.maximum.accumulate(target_light, axis=1)]

    def convert(pixels: Pixels) -> Pixels:
        flat = pixels.reshape(-1, 3)
        done = np.empty_like(flat)
        for start in range(0, len(flat), CHUNK):
            part = flat[start : start + CHUNK]
            lights = [curves[c].take(part[:, c]) for c in range(3)]
            for c in range(3):
                total = mix[c, 0] * lights[0]
                total += mix[c, 1] * lights[1]
                total += mix[c, 2] * lights[2]
                np.clip(total, 0, 1, out=total)
                np.sqrt(total, out=total)
                total *= np.float32(STEPS)
                total += np.float32(0.5)
                done[start : start + CHUNK, c] = tables[c].take(total.astype(np.int32))
        return done.reshape(pixels.shape)

    tried = np.random.default_rng(1).integers(0, LEVELS, (TRIED // 100, 100, 3)).astype(np.uint16)
    tried[: TRIED // 200] >>= np.arange(16, dtype=np.uint16)[np.arange(100) % 16][:, None]     # half of them dark ones
    error = np.abs(convert(tried).astype(np.int32) - exact(tried))
    return convert if error.max() <= MOST_APART else None


def _light(icc: bytes) -> tuple[Doubles, Doubles]:
    """Light of every level, channels × levels, 1 at the top; and XYZ (D50) of the three channels, as columns."""
    ramps = np.zeros((3, LEVELS, 3), np.uint16)
    for channel in range(3):
        ramps[channel, :, channel] = np.arange(LEVELS)
    xyz = np.asarray(imagecodecs.cms_transform(ramps, icc, imagecodecs.cms_profile("xyz"), colorspace="rgb",
                                               outcolorspace="xyz", outdtype="float64", intent=1, flags=int(EXACT)))
    tops = xyz[:, -1]
    strongest = np.argmax(tops, axis=1)
    return np.stack([xyz[c, :, strongest[c]] / tops[c, strongest[c]] for c in range(3)]), tops.T


def _inverse(m: Doubles) -> Doubles:
    """By cofactors, in one order of operations on every machine."""
    rows = [[m[(j + 1) % 3, (i + 1) % 3] * m[(j + 2) % 3, (i + 2) % 3]
             - m[(j + 1) % 3, (i + 2) % 3] * m[(j + 2) % 3, (i + 1) % 3] for j in range(3)] for i in range(3)]
    determinant = m[0, 0] * rows[0][0] + m[0, 1] * rows[1][0] + m[0, 2] * rows[2][0]
    return np.asarray(np.array(rows) / determinant, np.float64)


def _product(a: Doubles, b: Doubles) -> Doubles:
    return np.array([[a[i, 0] * b[0, j] + a[i, 1] * b[1, j] + a[i, 2] * b[2, j] for j in range(3)] for i in range(3)])
