"""Exact area averaging of a picture that arrives in bands of rows, in memory that does not grow with it."""

from collections.abc import Iterator
from itertools import pairwise
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from catalogue.reading.limits import Deadline, Limits

Rows = NDArray[np.generic]
Floats = NDArray[np.float32]
DROPPED = 1e-3  # share of a pixel
AVERAGED_AT_ONCE = 200_000  # values of the lines that are averaged across in one call
Kind = TypeVar("Kind", bound=np.generic)


def reduced_size(width: int, height: int, long_side: int) -> tuple[int, int]:
    """Width and height with the long side at most ``long_side``, never below 1, never enlarged."""
    scale = min(1.0, long_side / max(width, height))
    return max(1, round(width * scale)), max(1, round(height * scale))


def area_average(values: Floats, count: int) -> Floats:
    """Average lines, N × W × C, along W into ``count`` equal parts, pixels cut where the parts' edges fall.

    OpenCV's area averaging, of up to four channels at once. It leaves out a pixel of which a part has DROPPED or less;
    that is added.
    """
    lines, width, channels = values.shape
    if count == width:
        return values
    fours = [cv2.resize(np.ascontiguousarray(values[..., c : c + 4]), (count, lines), interpolation=cv2.INTER_AREA)
             for c in range(0, channels, 4)]
    means = np.concatenate([four.reshape(lines, count, -1) for four in fours], axis=2)
    edges = np.arange(count + 1) * (width / count)
    for edge, share in ((edges[:-1], np.ceil(edges[:-1]) - edges[:-1]), (edges[1:], edges[1:] - np.floor(edges[1:]))):
        left = np.flatnonzero((share > 0) & (share <= DROPPED) & (edge < width))
        weight = (share[left] * (count / width)).astype(np.float32)
        means[:, left] += values[:, edge[left].astype(np.intp)] * weight[:, None]
    return np.asarray(means, np.float32)


class Reducer:
    """Takes bands of H × W × C rows from the top down and gives the area average, float32, at the reduced size.

    Rows are summed into the output row they fall in, the one on an edge shared out between two; each sum is then
    averaged across, several lines at once where they are short. Holds these sums and the lines done.
    """

    def __init__(self, width: int, height: int, channels: int, long_side: int = 1024) -> None:
        self.width, self.height, self.channels = width, height, channels
        self.out_width, self.out_height = reduced_size(width, height, long_side)
        self.rows_done = 0
        self._edges = [j * height / self.out_height for j in range(1, self.out_height)] + [float(height)]
        self._sum = np.zeros(0, np.float32)   # made with the first rows: a size may be a lie
        self._summed: list[Floats] = []       # lines not averaged across yet
        self._at_once = max(1, AVERAGED_AT_ONCE // (width * channels))
        self._ended = 0
        self._lines: list[Floats] = []

    def add(self, band: Rows) -> None:
        """The next rows, H × W × C, of any real type OpenCV sums (others are taken as float32)."""
        if band.dtype not in (np.uint8, np.uint16, np.float32):
            band = band.astype(np.float32)
        if not len(self._sum):
            self._sum = np.zeros(self.width * self.channels, np.float32)
        flat = band.reshape(len(band), self.width * self.channels)
        at = 0
        while at < len(flat) and self._ended < self.out_height:
            edge = self._edges[self._ended] - self.rows_done   # rows from this band's top to the line's end
            stop = min(len(flat), int(edge))
            if stop > at:
                self._sum += cv2.reduce(flat[at:stop], 0, cv2.REDUCE_SUM, dtype=cv2.CV_32F)[0]
                at = stop
            share = np.float32(edge - at)
            if share >= 1:
                break   # the line goes on in the next band
            row = flat[at].astype(np.float32) if at < len(flat) and share > 0 else None
            if row is None and share > 0:
                break   # the row on the edge is the next band's first
            if row is not None:
                self._sum += share * row
            self._end_line()
            if row is not None:
                self._sum += (1 - share) * row
                at += 1
        self.rows_done += len(flat)

    def result(self) -> Floats:
        """The reduced picture, height × width × channels. Rows that never arrived are zero."""
        self._average()
        missing = np.zeros((self.out_height - self._ended, self.out_width, self.channels), np.float32)
        return np.concatenate([*self._lines, missing])

    def _end_line(self) -> None:
        self._summed.append(self._sum)
        self._sum = np.zeros_like(self._sum)
        self._ended += 1
        if len(self._summed) == self._at_once:
            self._average()

    def _average(self) -> None:
        if self._summed:
            sums = np.stack(self._summed).reshape(-1, self.width, self.channels)
            self._lines.append(area_average(sums, self.out_width) * np.float32(self.out_height / self.height))
            self._summed = []


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


def bands_of(picture: Rows, limits: Limits, deadline: Deadline) -> Iterator[Rows]:
    """A picture held whole as bands of rows. Raises ``OutOfTime``."""
    for start, stop in spans(len(picture), rows_at_a_time(picture[0].nbytes, limits.band_bytes)):
        deadline.check()
        yield picture[start:stop]


def spans(total: int, step: int) -> list[tuple[int, int]]:
    """``(start, stop)`` pairs that cover ``total`` in steps."""
    return list(pairwise([*range(0, total, step), total]))
