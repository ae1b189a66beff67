"""From stored samples to colour values: palettes, inversion, alpha, signed and float samples, Lab encodings."""

import numpy as np
from numpy.typing import NDArray

from catalogue.reading.model import Note
from catalogue.reading.source import Rows, Source

Floats = NDArray[np.float32]
COLOUR_CHANNELS = {"grey": 1, "mask": 1, "LogL": 1, "raw mosaic": 1, "palette": 1, "CMYK": 4}
LABS = ("CIELAB", "ICCLAB", "ITULAB")
MOST_SAMPLE = 1e30   # a thousand million of them still sum in float32


class Rendering:
    """How one picture's samples are read as colours. ``prepare`` per band, ``finish`` on the reduced picture.

    Averaging happens on prepared samples, so they are made such that an average of them means something: palette
    entries looked up, colour multiplied by its opacity, Lab's signed axes shifted.
    """

    def __init__(self, source: Source) -> None:
        picture, samples = source.picture, source.samples
        if picture is None or samples is None:
            raise ValueError("nothing to render")
        self.source = source
        self.photometric = picture.photometric
        self.bits = picture.bits
        self.kind = samples.dtype
        stored = samples.channels
        usual = COLOUR_CHANNELS.get(self.photometric, 3)
        self.palette = source.palette if self.photometric == "palette" else None
        self.colours = 3 if self.palette is not None else usual if stored >= usual else 1
        has_alpha = picture.alpha in ("associated", "unassociated") and stored > usual
        self.alpha = picture.alpha if has_alpha and self.photometric not in LABS else ""
        self.odd_values = False
        self.channels = self.colours + (1 if self.alpha else 0)
        table = self.palette.tobytes() if self.palette is not None else b""
        # What the samples' meaning hangs on. YCbCr that its codec has turned into RGB is RGB, as if stored so.
        decoded = "RGB" if self.photometric == "YCbCr" and source.ycbcr is None else self.photometric
        self.meaning = decoded + (" white is zero" if source.white_is_zero else "")
        self.identity = picture.profile_digest.encode() + table

    @property
    def top(self) -> float:
        """The sample value of full strength."""
        if self.palette is not None:
            return 65535.0
        return 1.0 if self.kind.kind == "f" else float((1 << min(self.bits, 8 * self.kind.itemsize)) - 1)

    def prepare(self, band: Rows) -> Rows:
        """The channels to be averaged, H × W × ``channels``."""
        if self.palette is not None:
            return self._looked_up(band, self.palette)
        if self.kind.kind == "c":
            band = np.abs(band).astype(np.float32)
        if self.kind.kind in "fc":
            band = self._finite(band)
        if self.photometric == "CIELAB" and self.kind.kind == "u":
            band = band.copy()
            band[..., 1:3] ^= self.kind.type(1 << (8 * self.kind.itemsize - 1))
        if self.alpha == "unassociated":
            return self._premultiplied(band)
        return band if band.shape[2] == self.channels else np.ascontiguousarray(band[..., : self.channels])

    def _looked_up(self, band: Rows, palette: NDArray[np.uint16]) -> Rows:
        """Palette entries; with an alpha sample, entries multiplied by it and the opacity, both of 65535. Entries are
        never multiplied in the file, whatever it calls its alpha."""
        colours = palette[np.minimum(band[..., 0], len(palette) - 1)]
        if not self.alpha:
            return np.asarray(colours)
        opacity = band[..., 1:2].astype(np.float32) / np.float32((1 << min(self.bits, 8 * self.kind.itemsize)) - 1)
        return np.concatenate([colours * opacity, opacity * np.float32(65535)], axis=2).astype(np.float32)

    def _finite(self, band: Rows) -> Rows:
        """Samples that are numbers and can be summed; one that is not would spoil a whole line of averages."""
        most = min(MOST_SAMPLE, float(np.finfo(band.dtype).max))
        with np.errstate(invalid="ignore", over="ignore"):
            odd = ~(np.abs(band) <= most)
        if not odd.any():
            return band
        self.odd_values = True
        return np.where(odd, band.dtype.type(0), band)

    def notes(self) -> tuple[Note, ...]:
        """What was noticed about the samples on the way."""
        return (Note("odd values",
                     "has samples that are not numbers, or out of range; the preview shows them as zero"),
                     ) if self.odd_values else ()

    def _premultiplied(self, band: Rows) -> Rows:
        opacity = band[..., self.colours : self.channels]
        if opacity.min() >= self.top:
            return np.ascontiguousarray(band[..., : self.channels])
        out = band[..., : self.channels].astype(np.float32)
        out[..., : self.colours] *= opacity.astype(np.float32) / np.float32(self.top)
        return out

    def finish(self, values: Floats) -> tuple[Floats, str]:
        """Colours on white and what they are: H × W × colours in 0..1, or "Lab" in L*, a*, b* (D50)."""
        if self.photometric in LABS:
            return self._lab(values), "Lab"
        values = self._scaled(values)
        colours = values[..., : self.colours]
        opacity = values[..., self.colours : self.channels] if self.alpha else np.float32(1)
        if self.source.white_is_zero:
            colours = opacity - colours
        if self.source.ycbcr is not None:
            colours = self._from_ycbcr(colours, self.source.ycbcr)
        if self.alpha and self.photometric != "CMYK":
            colours = colours + (np.float32(1) - opacity)
        return np.clip(colours, 0, 1), self.photometric

    def _scaled(self, values: Floats) -> Floats:
        if self.palette is not None or self.kind.kind in "ub":
            return values / np.float32(self.top)
        if self.kind.kind == "i":
            half = np.float32(2.0 ** (min(self.bits, 8 * self.kind.itemsize) - 1))
            return np.asarray((values + half) / (2 * half - 1), np.float32)
        low, high = float(values.min()), float(values.max())
        if low >= -0.5 and high <= 1.5:
            return values
        return np.asarray((values - low) / max(high - low, 1e-30), np.float32)

    def _lab(self, values: Floats) -> Floats:
        """TIFF 6.0 section 23 (CIELAB), TIFF Technical Note 4 (ICCLab), ITU-T T.42 default ranges (ITULab)."""
        values = values[..., :3] if values.shape[2] >= 3 else np.repeat(values[..., :1], 3, axis=2)
        if self.kind.kind == "f":
            return np.asarray(values, np.float32)
        step = np.float32(self.top / 255)    # 1 at 8 bits, 257 at 16
        wide = step > 1
        per_unit = np.float32(256 if wide else 1)
        white = np.float32(65280 if wide and self.photometric == "ICCLAB" else self.top)
        lightness = values[..., :1] * (np.float32(100) / white)
        if self.photometric == "ITULAB":
            eighth = values / step
            a = (eighth[..., 1:2] - 128) * np.float32(170 / 255)
            b = (eighth[..., 2:3] - 96) * np.float32(200 / 255)
        else:
            a, b = values[..., 1:2] / per_unit - 128, values[..., 2:3] / per_unit - 128
        return np.concatenate([lightness, a, b], axis=2).astype(np.float32)

    @staticmethod
    def _from_ycbcr(values: Floats, weights: tuple[float, float, float]) -> Floats:
        """TIFF 6.0 section 21, full range."""
        red, green, blue = weights
        y, cb, cr = (values[..., i] for i in range(3))
        half = np.float32(128 / 255)
        r = (cr - half) * (2 - 2 * red) + y
        b = (cb - half) * (2 - 2 * blue) + y
        return np.stack([r, (y - blue * b - red * r) / green, b], axis=-1).astype(np.float32)
