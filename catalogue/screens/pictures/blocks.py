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
from math import log

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from catalogue.screens.pictures.cells import Colour

Floats = NDArray[np.float32]

ACROSS, DOWN = 4, 8                 # samples of a cell: each as high as wide, and as fine as signs divide a cell
SAMPLES = ACROSS * DOWN
# Luma and two colour differences (ITU-R BT.601), the latter weighed as less: the eye sees them coarser.
CHROMA = 0.35
OPPONENT = ((0.299, 0.5 * CHROMA, -0.169 * CHROMA), (0.587, -0.419 * CHROMA, -0.331 * CHROMA),
            (0.114, -0.081 * CHROMA, 0.5 * CHROMA))
ONE_COLOUR, TWO_COLOURS = 19, 35    # bytes of a code that sets one colour, or both
PRICE = 12.0                        # squared error, summed over the samples of a cell, that a byte is worth
DEARER, TRIES = 2.2, 6              # how the price rises until the picture is within its bytes
AIM, NEAR = 0.95, 0.88              # of its bytes: what is aimed at, and what is near enough
SHARED, SHORT = 128, 1.3            # colours of a picture that is as many times over its bytes
STREAK = 70.0                       # prices of a byte; squared error more than needed at which a cell counts twice
STABLE = (0.03 * 255) ** 2          # below this variance contrast counts for little, as in structural similarity
MOST_FACTOR = 1.5                   # by which a cell's contrast is raised
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
    foreground: NDArray[np.uint8]
    background: NDArray[np.uint8]


@cache
def fillings(blocks: Blocks) -> Floats:
    """Signs × samples: 1 where a sign fills the sample."""
    return np.array([[filled >> at & 1 for at in range(SAMPLES)] for filled in blocks.filled], np.float32)


