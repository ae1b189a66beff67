"""What every format's reader returns: a description, the statements to merge, and the samples in bands."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from catalogue.reading.model import FaultFound, Note, Picture, SegmentDigest

Rows = NDArray[Any]


@dataclass(slots=True)
class Statements:
    """The raw descriptive facts by source within the file, before they are merged."""

    tags: dict[str, str] = field(default_factory=dict)   # Metadata field → value, TIFF tags or the format's own
    exif: dict[str, str] = field(default_factory=dict)
    iptc: bytes = b""
    xmp: bytes = b""
    tags_source: str = "TIFF"   # what ``tags`` are called where places are named


@dataclass(slots=True)
class Samples:
    """A picture's decoded samples, to be taken once."""

    width: int                       # as stored
    height: int
    channels: int
    dtype: np.dtype[Any]
    bands: Callable[[], Iterator[Rows]]
    final_faults: Callable[[], tuple[FaultFound, ...]] = tuple  # asked after the bands: what could not be decoded
    any_decoded: Callable[[], bool] = lambda: True   # asked after the bands: whether any sample was decoded
    reduced: bool = False            # decoded at a fraction of its size: fit for a preview, not for a digest


@dataclass(slots=True)
class Source:
    """One opened file."""

    format: str
    picture: Picture | None = None
    samples: Samples | None = None
    icc: bytes = b""
    palette: NDArray[np.uint16] | None = None   # entries × 3
    white_is_zero: bool = False
    statements: Statements = field(default_factory=Statements)
    stretches: tuple[SegmentDigest, ...] = ()
    faults: list[FaultFound] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    ycbcr: tuple[float, float, float] | None = None   # luma weights, where samples come as YCbCr
    stated_srgb: bool = False        # says it is sRGB without embedding a profile
    coded_digest: str = ""           # of the coded picture data, where samples are not decoded in full
