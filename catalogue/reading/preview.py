"""The preview and its perceptual hashes."""

import io

import imagehash
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pil

from catalogue.reading.model import PictureHash
from catalogue.reading.reduce import turned

LONG_SIDE = 1024
REDUCED = 32  # px a side from which a pHash is computed
LIBRARY = f"imagehash {imagehash.__version__}"  # whose values these are
_COSINES = np.cos(np.pi / (2 * REDUCED) * np.outer(np.arange(8), 2 * np.arange(REDUCED) + 1))


def encode(picture: NDArray[np.uint8]) -> bytes:
    """H × W × 3 sRGB bytes as WebP."""
    out = io.BytesIO()
    Pil.fromarray(np.ascontiguousarray(picture)).save(out, "WEBP", quality=88, method=2)
    return out.getvalue()


def hashes(picture: NDArray[np.uint8]) -> tuple[PictureHash, ...]:
    """pHash (64 bits) of a picture in its eight orientations, equal to what imagehash computes.

    Its reduction to 32 × 32, which takes most of the time, is made twice, upright and transposed: it gives the same
    for a mirrored picture.
    """
    grey = Pil.fromarray(np.ascontiguousarray(picture)).convert("L")
    small = [np.asarray(laid.resize((REDUCED, REDUCED), Pil.Resampling.LANCZOS))
             for laid in (grey, grey.transpose(Pil.Transpose.TRANSPOSE))]
    return tuple(PictureHash("phash", orientation, _phash(turned(small[orientation > 4], (orientation - 1) % 4 + 1)),
                             LIBRARY) for orientation in range(1, 9))


def _phash(small: NDArray[np.uint8]) -> str:
    """Which of the 8×8 lowest frequencies (DCT-II, not normalised) of 32×32 px exceed their median, in hex.

    imagehash would load all of SciPy for this transform. Rounded, so that frequencies of plain and even patterns, which
    are zero, stay so.
    """
    lowest = np.round(4 * _COSINES @ small @ _COSINES.T, 6)
    return str(imagehash.ImageHash(lowest > np.median(lowest)))