def fit_within(samples: NDArray[np.uint8], blocks: Blocks, most_bytes: int, page: Colour = (0, 0, 0)) -> Fitted:
    """Cells for samples of shape (rows × DOWN, columns × ACROSS, 3); dearer bytes until they are few enough.

    A last row of half as many samples is the upper half of its cells, in one colour each; the rest is the page's.
    """
    half = bool(samples.shape[0] % DOWN)
    if half:
        samples = np.concatenate([samples, np.full((DOWN // 2, samples.shape[1], 3), page, np.uint8)])
    height, width = samples.shape[0] // DOWN, samples.shape[1] // ACROSS
    cells = samples.astype(np.float32).reshape(height, DOWN, width, ACROSS, 3).transpose(0, 2, 1, 3, 4).reshape(
        height, width, SAMPLES, 3)
    if half:
        cells[-1, :, :SAMPLES // 2] = np.rint(cells[-1, :, :SAMPLES // 2].mean(1, keepdims=True))
    cells, *fitting = keep_contrast(cells, *best_pairs(cells, fillings(blocks)))
    colours = [np.rint(colour) for colour in fitting]
    cheap, dear, price = (PRICE, 0), (0.0, 0), PRICE     # prices and bytes: too many, and few enough
    for _ in range(TRIES):
        fitted, sent = _chosen(cells, colours, price, blocks, half=half)
        if sent <= most_bytes:
            best, dear = fitted, (price, sent)
            if price == PRICE or sent > NEAR * most_bytes:
                break
        else:
            if price == PRICE and sent > SHORT * most_bytes:
                colours = shared_colours(colours, own_rows=int(half))
            cheap = price, sent
        price = _next_price(cheap, dear, most_bytes)
    return best if dear[0] else fitted


def _next_price(cheap: tuple[float, int], dear: tuple[float, int], most_bytes: int) -> float:
    """A price of which about ``most_bytes`` come; bytes fall about as a power of the price."""
    if not dear[0]:
        return cheap[0] * DEARER * cheap[1] / most_bytes
    share = log(cheap[1] / (AIM * most_bytes)) / log(cheap[1] / dear[1])
    return cheap[0] * float((dear[0] / cheap[0]) ** share)


def best_pairs(cells: Floats, filled: Floats) -> tuple[Floats, Floats, Floats]:
    """For each cell the two colours that leave the least error: the means of what the best sign fills, and of the rest.
    And how much more the samples deviate from the cell's mean than these two, as a factor."""
    seen = cells @ np.array(OPPONENT, np.float32)
    inside, outside = filled.sum(1), SAMPLES - filled.sum(1)
    sums, whole = filled @ seen, seen.sum(2)
    rest = whole[:, :, None] - sums
    explained = (sums ** 2).sum(-1) / np.maximum(inside, 1) + (rest ** 2).sum(-1) / np.maximum(outside, 1)
    best = explained.argmax(2)
    of_mean = (whole ** 2).sum(-1) / SAMPLES
    deviations = [np.sqrt(np.maximum(squares - of_mean, 0) / SAMPLES + STABLE)
                  for squares in ((seen ** 2).sum((2, 3)), explained.max(2))]
    with_ink = (cells * filled[best][..., None]).sum(2)
    first = with_ink / np.maximum(inside, 1)[best][..., None]
    second = (cells.sum(2) - with_ink) / np.maximum(outside, 1)[best][..., None]
    first = np.where((inside[best] == 0)[..., None], second, first)
    second = np.where((outside[best] == 0)[..., None], first, second)
    return first, second, deviations[0] / deviations[1]


def keep_contrast(cells: Floats, first: Floats, second: Floats, softness: Floats) -> tuple[Floats, ...]:
    """Cells and their two colours, as far from the cell's mean as makes two colours deviate as the samples did; and
    the means.

    Means of areas deviate less than what they stand for, so texture goes soft. That the deviation be the same is what
    structural similarity asks for: A. C. Öztireli and M. Gross, "Perceptually Based Downscaling of Images", ACM
    Transactions on Graphics 34(4), 2015. No colour goes beyond those of the cell, which would be a halo.
    """
    means, least, most = cells.mean(2), cells.min(2), cells.max(2)
    factor = np.minimum(softness, MOST_FACTOR)[..., None]
    for colour in (first, second):
        away = colour - means
        room = np.where(away > 0, most - means, means - least) / np.maximum(np.abs(away), 1)
        factor = np.minimum(factor, np.where(np.abs(away) > 1, room, MOST_FACTOR).min(-1, keepdims=True))
    factor = np.maximum(factor, 1)
    raised = means[:, :, None] + factor[:, :, None] * (cells - means[:, :, None])
    return raised, means + factor * (first - means), means + factor * (second - means), means


def shared_colours(colours: list[Floats], own_rows: int = 0) -> list[Floats]:
    """Arrays of colours, rows × columns × 3, with each colour replaced by the nearest of those that all share; the last
    ``own_rows`` keep theirs."""
    picture = Image.fromarray(np.concatenate(colours).clip(0, 255).astype(np.uint8))
    few = picture.quantize(SHARED, Image.Quantize.MEDIANCUT, kmeans=1, dither=Image.Dither.NONE).convert("RGB")
    shared = np.split(np.asarray(few, np.float32), len(colours))
    rows = len(shared[0]) - own_rows
    return [np.concatenate([common[:rows], own[rows:]]) for common, own in zip(shared, colours, strict=True)]


def _chosen(cells: Floats, colours: list[Floats], price: float, blocks: Blocks, *, half: bool) -> tuple[Fitted, int]:
    """Colours and signs where a byte costs ``price``, and about how many bytes that takes.

    ``colours``: of each cell the best pair, and the mean. ``half``: the last row fills its upper half, and no more.
    """
    rows, columns = cells.shape[:2]
    opponent, filled = np.array(OPPONENT, np.float32), fillings(blocks)
    seen = cells @ opponent
    # A sign's error is |s - background|² over all samples s of a cell, and |s - foreground|² - |s - background|² over
    # those it fills.
    inside, all_of, squares = (filled @ seen).swapaxes(-1, -2), seen.sum(2), (seen ** 2).sum((2, 3))
    count = filled.sum(1)
    sign_bytes = np.array([len(sign.encode()) for sign in blocks.signs], np.float32)
    first, second, means = colours
    foreground = np.full((rows, 3), UNSET, np.float32)
    background = foreground.copy()
    codes = np.array([0, *[ONE_COLOUR] * 6, TWO_COLOURS, TWO_COLOURS], np.float32)
    each = np.arange(rows)
    patterns = np.zeros((rows, columns), np.int64)
    foregrounds, backgrounds = np.zeros((rows, columns, 3), np.float32), np.zeros((rows, columns, 3), np.float32)
    sent = 0.0
    for column in range(columns):
        a, b, mean = first[:, column], second[:, column], means[:, column]
        # nothing new; new foreground; new background; both
        new_foreground = np.stack([foreground, a, b, mean, foreground, foreground, foreground, a, b], 1)
        new_background = np.stack([background, background, background, background, a, b, mean, b, a], 1)
        foreground_seen, background_seen = new_foreground @ opponent, new_background @ opponent
        ground_squares = (background_seen ** 2).sum(-1)
        gained = ((foreground_seen ** 2).sum(-1) - ground_squares)[..., None] * count \
            - 2 * (foreground_seen - background_seen) @ inside[:, column]
        signs = gained.argmin(-1)
        if half:
            signs[-1] = blocks.signs.index("▀")
        error = squares[:, column][:, None] - 2 * (background_seen @ all_of[:, column][..., None])[..., 0] \
            + SAMPLES * ground_squares + np.take_along_axis(gained, signs[..., None], -1)[..., 0]
        bytes_sent = codes + sign_bytes[signs]
        excess = error - error.min(1, keepdims=True)
        best = (error + excess ** 2 / (STREAK * price) + price * bytes_sent).argmin(1)
        foreground, background = new_foreground[each, best], new_background[each, best]
        patterns[:, column] = signs[each, best]
        foregrounds[:, column], backgrounds[:, column] = foreground, background
        sent += float(bytes_sent[each, best].sum())
    chosen = (np.clip(each_cell, 0, 255).astype(np.uint8) for each_cell in (foregrounds, backgrounds))
    return Fitted(patterns, *chosen), int(sent)
