"""Detecting enlarged pictures: their spectrum ends below what their pixels could carry."""

import numpy as np
from numpy.typing import NDArray

from catalogue.reading.model import Note
from catalogue.reading.source import Rows

SIDE = 256        # of a sample patch, pixels
GRID = 3          # patches across and down
LEAST_DETAIL = 6.0  # standard deviation of a patch, levels of 255
CLIFF_DB = 18.5     # over a factor of 1.4 in frequency


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
        """A note where most patches with enough detail have a spectrum that ends at a cliff."""
        edges = [edge for _, _, patch in self.held if (edge := spectrum_edge(patch * (255 / self.top))) is not None]
        cliffs = [edge for edge in edges if edge > 0]
        if len(edges) < 3 or 3 * len(cliffs) < 2 * len(edges):
            return ()
        share = 2 * float(np.median(cliffs))
        return (Note("upscaled", f"its finest detail ends at {share:.0%} of what its pixels could carry: it was "
                     "probably enlarged from a smaller picture"),)


def spectrum_edge(patch: NDArray[np.float32]) -> float | None:
    """Where a patch's spectrum drops off a cliff, cycles per pixel (0.5 is the most); 0 for no cliff; None for too
    little detail to tell.

    ``patch``: SIDE × SIDE grey in 0..255. A scan's spectrum falls smoothly, also when the optics were soft; enlarging
    by a cubic or Lanczos kernel cuts it off. The drop asked for was chosen on scikit-image's pictures: at the scans'
    own sizes they drop by at most 10.4 dB, blurred by up to 1.2 px at most 16.6, enlarged 1.5 to 3 times by Lanczos 19
    to 30. Linear enlargement and pictures soft before they were enlarged are not told.
    """
    level = np.rint(patch)  # to 8 bits, on which the drop was chosen
    if float(level.std()) < LEAST_DETAIL:
        return None
    window = np.hanning(SIDE).astype(np.float32)
    level -= level.mean()
    power = (np.abs(np.fft.rfft(level * window, axis=1)) ** 2).mean(axis=0)
    power += (np.abs(np.fft.rfft(level * window[:, None], axis=0)) ** 2).mean(axis=1)
    decibel = 10 * np.convolve(np.log10(power / 2 + 1e-9), np.ones(5) / 5, "same")
    starts = np.arange(0.08, 0.34, 0.01)
    drops = decibel[(starts * SIDE).astype(int)] - decibel[(starts * 1.4 * SIDE).astype(int)]
    best = int(np.argmax(drops))
    return float(starts[best] * 1.2) if drops[best] >= CLIFF_DB else 0.0
