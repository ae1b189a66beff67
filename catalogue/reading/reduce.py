"""Exact area averaging of a picture that arrives in bands of rows, in memory that does not grow with it."""

from itertools import pairwise
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.generic]
Floats = NDArray[np.float32]
BATCH = 32  # lines brought to the output's width together
Kind = TypeVar("Kind", bound=np.generic)


def reduced_size(width: int, height: int, long_side: int) -> tuple[int, int]:
    """Width and height with the long side at most ``long_side``, never below 1, never enlarged."""
    scale = min(1.0, long_side / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def area_average(values: Floats, extent: float, count: int) -> Floats:
    """Average along axis 0 into ``count`` equal parts of ``extent``, each input row being one unit long.

    ``extent`` may be fractional: the last row then counts only for its part. Computed as differences of the
    interpolated running sum, in float64, so each output is the exact mean of the area it covers.
    """
    if count == len(values) and extent == count:
        return values
    running = np.zeros((len(values) + 1, *values.shape[1:]))
    np.cumsum(values, axis=0, out=running[1:], dtype=np.float64)
    edges = np.linspace(0.0, extent, count + 1)
    whole = np.minimum(edges.astype(np.intp), len(values) - 1)
    part = (edges - whole).reshape(-1, *([1] * (values.ndim - 1)))
    at_edges = running[whole] + part * values[whole]
    return (np.diff(at_edges, axis=0) * (count / extent)).astype(np.float32)


class Reducer:
    """Takes bands of H × W × C rows from the top down and gives the area average, float32, at the reduced size.

    Works in two exact steps: means of k × k blocks as the rows come (k = how often the long side fits twice, fast
    and cache-friendly), then the fractional rest on what is left.
    """

    def __init__(self, width: int, height: int, channels: int, long_side: int = 1024) -> None:
        self.width, self.height, self.channels = width, height, channels
        self.out_width, self.out_height = reduced_size(width, height, long_side)
        self.block = max(1, max(width, height) // long_side)
        self.rows_done = 0
        self._wide: list[Floats] = []   # lines of block means, width / block long
        self._lines: list[Floats] = []  # batches of lines of the output's width
        self._held: list[Rows] = []   # rows that do not yet fill a block
        self._held_rows = 0

    def add(self, band: Rows) -> None:
        """The next rows, H × W × C, of any real type OpenCV sums (others are taken as float32)."""
        if band.dtype not in (np.uint8, np.uint16, np.float32):
            band = band.astype(np.float32)
        start = 0
        if self._held_rows:
            take = min(self.block - self._held_rows, len(band))
            self._hold(band[:take])
            start = take
            if self._held_rows == self.block:
                self._flush()
        stop = start + (len(band) - start) // self.block * self.block
        for top in range(start, stop, self.block):
            self._line(band[top : top + self.block])
        if stop < len(band):
            self._hold(band[stop:])
        self.rows_done += len(band)

    def result(self) -> Floats:
        """The reduced picture, height × width × channels. Rows that never came are zero."""
        self._flush()
        self._narrow()
        lines = np.zeros((-(-self.height // self.block), self.out_width, self.channels), np.float32)
        if self._lines:
            done = np.concatenate(self._lines)
            lines[: len(done)] = done
        out = np.empty((self.out_height, self.out_width, self.channels), np.float32)
        for channel in range(self.channels):  # one at a time: the running sum is float64
            out[..., channel] = area_average(lines[..., channel], self.height / self.block, self.out_height)
        return out

    def _hold(self, rows: Rows) -> None:
        self._held.append(rows.copy())
        self._held_rows += len(rows)

    def _flush(self) -> None:
        if self._held_rows:
            self._line(np.concatenate(self._held))
            self._held, self._held_rows = [], 0

    def _line(self, rows: Rows) -> None:
        """Reduce one block's height of rows to one line of the output's width."""
        width, channels, block = self.width, self.channels, self.block
        if len(rows) == 1:
            summed = rows.astype(np.float32).reshape(width, channels)
        else:
            flat = rows.reshape(len(rows), width * channels)
            summed = cv2.reduce(flat, 0, cv2.REDUCE_SUM, dtype=cv2.CV_32F).reshape(width, channels)
        summed = summed / np.float32(len(rows))
        if block > 1:
            whole = width // block * block
            means = cv2.reduce(summed[:whole].reshape(-1, block, channels), 1, cv2.REDUCE_AVG, dtype=cv2.CV_32F)
            means = means.reshape(-1, channels)
            if whole < width:
                means = np.concatenate([means, summed[whole:].mean(axis=0, keepdims=True)])
            summed = means
        self._wide.append(summed)
        if len(self._wide) == BATCH:
            self._narrow()

    def _narrow(self) -> None:
        """Bring the lines gathered to the output's width."""
        if self._wide:
            across = np.stack(self._wide, axis=1)
            self._lines.append(np.swapaxes(area_average(across, self.width / self.block, self.out_width), 0, 1))
            self._wide = []


def turned(picture: NDArray[Kind], orientation: int) -> NDArray[Kind]:
    """A picture as it is to be shown: TIFF/Exif orientation 1–8 applied, H × W (× C)."""
    if orientation in (5, 6, 7, 8):
        picture = np.swapaxes(picture, 0, 1)
    flip_rows = orientation in (3, 4, 7, 8)
    flip_columns = orientation in (2, 3, 6, 7)
    return picture[:: -1 if flip_rows else 1, :: -1 if flip_columns else 1]


def rows_at_a_time(row_bytes: int, target: int) -> int:
    """How many rows make about ``target`` bytes; at least one."""
    return max(1, target // max(1, row_bytes))


def spans(total: int, step: int) -> list[tuple[int, int]]:
    """``(start, stop)`` pairs that cover ``total`` in steps."""
    return list(pairwise([*range(0, total, step), total]))
