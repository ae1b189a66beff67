"""From stored samples to colour values in 0..1: palettes, inversion, alpha, signed and float samples."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .source import Rows, Source

Floats = NDArray[np.float32]
COLOUR_CHANNELS = {"grey": 1, "mask": 1, "palette": 3, "CMYK": 4}
LABS = ("CIELAB", "ICCLAB", "ITULAB")


class Rendering:
    """How one picture's samples are read as colours. ``prepare`` per band, ``finish`` on the reduced picture."""

    def __init__(self, source: Source) -> None:
        assert source.picture is not None and source.samples is not None
        picture = source.picture
        self.palette = source.palette if source.palette is not None and len(source.palette) else None
        self.inverted = source.white_is_zero
        self.meaning = picture.photometric
        self.bits = picture.bits
        self.kind = source.samples.dtype
        stored = source.samples.channels
        wanted = COLOUR_CHANNELS.get(self.meaning, 3)
        self.colours = 3 if self.palette is not None else wanted if stored >= wanted else 1
        if self.meaning == "palette" and self.palette is None:
            self.colours = 1
        self.alpha = picture.alpha if picture.alpha in ("associated", "unassociated") else ""
        self.alpha_at = stored - 1 if self.palette is None and stored > self.colours else None
        if self.alpha and self.alpha_at is not None:
            self.alpha_at = min(self.colours, stored - 1)
        else:
            self.alpha, self.alpha_at = "", None
        self.channels = self.colours + (1 if self.alpha else 0)
        table = self.palette.tobytes() if self.palette is not None else b""
        self.extra = picture.profile_digest.encode() + table

    def prepare(self, band: Rows) -> Rows:
        """The channels to be averaged, so that averaging is meaningful."""
        if self.palette is not None:
            index = np.minimum(band[..., 0], len(self.palette) - 1)
            return np.asarray(self.palette[index])
        if self.meaning in ("CIELAB", "ITULAB", "ICCLAB") and self.meaning == "CIELAB" and band.dtype.kind == "u":
            half = 1 << (8 * band.dtype.itemsize - 1)
            band = band.copy()
            band[..., 1:3] ^= half
        if self.alpha == "unassociated":
            return self._premultiplied(band)
        return np.ascontiguousarray(band[..., : self.channels])

    def _premultiplied(self, band: Rows) -> Rows:
        opacity = band[..., self.colours : self.colours + 1]
        top = self._top()
        if opacity.min() == top:
            return np.ascontiguousarray(band[..., : self.channels])
        out = band[..., : self.channels].astype(np.float32)
        out[..., : self.colours] *= opacity.astype(np.float32) / top
        return out

    def _top(self) -> float:
        if self.palette is not None:
            return 65535.0
        if self.kind.kind == "f":
            return 1.0
        return float((1 << self.bits) - 1)

    def finish(self, values: Floats) -> tuple[Floats, str]:
        """Colour values in 0..1 over white, H × W × colours, and what they mean."""
        values = self._scaled(values)
        colours = values[..., : self.colours]
        if self.inverted:
            colours = (values[..., self.colours :] if self.alpha else np.float32(1)) - colours
        if self.alpha:
            paper: Any = 0.0 if self.meaning == "CMYK" else 1.0
            colours = colours + (1 - values[..., self.colours :]) * paper
        return np.clip(colours, 0, 1), self.meaning

    def _scaled(self, values: Floats) -> Floats:
        if self.kind.kind == "u":
            return values / np.float32(self._top())
        if self.kind.kind == "i":
            half = float(1 << (self.bits - 1))
            return (values + np.float32(half)) / np.float32(2 * half - 1)
        values = np.nan_to_num(values, nan=0.0, posinf=0.0, neginf=0.0)
        low, high = float(values.min()), float(values.max())
        if low >= -0.5 and high <= 1.5:
            return values
        return (values - low) / max(high - low, 1e-30)
