"""Two previews overlaid for viewing: the shared part, side by side, blinking, or as a difference.

Pure: works on Pillow pictures; the map comes from likeness.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from PIL import Image, ImageChops

from catalogue.screens.pictures.cells import Mark

LARGEST = 640       # pixels of the long side that are kept for the screen
STRONGER = 4        # a difference is shown this many times as strong
LEAST = 8           # pixels; a smaller overlap is not worth showing


@dataclass(frozen=True, slots=True)
class AlignedPair:
    """One pair for the screen, as picture files in memory: the shared part of each, their difference, all of b.

    ``where`` outlines a on b, as fractions of b.
    """

    first: bytes
    second: bytes
    difference: bytes
    whole: bytes
    shape: tuple[int, int]
    whole_shape: tuple[int, int]
    where: Mark


def align_pair(path_a: Path, path_b: Path, matrix: Sequence[float], size_a: tuple[int, int],
               size_b: tuple[int, int]) -> AlignedPair:
    """Lay picture a on picture b by ``matrix``, the 2×3 map from a's pixels (of ``size_a``) to b's (of ``size_b``).

    Raises:
        OSError: a preview cannot be read.
    """
    with Image.open(path_a) as opened:
        a = opened.convert("RGB")
    with Image.open(path_b) as opened:
        b = opened.convert("RGB")
    forth = _scaled(matrix, a.size, size_a, b.size, size_b)
    left, top, right, bottom = _box(forth, a.size, b.size)
    back = _inverse(forth)
    drawn = a.transform(b.size, Image.Transform.AFFINE, back, Image.Resampling.BICUBIC, fillcolor=(128, 128, 128))
    pair = [picture.crop((left, top, right, bottom)) for picture in (drawn, b)]
    where = (left / b.width, top / b.height, right / b.width, bottom / b.height)
    return AlignedPair(_kept(pair[0]), _kept(pair[1]), _kept(difference(pair[0], pair[1])), _kept(b), pair[0].size,
                       b.size, where)


def difference(image_a: Image.Image, image_b: Image.Image) -> Image.Image:
    """Where two pictures of one size differ, stronger than it is; grey is no difference, lighter means a is."""
    return ImageChops.subtract(image_a, image_b, scale=1 / STRONGER, offset=128)


def _scaled(matrix: Sequence[float], a: tuple[int, int], size_a: tuple[int, int], b: tuple[int, int],
            size_b: tuple[int, int]) -> tuple[float, ...]:
    """The map scaled to the previews' present sizes, in case they differ from those it was computed on."""
    fa = a[0] / size_a[0] if size_a[0] else 1.0
    fb = b[0] / size_b[0] if size_b[0] else 1.0
    m = [float(v) for v in matrix]
    return m[0] * fb / fa, m[1] * fb / fa, m[2] * fb, m[3] * fb / fa, m[4] * fb / fa, m[5] * fb


def _inverse(m: Sequence[float]) -> tuple[float, ...]:
    """The inverse map, in Pillow's form."""
    a, b, c, d, e, f = m
    det = a * e - b * d
    if abs(det) < 1e-12:
        return 1.0, 0.0, 0.0, 0.0, 1.0, 0.0
    return e / det, -b / det, (b * f - c * e) / det, -d / det, a / det, (c * d - a * f) / det


def _box(m: Sequence[float], a: tuple[int, int], b: tuple[int, int]) -> tuple[int, int, int, int]:
    """What a covers of b, in b's pixels; all of b where that is next to nothing."""
    points = [(m[0] * x + m[1] * y + m[2], m[3] * x + m[4] * y + m[5])
              for x, y in ((0, 0), (a[0], 0), (0, a[1]), a)]
    xs, ys = zip(*points, strict=True)
    left, right = max(0, round(min(xs))), min(b[0], round(max(xs)))
    top, bottom = max(0, round(min(ys))), min(b[1], round(max(ys)))
    if right - left < LEAST or bottom - top < LEAST:
        return 0, 0, b[0], b[1]
    return left, top, right, bottom


def _kept(picture: Image.Image) -> bytes:
    small = picture.copy()
    small.thumbnail((LARGEST, LARGEST))
    out = BytesIO()
    small.save(out, "BMP")  # quick to write and to read; it never leaves memory
    return out.getvalue()
