"""One image of a TIFF as described by its tags, checked before any of it is decoded."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from catalogue.reading.limits import Limits
from catalogue.reading.model import ANOTHER_COPY, Fault, FaultFound, Page, absurd_size
from catalogue.reading.structure import Ifd, Structure

COMPRESSIONS = {
    1: "none", 2: "CCITT RLE", 3: "CCITT fax 3", 4: "CCITT fax 4", 5: "LZW", 6: "old JPEG", 7: "JPEG", 8: "Deflate",
    32773: "PackBits", 32946: "Deflate", 34712: "JPEG 2000", 33003: "JPEG 2000", 33004: "JPEG 2000",
    33005: "JPEG 2000", 34887: "LERC", 34892: "JPEG", 33007: "JPEG", 34925: "LZMA", 50000: "Zstd", 34926: "Zstd",
    50001: "WebP", 34927: "WebP", 50002: "JPEG XL", 52546: "JPEG XL", 34933: "PNG", 34934: "JPEG XR",
    22610: "JPEG XR", 32771: "none (16-bit aligned)", 32809: "4-bit run-length", 32766: "NeXT", 34676: "SGI LogLuv",
    34677: "SGI LogLuv 24",
}
PHOTOMETRICS = {
    0: "grey", 1: "grey", 2: "RGB", 3: "palette", 4: "mask", 5: "CMYK", 6: "YCbCr", 8: "CIELAB", 9: "ICCLAB",
    10: "ITULAB", 32844: "LogL", 32845: "LogLuv", 32803: "raw mosaic", 34892: "linear raw",
}
FORMATS = {1: "uint", 2: "int", 3: "float", 4: "uint", 5: "complex int", 6: "complex"}
# Decoded bytes for a stored one that a codec can reach, with room to spare: beyond it a size is a lie. Deflate reaches
# 1032 and LZW about 1365 by construction; the others have run lengths without a bound worth naming.
MOST_EXPANSION = {1: 4, 5: 2048, 8: 2048, 32946: 2048, 32773: 128}
LZW, LZMA = 5, 34925
DEFLATE = frozenset({8, 32946})
JPEGS = frozenset({6, 7, 33007, 34892})
JPEG_2000 = frozenset({33003, 33004, 33005, 34712})


@dataclass(frozen=True, slots=True)
class Image:
    """One directory read as a picture. Segments are strips or tiles in index order."""

    ifd: Ifd
    width: int
    height: int
    depth: int
    bits: tuple[int, ...]
    sample_format: str
    samples: int
    compression: int
    photometric: int
    planar: bool
    tiled: bool
    segment_width: int
    segment_height: int
    offsets: NDArray[np.int64]
    counts: NDArray[np.int64]
    kind: str

    @property
    def rows_of_segments(self) -> int:
        """Rows of strips or tiles in one plane."""
        return -(-self.height // self.segment_height)

    @property
    def columns_of_segments(self) -> int:
        """Tiles side by side; 1 for strips."""
        return -(-self.width // self.segment_width)

    @property
    def planes(self) -> int:
        """Number of separate planes: the samples if planar, otherwise 1."""
        return self.samples if self.planar else 1

    @property
    def segment_samples(self) -> int:
        """Samples per pixel within a segment."""
        return 1 if self.planar else self.samples

    @property
    def segments(self) -> int:
        """Number of strips or tiles that the geometry requires."""
        return self.rows_of_segments * self.columns_of_segments * self.planes

    def stored_row_bytes(self) -> int:
        """Bytes of one row of one segment, uncompressed: rows are padded to whole bytes."""
        bits = self.bits[0] * self.segment_samples if len(set(self.bits)) == 1 else sum(self.bits)
        return max(1, -(-self.segment_width * bits // 8))

    def rows_in(self, index: int) -> int:
        """Rows of one segment: tiles are always full, the last strip of a plane holds the remaining rows."""
        if self.tiled:
            return self.segment_height
        row = index % (self.rows_of_segments * self.columns_of_segments)
        return min(self.segment_height, self.height - row * self.segment_height)

    def segment_bytes(self) -> int:
        """Bytes of one whole segment once decoded, samples unpacked."""
        sample = 1 if max(self.bits) <= 8 else 2 if max(self.bits) <= 16 else 4 if max(self.bits) <= 32 else 8
        rows = self.segment_height if self.tiled else min(self.segment_height, self.height)  # tiles are always full
        return self.segment_width * rows * self.segment_samples * sample

    def page(self, index: int) -> Page:
        """The entry that lists this image among the file's others."""
        name = COMPRESSIONS.get(self.compression, f"compression {self.compression}")
        return Page(index, self.width, self.height, max(self.bits), self.samples, self.kind, name)


