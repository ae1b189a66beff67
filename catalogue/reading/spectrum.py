"""Whether a picture has been enlarged: its spectrum then ends below what its pixels could carry."""

import numpy as np
from numpy.typing import NDArray

from .model import Note
from .source import Rows

SIDE = 256        # of a sample patch, pixels
GRID = 3          # patches across and down


class Patches:
    """Full-resolution samples of a picture, gathered from bands as they pass."""

    def __init__(self, width: int, height: int, top: float) -> None:
        self.top = top
        self.row = 0
        self.held: list[tuple[int, int, NDArray[np.float32]]] = []
        if min(width, height) >= 2 * SIDE:
            xs = [int(x) for x in np.linspace(0, width - SIDE, GRID + 2)[1:-1]]
            ys = [int(y) for y in np.linspace(0, height - SIDE, GRID + 2)[1:-1]]
            self.held = [(x, y, np.zeros((SIDE, SIDE), np.float32)) for y in ys for x in xs]

    def add(self, band: Rows) -> None:
        """The next rows, H × W × C."""
        first, last = self.row, self.row + len(band)
        for x, y, patch in self.held:
            start, stop = max(first, y), min(last, y + SIDE)
            if start < stop:
                piece = band[start - first : stop - first, x : x + SIDE, : min(3, band.shape[2])]
                patch[start - y : stop - y] = piece.mean(axis=2, dtype=np.float32)
        self.row = last

    def notes(self) -> tuple[Note, ...]:
        """A note where most patches with enough detail agree that the picture was enlarged."""
        return ()
