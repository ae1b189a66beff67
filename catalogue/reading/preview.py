"""The preview and its perceptual hashes."""

import io

import imagehash
import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pil

from catalogue.reading.model import PictureHash
from catalogue.reading.reduce import turned

LONG_SIDE = 1024
LIBRARY = f"imagehash {imagehash.__version__}"


def encode(picture: NDArray[np.uint8]) -> bytes:
    """H × W × 3 sRGB bytes as WebP."""
    out = io.BytesIO()
    Pil.fromarray(np.ascontiguousarray(picture)).save(out, "WEBP", quality=88, method=2)
    return out.getvalue()


def hashes(picture: NDArray[np.uint8]) -> tuple[PictureHash, ...]:
    """pHash (64 bits) of a picture in its eight orientations, as imagehash computes it."""
    grey = np.asarray(Pil.fromarray(np.ascontiguousarray(picture)).convert("L"))
    return tuple(
        PictureHash(
            "phash", orientation,
            str(imagehash.phash(Pil.fromarray(np.ascontiguousarray(turned(grey, orientation))))), LIBRARY
        )
        for orientation in range(1, 9)
    )
