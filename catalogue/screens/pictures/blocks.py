"""Two colours and a block sign for every cell of a picture, fitted to it, and cheap to send.

A terminal cell shows one sign in one colour on another. A sign fills some of the cell: a half, quadrants, sextants, so
many eighths from below or quarters from the left; an edge in the picture is drawn by the sign that lies nearest to it.
Colours are chosen cell by cell from left to right so that error plus a price for every byte sent is least: a neighbour
that looks nearly alike keeps its colours, and sends a sign alone. What that costs a cell counts the more the worse the
cell comes out, and where bytes are short all cells share few colours, so that rows which look alike are alike: else
each would carry on a tone of its own as a streak. Pure; on arrays.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Floats = NDArray[np.float32]

ACROSS, DOWN = 4, 8                 # samples of a cell: each as high as wide, and as fine as signs divide a cell
SAMPLES = ACROSS * DOWN
# Luma and two colour differences (ITU-R BT.601), the latter weighed as less: the eye sees them coarser.
CHROMA = 0.35
OPPONENT = ((0.299, 0.5 * CHROMA, -0.169 * CHROMA), (0.587, -0.419 * CHROMA, -0.331 * CHROMA),
            (0.114, -0.081 * CHROMA, 0.5 * CHROMA))
ONE_COLOUR, TWO_COLOURS = 19, 35    # bytes of a code that sets one colour, or both
PRICE = 12.0                        # squared error, summed over the samples of a cell, that a byte is worth
DEARER, TRIES = 2.2, 5              # how the price rises until the picture is within its bytes
SHARED, SHORT = 128, 1.3            # colours of a picture that is as many times over its bytes
STREAK = 70.0                       # prices of a byte; squared error more than needed at which a cell counts twice
UNSET = -1e4                        # farther than any colour from all of them

Rectangle = tuple[int, int, int, int]   # left, top, right, bottom in samples
QUARTERS: tuple[Rectangle, ...] = ((0, 0, 2, 4), (2, 0, 4, 4), (0, 4, 2, 8), (2, 4, 4, 8))
# Thirds of a cell to the nearest sample; a terminal rounds them to its pixels too.
SIXTHS: tuple[Rectangle, ...] = ((0, 0, 2, 3), (2, 0, 4, 3), (0, 3, 2, 5), (2, 3, 4, 5), (0, 5, 2, 8), (2, 5, 4, 8))


@dataclass(frozen=True, slots=True)
class Blocks:
    """The signs to draw with, and of each the samples of a cell that it fills, as bits, row by row from the upper
    left."""

    signs: str
    filled: tuple[int, ...]


def _bits(*filled: Rectangle) -> int:
    return sum(1 << y * ACROSS + x for left, top, right, bottom in filled
               for y in range(top, bottom) for x in range(left, right))


def _parts(signs: str, parts: tuple[Rectangle, ...]) -> dict[str, int]:
    """Signs of which number n fills the parts whose bits n has."""
    return {sign: _bits(*(part for at, part in enumerate(parts) if number >> at & 1))
            for number, sign in enumerate(signs)}


def _blocks(*kinds: dict[str, int]) -> Blocks:
    """All signs of these kinds; where two fill the same, the first."""
    signs = {filled: sign for kind in reversed(kinds) for sign, filled in kind.items()}
    return Blocks("".join(signs.values()), tuple(signs))


def _sextants() -> str:
    """Unicode's Symbols for Legacy Computing: U+1FB00 on, without the four signs that block elements have already."""
    older = {0: " ", 21: "▌", 42: "▐", 63: "█"}
    return "".join(older.get(n) or chr(0x1FB00 + n - 1 - (n > 21) - (n > 42)) for n in range(64))


_QUADRANTS = _parts(" ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█", QUARTERS)
_EIGHTHS = {sign: _bits((0, DOWN - height, ACROSS, DOWN)) for height, sign in enumerate("▁▂▃▄▅▆▇", 1)} \
    | {sign: _bits((0, 0, width, DOWN)) for width, sign in enumerate("▎▌▊", 1)}
BLOCKS = {"half blocks": _blocks(_parts(" ▀▄█", ((0, 0, 4, 4), (0, 4, 4, 8)))),
          "quadrants": _blocks(_QUADRANTS, _EIGHTHS),
          "sextants": _blocks(_QUADRANTS, _EIGHTHS, _parts(_sextants(), SIXTHS))}


@dataclass(frozen=True, slots=True)
class Fitted:
    """Cells of a picture, rows × columns: numbers of their signs; colours of what these fill, and of the rest."""

    patterns: NDArray[np.int64]
    ink: NDArray[np.uint8]
    ground: NDArray[np.uint8]


@cache
def fillings(blocks: Blocks) -> Floats:
    """Signs × samples: 1 where a sign fills the sample."""
    return np.array([[filled >> at & 1 for at in range(SAMPLES)] for filled in blocks.filled], np.float32)


