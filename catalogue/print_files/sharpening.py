"""Unsharp masking of rows that arrive in bands, at 16 bits, the same bits on every machine.

The definition is that of Pillow's ``ImageFilter.UnsharpMask``: where a sample departs from the picture blurred with a
Gaussian of the radius by more than the threshold, the percentage of that difference is added to it. Pillow blurs by
three box filters that come near a Gaussian (P. Kovesi, "Fast Almost-Gaussian Filtering", DICTA 2010); here it is the
Gaussian itself, cut off at four radii, its weights scaled to add up to one, also where the picture ends.
"""

from collections.abc import Iterable, Iterator
from decimal import Decimal, localcontext
from itertools import tee
from math import ceil

import numpy as np
from numpy.typing import NDArray

from catalogue.print_files.resampling import Resampler, Taps
from catalogue.print_files.spool import InOrder

Pixels = NDArray[np.uint16]
REACH = 4       # radii
DIGITS = 30     # of exponentials, which decimal rounds correctly, as no library's exp does


def gaussian_taps(size: int, radius: float) -> Taps:
    """Weights that blur a side of ``size`` pixels with a Gaussian of that standard deviation in pixels."""
    reach = ceil(REACH * radius)
    with localcontext() as context:
        context.prec = DIGITS
        width = 2 * Decimal(radius) * Decimal(radius)
        bell = np.array([float((-Decimal(k * k) / width).exp()) for k in range(-reach, reach + 1)])
    first = np.arange(size, dtype=np.int64) - reach
    positions = first + np.arange(2 * reach + 1)[:, None]
    weights = np.where((positions < 0) | (positions >= size), 0.0, bell[:, None])
    total = np.zeros(size)
    for row in weights:     # in order, as numpy's own sum is not
        total = total + row
    return Taps(first, (weights / total).astype(np.float32), size)


def sharpened(bands: Iterable[Pixels], width: int, height: int, channels: int, sharpen: tuple[float, float, float],
              lightness_alone: bool = False) -> Iterator[Pixels]:
    """The bands of a picture of that size, sharpened; holds as many rows as the blur reaches.

    ``sharpen``: radius in pixels, amount in percent, threshold in levels of 0–255. ``lightness_alone``: only the first
    channel is sharpened, as it is for Lab.
    """
    radius, amount, threshold = sharpen
    share, least = np.float32(amount / 100), np.float32(threshold * 257)
    blurring, sharpening = tee(bands)
    blur = Resampler(gaussian_taps(width, radius), gaussian_taps(height, radius), channels,
                     lambda rows: np.asarray(rows, np.uint16))
    plain = InOrder(sharpening)
    for blurred in blur.bands(blurring):
        rows = plain.rows(0, len(blurred))
        detail = rows.astype(np.float32) - blurred
        added = np.rint(detail * share)
        added[np.abs(detail) <= least] = 0
        if lightness_alone:
            added[..., 1:] = 0
        yield np.clip(rows + added, 0, 65535).astype(np.uint16)
