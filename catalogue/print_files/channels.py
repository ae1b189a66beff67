"""A master's samples as 16-bit colour channels without transparency, and the white and black of each colour space."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from catalogue.errors import Refused
from catalogue.reading.render import Rendering
from catalogue.reading.source import Rows, Source

Pixels = NDArray[np.uint16]
FULL = 65535
SPACES = {"grey": 1, "RGB": 3, "CMYK": 4, "CIELAB": 3, "ICCLAB": 3}
LABS = ("CIELAB", "ICCLAB")


@dataclass(frozen=True, slots=True)
class Channels:
    """How samples become channels: always of full range, white paper under what is transparent.

    ``space`` is one of ``SPACES``; Lab's signed axes are shifted to begin at zero. ``cautions`` is what a person should
    know of what was left out.
    """

    space: str
    bits: int
    rendering: Rendering
    cautions: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        return SPACES[self.space]

    def of(self, band: Rows) -> Pixels:
        """Rows × width × samples as stored, to rows × width × ``count``."""
        view = self.rendering
        if view.palette is not None:
            return view.palette[np.minimum(band[..., 0], len(view.palette) - 1)]
        colours = _full_range(band[..., : self.count], view.top)
        if self.space == "CIELAB":
            colours[..., 1:] ^= np.uint16(0x8000 if self.bits == 16 else 0x8080)
        if view.alpha:
            return self._on_white(colours, _full_range(band[..., self.count : self.count + 1], view.top))
        return FULL - colours if view.source.white_is_zero else colours

    def _on_white(self, colours: Pixels, opacity: Pixels) -> Pixels:
        wide = colours.astype(np.uint32)
        if self.rendering.alpha == "unassociated":
            if self.rendering.source.white_is_zero:
                wide = FULL - wide
            blank = 0 if self.space == "CMYK" else FULL
            return ((wide * opacity + np.uint32(blank) * (FULL - opacity) + FULL // 2) // FULL).astype(np.uint16)
        if self.rendering.source.white_is_zero:
            wide = np.maximum(opacity, wide) - wide
        return wide.astype(np.uint16) if self.space == "CMYK" else np.minimum(
            wide + (FULL - opacity), FULL).astype(np.uint16)


def _full_range(samples: Rows, top: float) -> Pixels:
    """Samples of 0 to ``top`` as 0 to 65535, to the nearest."""
    if top == FULL:
        return np.array(samples, np.uint16)
    if top == 255:
        return samples.astype(np.uint16) * np.uint16(257)
    return ((samples.astype(np.uint32) * FULL + int(top) // 2) // int(top)).astype(np.uint16)


def channels_of(source: Source) -> Channels:
    """How a master's samples are printed. Raises Refused for kinds of picture that cannot be printed rightly."""
    picture, samples = source.picture, source.samples
    if picture is None or samples is None or samples.reduced:
        raise Refused("This master's pixels cannot be read in full.", hint="Save it as a TIFF and index that.")
    rendering = Rendering(source)
    refused = ""
    space = "RGB" if rendering.palette is not None or picture.photometric == "YCbCr" else picture.photometric
    if samples.dtype.kind not in "ub" or rendering.bits > 16:
        refused = f"has {rendering.bits}-bit {picture.sample_format} samples, whose white is not defined"
    elif source.ycbcr is not None or space not in SPACES:
        refused = f"stores its colours as {picture.photometric}"
    elif rendering.palette is not None and rendering.alpha:
        refused = "has a palette with transparency"
    elif samples.channels < SPACES[space] and rendering.palette is None:
        refused = f"has {samples.channels} channels, which is too few for {space}"
    elif space in LABS and (rendering.bits not in (8, 16) or picture.alpha in ("associated", "unassociated")):
        refused = f"is {space} with transparency or of {rendering.bits} bits"
    if refused:
        raise Refused(f"The master {refused}, so it cannot be printed as it is.",
                      hint="Save it as RGB, grey, CMYK or Lab with 8 or 16 bits, as a new file.")
    used = 1 if rendering.palette is not None else SPACES[space] + bool(rendering.alpha)
    left = samples.channels - used
    cautions = [f"{left} extra channel{'s' if left > 1 else ''} of the master left out: not a colour"] if left else []
    if rendering.alpha:
        cautions.append("what is transparent in the master is white on the print")
    bits = 8 if rendering.palette is None and rendering.bits <= 8 else 16
    return Channels(space, bits, rendering, tuple(cautions))


def white(space: str, bits: int) -> Pixels:
    """White paper: full light, no ink; for Lab L* = 100 on the neutral axis, as ``bits`` encode it."""
    neutral = 0x8000 if bits == 16 else 0x8080
    return np.array({"CMYK": [0] * 4, "CIELAB": [FULL, neutral, neutral],
                     "ICCLAB": [0xFF00 if bits == 16 else FULL, neutral, neutral]}.get(
                         space, [FULL] * SPACES[space]), np.uint16)


def black(space: str, bits: int) -> Pixels:
    """Black for marks: no light; black ink only."""
    neutral = 0x8000 if bits == 16 else 0x8080
    return np.array({"CMYK": [0, 0, 0, FULL], "CIELAB": [0, neutral, neutral], "ICCLAB": [0, neutral, neutral]}.get(
        space, [0] * SPACES[space]), np.uint16)


def stored(channels: Pixels, space: str, bits: int) -> Rows:
    """Channels as a file stores them: 8 bits to the nearest level, CIELAB's axes signed again."""
    out: Rows = channels
    if bits == 8:
        wide = channels.astype(np.uint32)
        wide *= 255
        wide += 32895
        wide >>= 16     # to the nearest, for every level of 16 bits
        out = wide.astype(np.uint8)
    if space == "CIELAB":
        out = out.copy()
        out[..., 1:] ^= out.dtype.type(0x80 if bits == 8 else 0x8000)
    return out
