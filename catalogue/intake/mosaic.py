"""Arranging captures before their stitched master exists: all positions in one frame, and the map."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from catalogue.intake.overlap import Arrangement, Overlap
from catalogue.likeness import tiles
from catalogue.likeness.tiles import TilePosition

CELL = 2.1      # a character cell is about so many times as high as wide, as the drawing has it
COLUMNS = 48
LEAST_COLUMNS = 12
Affine = npt.NDArray[np.float64]  # 3×3


@dataclass(frozen=True, slots=True)
class TileMap:
    """Where tiles lie: in their stitched master, or on each other. ``aspect``: width over height of the frame."""

    positions: tuple[TilePosition, ...]
    aspect: float

    def drawn(self, columns: int = COLUMNS, rows: int = 0) -> str:
        """The map for the terminal in at most so many columns, and rows where given; below it the files' names with
        their numbers."""
        inner = min(columns - 2, round((rows - 3) * CELL * self.aspect)) if rows else columns - 2
        return _drawn(self, max(LEAST_COLUMNS, inner), max(columns, LEAST_COLUMNS + 2))


@lru_cache(64)  # the cursor goes up and down the same few
def _drawn(tile_map: TileMap, inner: int, width: int) -> str:
    legend, line = [], ""
    for number, position in enumerate(tile_map.positions, 1):
        entry = f"{number} {position.tile}"
        if line and len(line) + 3 + len(entry) > width:
            legend.append(line)
            line = ""
        line = f"{line}   {entry}" if line else entry
    return "\n".join([tiles.draw(tile_map.positions, tile_map.aspect, inner), *legend, line])


def mosaic(names: Sequence[str], sizes: Sequence[tuple[float, float]], laid: Mapping[tuple[int, int], Overlap],
           start: int = 0) -> TileMap | None:
    """The captures that hang together with the one at ``start``, each laid on its surest neighbour; None if it alone.

    ``laid`` is keyed by places in ``names``; ``sizes`` are widths and heights in one unit.
    """
    width, height = sizes[start]
    frames: dict[int, Affine] = {start: np.diag([width, height, 1.0])}  # a tile's own unit square into the frame
    links = sorted(((i, j, overlap) for (i, j), overlap in laid.items()
                    if overlap.arrangement in (Arrangement.BESIDE, Arrangement.CORNER,
                                               Arrangement.SAME) and abs(np.linalg.det(_on(overlap))) > 1e-6),
                   key=lambda link: -link[2].strip)
    while step := next((link for link in links if (link[0] in frames) != (link[1] in frames)), None):
        i, j, overlap = step
        if i in frames:
            frames[j] = frames[i] @ np.linalg.inv(_on(overlap))
        else:
            frames[i] = frames[j] @ _on(overlap)
    if len(frames) < 2:
        return None
    first = min(frames)  # all as the first one was laid, so that the map does not turn with a turned tile
    upright = np.diag([*sizes[first], 1.0]) @ np.linalg.inv(frames[first])
    frames = {number: upright @ frame for number, frame in frames.items()}
    square = np.array([[0, 1, 1, 0], [0, 0, 1, 1], [1, 1, 1, 1]], float)
    corners = {number: (frame @ square)[:2].T for number, frame in frames.items()}
    every = np.concatenate(list(corners.values()))
    low, span = every.min(axis=0), np.ptp(every, axis=0)
    positions = tuple(TilePosition(names[n], tuple((float(x), float(y)) for x, y in (corners[n] - low) / span), 0.0)
                      for n in sorted(corners))
    return TileMap(positions, float(span[0] / span[1]))


def _on(overlap: Overlap) -> Affine:
    """a's unit square into b's."""
    origin, right, _, down = (np.array(corner) for corner in overlap.corners)
    return np.array([[right[0] - origin[0], down[0] - origin[0], origin[0]],
                     [right[1] - origin[1], down[1] - origin[1], origin[1]], [0.0, 0.0, 1.0]])
