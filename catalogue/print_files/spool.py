"""A picture's rows in any order, also turned, from rows that arrive once from the top down.

Rows needed in another order go through an unnamed temporary file beside the target: memory holds a band or a strip of
columns, and a killed program leaves nothing behind.
"""

import os
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType

import cv2
import numpy as np
from numpy.typing import NDArray

from catalogue.reading.reduce import turned
from catalogue.storage.medium import writing

Pixels = NDArray[np.uint16]
PANEL_BYTES = 16 << 20


def turned_orientation(orientation: int, degrees: int) -> int:
    """The orientation (TIFF 6.0, tag 274: 1–8) of a picture of that orientation turned clockwise besides."""
    after = {1: 6, 6: 3, 3: 8, 8: 1, 2: 7, 7: 4, 4: 5, 5: 2}    # a quarter turn clockwise
    for _ in range(degrees // 90):
        orientation = after[orientation]
    return orientation


class InOrder:
    """Rows asked for from the top down, each once, straight from the bands."""

    def __init__(self, bands: Iterable[Pixels]) -> None:
        self._bands = iter(bands)
        self._left: Pixels | None = None    # of the last band

    def rows(self, start: int, stop: int) -> Pixels:
        """The next ``stop - start`` rows. Raises ``EOFError`` where the bands end before."""
        need, parts = stop - start, []
        while need:
            band = next(self._bands, None) if self._left is None else self._left
            if band is None:
                raise EOFError("the picture ends before its rows do")
            parts.append(band[:need])
            self._left = band[need:] if len(band) > need else None
            need -= len(parts[-1])
        return parts[0] if len(parts) == 1 else np.concatenate(parts)


class Spool:
    """Rows asked for in any order, of the picture turned to its ``orientation``. Used as a context manager."""

    def __init__(self, target: Path, width: int, height: int, channels: int, orientation: int) -> None:
        self.width, self.height, self.channels, self.orientation = width, height, channels, orientation
        self.sideways = orientation > 4     # kept as strips of columns, each whole
        pixel = 2 * channels
        self.panel = min(width, max(1, PANEL_BYTES // (height * pixel))) if self.sideways else width
        self._target, self._row, self._cached = target, 0, (-1, np.empty(0, np.uint16))
        with writing(target):
            self._file = tempfile.TemporaryFile(dir=target.parent)   # noqa: SIM115 - closed on leaving

    def __enter__(self) -> "Spool":
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self._file.close()

    def add(self, band: Pixels) -> None:
        """The next rows as they come. Raises NoRoom and other :class:`CatalogueError`."""
        pixel = 2 * self.channels
        with writing(self._target):
            for left in range(0, self.width, self.panel):
                part = np.ascontiguousarray(band[:, left : left + self.panel])
                offset = (left * self.height + self._row * part.shape[1]) * pixel
                self._write(memoryview(part.data).cast("B"), offset)
        self._row += len(band)

    def _write(self, data: memoryview, offset: int) -> None:
        while data:
            count = os.pwrite(self._file.fileno(), data, offset)
            data, offset = data[count:], offset + count

    def rows(self, start: int, stop: int) -> Pixels:
        """Rows of the turned picture."""
        long = self.width if self.sideways else self.height
        if self.orientation in ((3, 4) if not self.sideways else (7, 8)):
            start, stop = long - stop, long - start
        if not self.sideways:
            return turned(self._read(0, self.width, start, stop), self.orientation)
        part = np.ascontiguousarray(self._columns(start, stop))
        across = np.asarray(cv2.transpose(part), np.uint16).reshape(stop - start, self.height, self.channels)
        return turned(across, self.orientation - 4)     # 5 to 8 are 1 to 4 with the sides changed

    def _columns(self, start: int, stop: int) -> Pixels:
        parts = []
        for left in range(start // self.panel * self.panel, stop, self.panel):
            if self._cached[0] != left:
                self._cached = (left, self._read(left, min(self.panel, self.width - left), 0, self.height))
            parts.append(self._cached[1][:, max(0, start - left) : stop - left])
        return parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)

    def _read(self, left: int, width: int, start: int, stop: int) -> Pixels:
        data = np.empty((stop - start, width, self.channels), np.uint16)
        view, offset = memoryview(data.data).cast("B"), (left * self.height + start * width) * 2 * self.channels
        with writing(self._target):
            while view:
                count = os.preadv(self._file.fileno(), [view], offset)
                if not count:
                    raise EOFError("the temporary file ends before its rows do")
                view, offset = view[count:], offset + count
        return data


def spooled(spool: Spool, bands: Iterable[Pixels]) -> Iterator[int]:
    """Fill a spool; the rows done so far, after each band."""
    done = 0
    for band in bands:
        spool.add(band)
        done += len(band)
        yield done
