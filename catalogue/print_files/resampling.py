"""Separable resampling of 16-bit pictures that arrive in bands of rows, the same bits on every machine.

Kernels, and where they are published: "lanczos3": the sinc windowed by its own main lobe, C. E. Duchon, "Lanczos
Filtering in One and Two Dimensions", Journal of Applied Meteorology 18 (1979), with three lobes a side; "catmull-rom"
and "mitchell": D. P. Mitchell and A. N. Netravali, "Reconstruction Filters in Computer Graphics", SIGGRAPH 1988, with
(B, C) = (0, 1/2) and (1/3, 1/3). When reducing, the kernel is stretched to the size of an output pixel, so that every
pixel of the master counts; beyond the master's edges the weights of what is there are scaled to add up to one.

Sums are taken tap by tap in a fixed order, each product and sum rounded by itself to single precision, as IEEE 754 has
it: no matrix product, no fused multiply-add, no library sine. Only whole pixels are moved by OpenCV.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from math import ceil, pi

import cv2
import numpy as np
from numpy.typing import NDArray

from catalogue.reading.source import Rows

Pixels = NDArray[np.uint16]
Floats = NDArray[np.float32]
Doubles = NDArray[np.float64]

BATCH_FLOATS = 1 << 20      # of rows that are resampled across together
BLOCK_FLOATS = 1 << 16      # of output worked on at once: fits a processor's second cache
SINE_TERMS = 13             # of the Taylor series; on 0 to π/2 the rest is below 1e-16


def sin_pi(x: Doubles) -> Doubles:
    """sin(πx) by additions and multiplications alone, for libraries' sines differ in their last bit. Zero for whole
    numbers, within 2e-16 elsewhere."""
    whole = np.rint(x)
    turn = (x - whole) * pi     # within ±π/2
    square = turn * turn
    term, total = turn, turn.copy()
    for n in range(1, SINE_TERMS):
        term = -term * square / ((2 * n) * (2 * n + 1))
        total = total + term
    return np.where(np.remainder(whole, 2) == 0, total, -total)


def _sinc(x: Doubles) -> Doubles:
    return np.where(x == 0, 1.0, sin_pi(x) / np.where(x == 0, 1.0, pi * x))


def lanczos3(x: Doubles) -> Doubles:
    """sinc(x) sinc(x/3) for |x| < 3."""
    return np.where(np.abs(x) < 3, _sinc(x) * _sinc(x / 3), 0.0)


def _cubic(b: float, c: float) -> Callable[[Doubles], Doubles]:
    def kernel(x: Doubles) -> Doubles:
        x = np.abs(x)
        near = ((12 - 9 * b - 6 * c) * x * x * x + (-18 + 12 * b + 6 * c) * x * x + (6 - 2 * b)) / 6
        far = ((-b - 6 * c) * x * x * x + (6 * b + 30 * c) * x * x + (-12 * b - 48 * c) * x + (8 * b + 24 * c)) / 6
        return np.where(x < 1, near, np.where(x < 2, far, 0.0))
    return kernel


KERNELS: dict[str, tuple[Callable[[Doubles], Doubles], float]] = {     # the function, and where it ends
    "lanczos3": (lanczos3, 3.0), "catmull-rom": (_cubic(0, 0.5), 2.0), "mitchell": (_cubic(1 / 3, 1 / 3), 2.0)}


@dataclass(frozen=True, slots=True)
class Taps:
    """Along one side: output j is the sum over k of ``weights[k, j]`` × input ``first[j] + k``. Inputs outside the
    picture have the weight zero."""

    first: NDArray[np.int64]
    weights: Floats             # taps × outputs
    size: int                   # inputs along the side

    @property
    def copies(self) -> bool:
        """Whether every output is one input, unchanged, in their order."""
        return len(self.weights) == 1 and bool((self.weights == 1).all() and (np.diff(self.first) == 1).all())

    @property
    def begin(self) -> int:
        """The first input that counts."""
        return max(0, int(self.first[0]))

    @property
    def end(self) -> int:
        """One after the last input that counts."""
        return min(self.size, int(self.first[-1]) + len(self.weights))


def taps(kernel: str, size: int, start: float, length: float, count: int) -> Taps:
    """Weights that take ``length`` pixels from ``start`` on, of a side of ``size`` pixels, to ``count`` pixels."""
    function, radius = KERNELS[kernel]
    scale = length / count
    stretch = max(1.0, scale)
    centres = start + (np.arange(count) + 0.5) * scale
    first = np.ceil(centres - radius * stretch - 0.5).astype(np.int64)
    number = ceil(2 * radius * stretch) + 1
    positions = first + np.arange(number)[:, None]
    weights = function((positions + 0.5 - centres) / stretch)
    weights[(positions < 0) | (positions >= size)] = 0.0
    total = np.zeros(count)
    for row in weights:     # in order, as numpy's own sum is not
        total = total + row
    weights = weights / total
    used = np.flatnonzero(weights.any(axis=1))
    return Taps(first + used[0], weights[used[0] : used[-1] + 1].astype(np.float32), size)


class Resampler:
    """Takes bands of rows × width × samples of a whole picture from the top down, gives 16-bit rows of its part
    ``down`` × ``across``. ``prepare`` makes ``channels`` (uint16) of samples, and is given only what counts. Holds some
    output rows, however far it reduces."""

    def __init__(self, across: Taps, down: Taps, channels: int, prepare: Callable[[Rows], Pixels]) -> None:
        self.across, self.down, self.channels, self.prepare = across, down, channels, prepare
        self.row_floats = (across.end - across.begin) * channels
        self.rows_together = max(8, min(128, BATCH_FLOATS // self.row_floats))

    def bands(self, bands: Iterable[Rows]) -> Iterator[Pixels]:
        """The resampled rows, some at a time. Asks for no more bands than it needs."""
        if self.across.copies and self.down.copies:
            yield from self._needed(bands)
            return
        for batch in self._down(self._needed(bands)):
            yield self._across(batch)

    def _needed(self, bands: Iterable[Rows]) -> Iterator[Pixels]:
        """The rows and columns that count, prepared."""
        at = 0
        for band in bands:
            part = band[max(0, self.down.begin - at) : max(0, self.down.end - at), self.across.begin : self.across.end]
            if len(part):
                yield self.prepare(part)
            at += len(band)
            if at >= self.down.end:
                return

    def _down(self, bands: Iterable[Pixels]) -> Iterator[Floats]:
        """Rows resampled down, not yet across: rows × floats. Every input row is added to the outputs it counts in."""
        begins = np.maximum(self.down.first, 0).tolist()
        ends = np.minimum(self.down.first + len(self.down.weights), self.down.size).tolist()
        first, count, step = self.down.first.tolist(), len(self.down.first), self.rows_together
        line, product = np.empty(self.row_floats, np.float32), np.empty(self.row_floats, np.float32)
        batches: dict[int, Floats] = {}
        opened = closed = 0     # outputs begun, and done
        for at, row in enumerate((row for band in bands for row in band), self.down.begin):
            np.copyto(line, row.reshape(-1))
            while opened < count and begins[opened] <= at:
                if opened % step == 0:
                    batches[opened // step] = np.zeros((min(step, count - opened), self.row_floats), np.float32)
                opened += 1
            for j in range(closed, opened):
                np.multiply(line, self.down.weights[at - first[j], j], out=product)
                total = batches[j // step][j % step]
                np.add(total, product, out=total)
            while closed < opened and ends[closed] <= at + 1:
                closed += 1
                if closed % step == 0 or closed == count:
                    yield batches.pop((closed - 1) // step)

    def _across(self, batch: Floats) -> Pixels:
        rows, channels = len(batch), self.channels
        sideways = cv2.transpose(batch.reshape(rows, -1, channels)).reshape(-1, rows * channels)
        count = len(self.across.first)
        done = np.empty((count, rows * channels), np.uint16)
        step = max(1, BLOCK_FLOATS // (rows * channels))
        total, product = (np.empty((step, rows * channels), np.float32) for _ in range(2))
        for start in range(0, count, step):
            stop = min(count, start + step)
            sums, products = total[: stop - start], product[: stop - start]
            sums[:] = 0
            first = self.across.first[start:stop] - self.across.begin
            for k, weights in enumerate(self.across.weights[:, start:stop]):
                np.take(sideways, first + k, axis=0, out=products, mode="clip")
                np.multiply(products, weights[:, None], out=products)
                np.add(sums, products, out=sums)
            np.rint(sums, out=sums)
            np.clip(sums, 0, 65535, out=sums)
            done[start:stop] = sums
        return np.asarray(cv2.transpose(done.reshape(count, rows, channels)), np.uint16).reshape(rows, count, channels)
