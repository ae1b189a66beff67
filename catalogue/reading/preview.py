"""The preview and its perceptual hashes."""

import io

import imagehash
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pil

from catalogue.reading.model import PictureHash
from catalogue.reading.reduce import turned

LONG_SIDE = 1024
REDUCED = 32  # px a side from which imagehash's pHash is computed
LIBRARY = f"imagehash {imagehash.__version__}"


def encode(picture: NDArray[np.uint8]) -> bytes:
    """H × W × 3 sRGB bytes as WebP."""
    out = io.BytesIO()
    Pil.fromarray(np.ascontiguousarray(picture)).save(out, "WEBP", quality=88, method=2)
    return out.getvalue()


def hashes(picture: NDArray[np.uint8]) -> tuple[PictureHash, ...]:
    """pHash (64 bits) of a picture in its eight orientations, as imagehash computes it.

    Its reduction to 32 × 32, which takes most of the time, is made twice, upright and transposed: it gives the same
    for a mirrored picture.
    """
    grey = Pil.fromarray(np.ascontiguousarray(picture)).convert("L")
    small = [np.asarray(laid.resize((REDUCED, REDUCED), Pil.Resampling.LANCZOS))
             for laid in (grey, grey.transpose(Pil.Transpose.TRANSPOSE))]
    return tuple(
        PictureHash("phash", orientation, str(imagehash.phash(Pil.fromarray(np.ascontiguousarray(
            turned(small[orientation > 4], (orientation - 1) % 4 + 1))))), LIBRARY)
        for orientation in range(1, 9)
    )