def fit_within(samples: NDArray[np.uint8], blocks: Blocks, most_bytes: int) -> Fitted:
    """Cells for samples of shape (rows × DOWN, columns × ACROSS, 3); dearer bytes until they are few enough."""
    height, width = samples.shape[0] // DOWN, samples.shape[1] // ACROSS
    cells = samples.astype(np.float32).reshape(height, DOWN, width, ACROSS, 3).transpose(0, 2, 1, 3, 4).reshape(
        height, width, SAMPLES, 3)
    colours = [*best_pairs(cells, fillings(blocks)), np.rint(cells.mean(2))]
    price = PRICE
    for _ in range(TRIES):
        fitted, sent = _chosen(cells, colours, price, blocks)
        if sent <= most_bytes:
            break
        if price == PRICE and sent > SHORT * most_bytes:
            colours = shared_colours(colours)
        price *= DEARER * max(1.0, sent / most_bytes)
    return fitted


def best_pairs(cells: Floats, filled: Floats) -> tuple[Floats, Floats]:
    """For each cell the two colours that leave the least error: the means of what the best sign fills, and of the rest.
    """
    seen = cells @ np.array(OPPONENT, np.float32)
    inside, outside = filled.sum(1), SAMPLES - filled.sum(1)
    sums = filled @ seen
    rest = seen.sum(2)[:, :, None] - sums
    best = ((sums ** 2).sum(-1) / np.maximum(inside, 1) + (rest ** 2).sum(-1) / np.maximum(outside, 1)).argmax(2)
    with_ink = (cells * filled[best][..., None]).sum(2)
    first = with_ink / np.maximum(inside, 1)[best][..., None]
    second = (cells.sum(2) - with_ink) / np.maximum(outside, 1)[best][..., None]
    first = np.where((inside[best] == 0)[..., None], second, first)
    second = np.where((outside[best] == 0)[..., None], first, second)
    return np.rint(first), np.rint(second)


def shared_colours(colours: list[Floats]) -> list[Floats]:
    """Arrays of colours, rows × columns × 3, with each colour replaced by the nearest of those that all share."""
    picture = Image.fromarray(np.concatenate(colours).clip(0, 255).astype(np.uint8))
    shared = picture.quantize(SHARED, Image.Quantize.MEDIANCUT, kmeans=1, dither=Image.Dither.NONE).convert("RGB")
    return np.split(np.asarray(shared, np.float32), len(colours))


def _chosen(cells: Floats, colours: list[Floats], price: float, blocks: Blocks) -> tuple[Fitted, int]:
    """Colours and signs where a byte costs ``price``, and about how many bytes that takes.

    ``colours``: of each cell the best pair, and the mean.
    """
    rows, columns = cells.shape[:2]
    opponent, filled = np.array(OPPONENT, np.float32), fillings(blocks)
    seen = cells @ opponent
    # A sign's error is |s - ground|² over all samples s of a cell, and |s - ink|² - |s - ground|² over those it fills.
    inside, all_of, squares = (filled @ seen).swapaxes(-1, -2), seen.sum(2), (seen ** 2).sum((2, 3))
    count = filled.sum(1)
    sign_bytes = np.array([len(sign.encode()) for sign in blocks.signs], np.float32)
    first, second, means = colours
    ink = np.full((rows, 3), UNSET, np.float32)
    ground = ink.copy()
    codes = np.array([0, *[ONE_COLOUR] * 6, TWO_COLOURS, TWO_COLOURS], np.float32)
    each = np.arange(rows)
    patterns = np.zeros((rows, columns), np.int64)
    inks, grounds = np.zeros((rows, columns, 3), np.float32), np.zeros((rows, columns, 3), np.float32)
    sent = 0.0
    for column in range(columns):
        a, b, mean = first[:, column], second[:, column], means[:, column]
        # nothing new; new ink; new ground; both
        new_ink = np.stack([ink, a, b, mean, ink, ink, ink, a, b], 1)
        new_ground = np.stack([ground, ground, ground, ground, a, b, mean, b, a], 1)
        in_ink, in_ground = new_ink @ opponent, new_ground @ opponent
        ground_squares = (in_ground ** 2).sum(-1)
        gained = ((in_ink ** 2).sum(-1) - ground_squares)[..., None] * count \
            - 2 * (in_ink - in_ground) @ inside[:, column]
        signs = gained.argmin(-1)
        error = squares[:, column][:, None] - 2 * (in_ground @ all_of[:, column][..., None])[..., 0] \
            + SAMPLES * ground_squares + np.take_along_axis(gained, signs[..., None], -1)[..., 0]
        bytes_sent = codes + sign_bytes[signs]
        excess = error - error.min(1, keepdims=True)
        best = (error + excess ** 2 / (STREAK * price) + price * bytes_sent).argmin(1)
        ink, ground = new_ink[each, best], new_ground[each, best]
        patterns[:, column] = signs[each, best]
        inks[:, column], grounds[:, column] = ink, ground
        sent += float(bytes_sent[each, best].sum())
    chosen = (np.clip(each_cell, 0, 255).astype(np.uint8) for each_cell in (inks, grounds))
    return Fitted(patterns, *chosen), int(sent)
