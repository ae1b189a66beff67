"""Composing the rows of a print file from those of its picture: white, edge over wrap and bleed, marks."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from catalogue.print_files.channels import LABS
from catalogue.print_files.layout import Box, Layout
from catalogue.reading.reduce import spans

Pixels = NDArray[np.uint16]


class Rows(Protocol):
    """Where the picture's rows come from."""

    def rows(self, start: int, stop: int) -> Pixels:
        """Rows ``start`` to ``stop`` of the picture."""


@dataclass(frozen=True, slots=True)
class Colours:
    """White, black and the edge's colour, each one pixel of the file's channels."""

    white: Pixels
    black: Pixels
    edge: Pixels


def level_colour(levels: tuple[int, ...], space: str, bits: int) -> Pixels:
    """Levels of 0–255 as channels. Lab's axes begin at zero: 128 is neutral."""
    wide = np.array([257] * len(levels))
    if space in LABS and bits == 16:
        wide[0 if space == "ICCLAB" else 1 :] = 256
    return np.asarray(np.array(levels) * wide, np.uint16)


@dataclass(frozen=True, slots=True)
class Edge:
    """Along one side: where each pixel of the filled area is taken from: between ``low`` and ``high``, ``share`` of the
    latter."""

    low: NDArray[np.int64]
    high: NDArray[np.int64]
    share: NDArray[np.float32]


def edge_of(size: int, beyond: int, strip: int) -> Edge:
    """``size`` pixels of picture with ``beyond`` on either end, in which the outermost ``strip`` pixels lie mirrored,
    stretched to ``beyond``; where both are equal each is the mirror's very pixel."""
    inside = np.maximum((np.arange(beyond) + 0.5) * strip / max(1, beyond) - 0.5, 0.0)     # from the edge inwards
    positions = np.concatenate([inside[::-1], np.arange(size, dtype=np.float64), size - 1 - inside])
    low = np.floor(positions).astype(np.int64)
    return Edge(low, np.minimum(low + 1, size - 1), (positions - low).astype(np.float32))


def blended(first: Pixels, second: Pixels, share: NDArray[np.float32]) -> Pixels:
    """Between two pixels, to the nearest level; products and sums in single precision."""
    if not share.any():
        return first
    return np.asarray(np.rint(first * (np.float32(1) - share) + second * share), np.uint16)


def sheet_bands(layout: Layout, picture: Rows, colours: Colours, rows_together: int) -> Iterator[Pixels]:
    """The whole file from the top down, rows × width × channels, white where nothing else is."""
    if layout.picture_alone:
        for start, stop in spans(layout.height, rows_together):
            yield picture.rows(start, stop)
        return
    channels = len(colours.white)
    edges = None
    beyond = layout.picture.left - layout.filled.left
    if beyond:
        edges = (edge_of(layout.picture.height, beyond, layout.strip), edge_of(layout.picture.width, beyond,
                                                                               layout.strip))
    for start, stop in spans(layout.height, rows_together):
        band = np.empty((stop - start, layout.width, channels), np.uint16)
        for box in _around(layout.filled, layout.width, layout.height):
            _fill(band, start, box, colours.white)
        if layout.colour:
            _fill(band, start, layout.colour, colours.edge)
        top, bottom = max(start, layout.filled.top), min(stop, layout.filled.bottom)
        if top < bottom:
            at, to = top - layout.filled.top, bottom - layout.filled.top
            rows = picture.rows(at, to) if edges is None else _edged(picture, at, to, *edges, beyond)
            band[top - start : bottom - start, layout.filled.left : layout.filled.right] = rows
        for mark in layout.marks:
            _fill(band, start, mark, colours.black)
        yield band


def _around(box: Box, width: int, height: int) -> tuple[Box, ...]:
    """The areas of the whole file above, below, left and right of a box."""
    return (Box(0, 0, width, box.top), Box(0, box.bottom, width, height - box.bottom),
            Box(0, box.top, box.left, box.height), Box(box.right, box.top, width - box.right, box.height))


def _fill(band: Pixels, start: int, box: Box, colour: Pixels) -> None:
    band[max(0, box.top - start) : max(0, box.bottom - start), box.left : box.right] = colour


def _edged(picture: Rows, start: int, stop: int, down: Edge, across: Edge, beyond: int) -> Pixels:
    """Rows ``start`` to ``stop`` of the filled area, which reaches ``beyond`` pixels over the picture all round."""
    low, high, share = down.low[start:stop], down.high[start:stop], down.share[start:stop]
    first, last = int(low.min()), int(high.max() if share.any() else low.max())
    rows = picture.rows(first, last + 1)
    if share.any() or not (np.diff(low) == 1).all():
        rows = blended(rows[low - first], rows[np.minimum(high, last) - first], share[:, None, None])
    done = np.empty((len(rows), len(across.low), rows.shape[2]), np.uint16)
    done[:, beyond:-beyond] = rows
    for side in (slice(0, beyond), slice(len(across.low) - beyond, None)):
        done[:, side] = blended(rows[:, across.low[side]], rows[:, across.high[side]], across.share[side, None])
    return done
