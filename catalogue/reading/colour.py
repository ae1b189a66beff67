"""Colours of a reduced picture to sRGB through its embedded profile."""

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pil
from PIL import ImageCms

Floats = NDArray[np.float32]
Bytes = NDArray[np.uint8]


def to_srgb(values: Floats, meaning: str, icc: bytes) -> Bytes:
    """H × W × C in 0..1 (colour channels only) to H × W × 3 sRGB bytes."""
    eight = np.clip(np.rint(values * 255), 0, 255).astype(np.uint8)
    mode = {1: "L", 3: "RGB", 4: "CMYK"}[eight.shape[2]]
    picture = Pil.fromarray(eight[..., 0] if mode == "L" else eight, mode)
    if icc:
        profile = ImageCms.getOpenProfile(io.BytesIO(icc))
        done: Any = ImageCms.profileToProfile(picture, profile, ImageCms.createProfile("sRGB"), outputMode="RGB")
        return np.asarray(done)
    return np.asarray(picture.convert("RGB"))