def image_of(structure: Structure, ifd: Ifd) -> Image | None:
    """The image a directory describes, or ``None`` if it has no size."""
    width, height = structure.number(ifd, 256, 0), structure.number(ifd, 257, 0)
    if width <= 0 or height <= 0:
        return None
    samples = max(1, structure.number(ifd, 277, 1))
    bits = tuple(int(b) for b in structure.numbers(ifd, 258)[:64]) or (1,)
    if len(bits) < samples:
        bits += (bits[-1],) * (min(samples, 64) - len(bits))
    tiled = 322 in ifd.tags or 324 in ifd.tags
    if tiled:
        across, down = structure.number(ifd, 322, 0), structure.number(ifd, 323, 0)
    else:
        across, down = width, min(structure.number(ifd, 278, height) or height, height)
    codes = (324, 325) if 324 in ifd.tags else (273, 279)
    subfile = structure.number(ifd, 254, 0)
    kind = "reduced" if subfile & 1 else "mask" if subfile & 4 else "page" if subfile & 2 else "picture"
    if 254 not in ifd.tags and structure.number(ifd, 255, 1) == 2:
        kind = "reduced"
    with np.errstate(invalid="ignore"):  # fractions or zero for offsets: no valid position, reported later
        offsets, counts = (structure.numbers(ifd, code).astype(np.int64) for code in codes)
    if not len(counts) and len(offsets):
        counts = estimated_counts(offsets, structure.size)
    return Image(
        ifd, width, height, structure.number(ifd, 32997, 1), bits,
        FORMATS.get(structure.number(ifd, 339, 1), "unknown"), samples, structure.number(ifd, 259, 1),
        structure.number(ifd, 262, 1 if samples == 1 else 2), structure.number(ifd, 284, 1) == 2 and samples > 1, tiled,
        max(1, across), max(1, down), offsets, counts, kind,
    )


def estimated_counts(offsets: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    """Bytes of each segment where the tag that states them is missing: up to the next segment or the file's end.

    At least what it holds, which decoders of every compression here stop at; as libtiff's EstimateStripByteCounts.
    """
    order = np.unique(np.append(offsets, size))
    after = order[np.minimum(np.searchsorted(order, offsets, side="right"), len(order) - 1)]
    return np.maximum(after - offsets, 0)


def check(image: Image, size: int, limits: Limits) -> tuple[list[FaultFound], bool]:
    """What the claims of an image's tags are worth, compared with the file's size, and whether there is anything to
    decode. Decodes nothing."""
    hollow = image.segments > 256 * max(1, len(image.offsets))   # hardly any of it has a valid offset
    if image.width * image.height > limits.pixels or image.segments > limits.segments or hollow:
        return [absurd_size(image.width, image.height)], False
    if not len(image.offsets):
        return [FaultFound(Fault.DAMAGED, "does not say where its pixels are")], False
    faults = []
    if len(image.offsets) < image.segments:
        missing = image.segments - len(image.offsets)
        faults.append(FaultFound(Fault.DAMAGED, f"{missing:,} of {image.segments:,} segments have no offset"))
    known = min(len(image.offsets), len(image.counts))
    offsets, counts = image.offsets[:known], image.counts[:known]
    beyond = np.flatnonzero((offsets < 0) | (counts < 0) | (offsets > size) | (counts > size - offsets))
    if len(beyond):
        first = int(beyond[0])
        faults.append(
            FaultFound(Fault.TRUNCATED, f"{len(beyond):,} of {image.segments:,} segments lie beyond the file's end "
                       f"({size:,} bytes)", ANOTHER_COPY, int(offsets[first]))
        )
    claimed = image.stored_row_bytes() * image.height * image.columns_of_segments * image.planes
    held = int(np.minimum(np.maximum(counts, 0), size).sum())
    absurd = claimed > MOST_EXPANSION.get(image.compression, 1 << 20) * max(1, held)
    if absurd:
        faults.append(
            FaultFound(Fault.DAMAGED, f"claims {image.width:,} × {image.height:,} pixels in {size:,} bytes")
        )
    return faults, not absurd
