"""The result of reading one file: picklable, knows no database.

Lengths are in millimetres, resolutions in pixels per inch, times as the file states them.
"""

from dataclasses import dataclass, field
from enum import StrEnum


class Fault(StrEnum):
    """Kinds of finding that reading alone can establish."""

    UNREADABLE = "unreadable"            # the system refused, or the medium failed
    TRUNCATED = "truncated"              # the file ends before its picture does
    DAMAGED = "damaged"                  # structure or pixels contradict themselves
    NOT_A_PICTURE = "not a picture"      # the name promises a picture, the bytes do not
    EMPTY = "empty"                      # zero bytes
    UNDECODED = "undecoded"              # no codec for its pixels, or too large: whether they are sound is not known
    CRASHED = "reader crashed"           # its reading process ended twice: whether it is sound is not known
    NO_PROFILE = "no profile"            # colours without a stated meaning
    VANISHED = "vanished"                # there when listed, gone when opened
    CHANGING = "changing"                # size or time changed while it was read


@dataclass(frozen=True, slots=True)
class FaultFound:
    """One fault of a file: what happened and what to do next. ``offset`` is a byte position where known; ``cause`` is
    given where it decides what to do: :data:`ACCESS_DENIED`.
    """

    kind: Fault
    detail: str
    hint: str = ""
    offset: int | None = None
    cause: str = ""


ANOTHER_COPY = "look for another copy of this file"
ACCESS_DENIED = "access denied"  # nothing is known of the bytes: no reason to restore the file
TOO_LARGE = FaultFound(Fault.UNDECODED, "can only be decoded as a whole, and is too large for the memory allowed")


def absurd_size(width: int, height: int, hint: str = "") -> FaultFound:
    """The fault of a picture with more pixels than ``Limits.pixels``."""
    return FaultFound(Fault.DAMAGED, f"claims {width:,} × {height:,} pixels", hint)


@dataclass(frozen=True, slots=True)
class Page:
    """One image inside the file, as listed, decoded or not."""

    index: int
    width: int
    height: int
    bits: int
    samples: int
    kind: str = ""       # "picture", "reduced", "mask", "layer", "page"
    compression: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """How the main image is stored. ``width``/``height`` are as shown, orientation applied."""

    width: int
    height: int
    bits: int                       # per sample, the largest
    sample_format: str              # "uint", "int", "float"
    samples: int                    # per pixel, alpha included
    photometric: str                # "RGB", "grey", "CMYK", "CIELAB", "palette", "YCbCr", …
    compression: str                # "none", "LZW", "Deflate", …
    layout: str                     # "strips", "tiles", "whole"
    planar: bool = False            # samples in separate planes
    alpha: str = ""                 # "", "associated", "unassociated", "unspecified"
    orientation: int = 1            # Exif/TIFF 1–8
    ppi_x: float | None = None
    ppi_y: float | None = None
    profile_name: str = ""          # description of the embedded ICC profile
    profile_digest: str = ""        # SHA-256 of the profile's bytes, hex
    profile_white: tuple[float, float, float] | None = None  # XYZ of the media white
    layered: bool = False           # carries layers beside its composite
    pages: tuple[Page, ...] = ()

    @property
    def width_mm(self) -> float | None:
        """Physical width as shown, from the stated resolution."""
        return self.width / self.ppi_x * 25.4 if self.ppi_x else None

    @property
    def height_mm(self) -> float | None:
        """Physical height as shown, from the stated resolution."""
        return self.height / self.ppi_y * 25.4 if self.ppi_y else None


@dataclass(frozen=True, slots=True)
class Stated:
    """One value of one field with the place that states it, kept so that conflicts can be shown."""

    field: str      # a field name of Metadata
    value: str
    source: str     # "TIFF", "Exif", "IPTC", "XMP"


@dataclass(frozen=True, slots=True)
class Metadata:
    """Descriptive facts. Where places disagree the preferred one is here and all are in ``stated``."""

    title: str = ""
    creator: str = ""
    created: str = ""               # of the artwork, as stated
    captured: str = ""              # ISO 8601 where it can be parsed, of the scan
    modified: str = ""
    rights: str = ""
    description: str = ""
    inventory_number: str = ""
    physical_description: str = ""
    make: str = ""
    model: str = ""
    software: str = ""
    stated: tuple[Stated, ...] = ()
    conflicts: tuple[str, ...] = ()  # field names whose places disagree


@dataclass(frozen=True, slots=True)
class PictureHash:
    """A perceptual hash with all that is needed to compare it: 64 bits as 16 hex digits."""

    algorithm: str      # "phash"
    orientation: int    # 1–8: the hash of the preview turned that way
    value: str
    library: str        # "imagehash 4.3.2"


@dataclass(frozen=True, slots=True)
class SegmentDigest:
    """Digest of one stretch of the file's bytes, so that silent corruption can be placed in the picture."""

    offset: int
    length: int
    digest: str         # xxh3-64, hex
    x: int = 0          # where it lies in the stored raster, pixels; all zero for non-pixel bytes
    y: int = 0
    width: int = 0
    height: int = 0


@dataclass(frozen=True, slots=True)
class Note:
    """A judgement useful in the shop, not a fault: "below 16 bit", "upscaled", …"""

    kind: str
    detail: str
    yardstick: str = ""


@dataclass(frozen=True, slots=True)
class Reading:
    """Everything reading one file can tell. A damaged file gives a partial one with its faults.

    ``preview`` is a WebP picture in sRGB, long side at most 1024 px, orientation applied; ``None`` if nothing could be
    decoded.
    """

    path: str
    size: int
    mtime_ns: int
    sha256: str = ""
    pixel_digest: str = ""
    format: str = ""                 # "TIFF", "BigTIFF", "JPEG", "PNG", "WebP", "PSD", "PSB"
    picture: Picture | None = None
    metadata: Metadata = field(default_factory=Metadata)
    preview: bytes | None = None
    hashes: tuple[PictureHash, ...] = ()
    segments: tuple[SegmentDigest, ...] = ()
    notes: tuple[Note, ...] = ()
    faults: tuple[FaultFound, ...] = ()
    seconds: float = 0.0
