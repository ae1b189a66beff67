"""Two colours and a block sign for every cell of a picture, fitted to it, and cheap to send.

A terminal cell shows one sign in one colour on another. Quadrants divide it in 2 × 2, sextants in 2 × 3 parts, half
blocks in 1 × 2; the sign says which parts have the one colour. Colours are chosen cell by cell from left to right so
that error plus a price for every byte sent is least: a neighbour that looks nearly alike keeps its colours, and sends
a sign alone. What that costs a cell counts the more the worse the cell comes out, and where bytes are short all cells
share few colours, so that rows which look alike are alike: else each would carry on a tone of its own as a streak.
Pure; on arrays.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float32]

# Luma and two colour differences (ITU-R BT.601), the latter weighed as less: the eye sees them coarser.
CHROMA = 0.35
OPPONENT = ((0.299, 0.5 * CHROMA, -0.169 * CHROMA), (0.587, -0.419 * CHROMA, -0.331 * CHROMA),
            (0.114, -0.081 * CHROMA, 0.5 * CHROMA))
ONE_COLOUR, TWO_COLOURS = 19, 35    # bytes of a code that sets one colour, or both
PRICE = 1.5                         # squared error, summed over the parts of a cell, that a byte is worth
DEARER, TRIES = 2.2, 5              # how the price rises until the picture is within its bytes
SHARED, SHORT = 128, 1.3            # colours of a picture that is as many times over its bytes
STREAK = 70.0                       # prices of a byte; squared error more than needed at which a cell counts twice
UNSET = -1e4                        # farther than any colour from all of them


@dataclass(frozen=True, slots=True)
class Blocks:
    """A way to divide a cell: ``signs[n]`` has ink in the parts whose bits n has, row by row from the upper left."""

    across: int
    down: int
    signs: str

    @property
    def parts(self) -> int:
        """Parts of a cell."""
        return self.across * self.down


def _sextants() -> str:
    """Unicode's Symbols for Legacy Computing: U+1FB00 on, without the four signs that block elements have already."""
    older = {0: " ", 21: "▌", 42: "▐", 63: "█"}
    return "".join(older.get(n) or chr(0x1FB00 + n - 1 - (n > 21) - (n > 42)) for n in range(64))


BLOCKS = {"half blocks": Blocks(1, 2, " ▀▄█"), "quadrants": Blocks(2, 2, " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"),
          "sextants": Blocks(2, 3, _sextants())}


@dataclass(frozen=True, slots=True)
class Fitted:
    """Cells of a picture, rows × columns: which parts have ink, as numbers into the signs; colours of both."""

    patterns: "NDArray[np.int64]"
    ink: "NDArray[np.uint8]"
    ground: "NDArray[np.uint8]"


def fit_within(samples: "NDArray[np.uint8]", blocks: Blocks, most_bytes: int) -> Fitted:
    """Cells for samples of shape (rows × down, columns × across, 3); dearer bytes until they are few enough."""
    import numpy as np

    height, width = samples.shape[0] // blocks.down, samples.shape[1] // blocks.across
    cells = samples.astype(np.float32).reshape(height, blocks.down, width, blocks.across, 3).transpose(
        0, 2, 1, 3, 4).reshape(height, width, blocks.parts, 3)
    colours = [*best_pairs(cells, blocks.parts), np.rint(cells.mean(2))]
    price = PRICE
    for _ in range(TRIES):
        fitted, sent = _chosen(cells, colours, price, len(blocks.signs[1].encode()))
        if sent <= most_bytes:
            break
        if price == PRICE and sent > SHORT * most_bytes:
            colours = shared_colours(colours)
        price *= DEARER * max(1.0, sent / most_bytes)
    return fitted


def best_pairs(cells: "Floats", parts: int) -> "tuple[Floats, Floats]":
    """For each cell the two colours that leave the least error: the means of the best division of its parts in two."""
    import numpy as np

    ink = np.array([[number >> part & 1 for part in range(parts)] for number in range(2 ** (parts - 1))], np.float32)
    inked = ink.sum(1)
    bare = parts - inked
    seen = cells @ np.array(OPPONENT, np.float32)
    sums = np.einsum("mk,rckd->rcmd", ink, seen)
    rest = seen.sum(2)[:, :, None] - sums
    explained = (sums ** 2).sum(-1) / np.maximum(inked, 1) + (rest ** 2).sum(-1) / bare
    best = explained.argmax(2)
    chosen = ink[best]
    with_ink = (cells * chosen[..., None]).sum(2)
    first = with_ink / np.maximum(inked, 1)[best][..., None]
    second = (cells.sum(2) - with_ink) / bare[best][..., None]
    first = np.where((inked[best] == 0)[..., None], second, first)
    return np.rint(first), np.rint(second)


def shared_colours(colours: "list[Floats]") -> "list[Floats]":
    """Arrays of colours, rows × columns × 3, with each colour replaced by the nearest of those that all share."""
    import numpy as np
    from PIL import Image

    picture = Image.fromarray(np.concatenate(colours).clip(0, 255).astype(np.uint8))
    shared = picture.quantize(SHARED, Image.Quantize.MEDIANCUT, kmeans=1, dither=Image.Dither.NONE).convert("RGB")
    return np.split(np.asarray(shared, np.float32), len(colours))


def _chosen(cells: "Floats", colours: "list[Floats]", price: float, sign_bytes: int) -> tuple[Fitted, int]:
    """Colours and patterns where a byte costs ``price``, and about how many bytes that takes.

    ``colours``: of each cell the best pair, and the mean.
    """
    import numpy as np

    rows, columns, parts, _ = cells.shape
    opponent = np.array(OPPONENT, np.float32)
    seen = cells @ opponent
    first, second, means = colours
    ink = np.full((rows, 3), UNSET, np.float32)
    ground = ink.copy()
    codes = np.array([0, *[ONE_COLOUR] * 6, TWO_COLOURS, TWO_COLOURS], np.float32)
    each, weights = np.arange(rows), 2 ** np.arange(parts)
    patterns = np.zeros((rows, columns), np.int64)
    inks, grounds = np.zeros((rows, columns, 3), np.float32), np.zeros((rows, columns, 3), np.float32)
    sent = 0.0
    for column in range(columns):
        a, b, mean = first[:, column], second[:, column], means[:, column]
        # nothing new; new ink; new ground; both
        new_ink = np.stack([ink, a, b, mean, ink, ink, ink, a, b], 1)
        new_ground = np.stack([ground, ground, ground, ground, a, b, mean, b, a], 1)
        wanted = seen[:, column][:, None]
        from_ink = ((wanted - (new_ink @ opponent)[:, :, None]) ** 2).sum(-1)
        from_ground = ((wanted - (new_ground @ opponent)[:, :, None]) ** 2).sum(-1)
        inked = from_ink < from_ground
        bytes_sent = codes + np.where(inked.any(-1), sign_bytes, 1)
        error = np.where(inked, from_ink, from_ground).sum(-1)
        excess = error - error.min(1, keepdims=True)
        best = (error + excess ** 2 / (STREAK * price) + price * bytes_sent).argmin(1)
        ink, ground = new_ink[each, best], new_ground[each, best]
        patterns[:, column] = inked[each, best] @ weights
        inks[:, column], grounds[:, column] = ink, ground
        sent += float(bytes_sent[each, best].sum())
    chosen = (np.clip(each_cell, 0, 255).astype(np.uint8) for each_cell in (inks, grounds))
    return Fitted(patterns, *chosen), int(sent)
