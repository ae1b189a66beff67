"""JPEG 2000: the boxes of a JP2 file (ISO/IEC 15444-1, annex I), or a bare codestream, and its samples by OpenJPEG."""

import hashlib
import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
from PIL import Image as Pil

from catalogue.reading.embedded import Embedded, record_facts
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import ANOTHER_COPY, TOO_LARGE, Fault, FaultFound, Note, absurd_size
from catalogue.reading.pil import DAMAGE, decoded_at_once, image_bands, open_anew, whole_picture
from catalogue.reading.reduce import spans
from catalogue.reading.source import Rows, Samples, Source
from catalogue.reading.trouble import read_at

CODESTREAM, END = b"\xff\x4f\xff\x51", b"\xff\xd9"
SUPERBOXES = (b"jp2h", b"res ")
XMP_UUID = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")    # XMP part 3, 1.1.4
EXIF_UUID = b"JpgTiffExif->JP2"
IPTC_UUID = bytes.fromhex("33c7a4d2b81d4723a0baf1a3e097ad38")
SRGB, GREY, SYCC, CMYK = 16, 17, 18, 12                         # enumerated colour spaces, I.5.3.3 and 15444-2 M.11.7.3
MOST_BOXES = 4096
MODES = {"L": ("grey", 1), "LA": ("grey", 2), "RGB": ("RGB", 3), "RGBA": ("RGB", 4), "CMYK": ("CMYK", 4)}
MOST_REDUCTION = 5


@dataclass(slots=True)
class Boxes:
    """What the boxes say, and where the codestream lies."""

    embedded: Embedded = field(default_factory=Embedded)
    start: int = 0
    stop: int = 0
    colour: int = 0          # enumerated; 0 for none
    palette: bool = False    # entries are looked up in a table
    cut: str = ""            # how the file is cut short


@dataclass(frozen=True, slots=True)
class Sizes:
    """SIZ (A.5.1): of the picture, and of each component its bits and subsampling. ``levels``: of decomposition."""

    width: int
    height: int
    bits: tuple[int, ...]
    subsampled: bool
    levels: int
    tiles: int

    @property
    def pixels(self) -> int:
        """Of the picture."""
        return self.width * self.height


def boxes(fd: int, start: int, stop: int) -> Iterator[tuple[bytes, int, int, bool]]:
    """``(kind, start of the body, its end, whether it is whole)``, superboxes' insides after them (I.4)."""
    at, count = start, 0
    while at + 8 <= stop and count < MOST_BOXES:
        count += 1
        head = read_at(fd, 16, at)
        length, kind, body = int.from_bytes(head[:4], "big"), head[4:8], at + 8
        if length == 1:
            length, body = int.from_bytes(head[8:16], "big"), at + 16
        end = stop if length == 0 else at + length
        if end < body:
            return
        yield kind, body, min(end, stop), end <= stop
        if kind in SUPERBOXES:
            yield from boxes(fd, body, min(end, stop))
        at = end


def read_boxes(fd: int, size: int, limits: Limits) -> Boxes:
    """Walk the file; a bare codestream has no boxes."""
    jp2_boxes = Boxes()
    if read_at(fd, 4, 0) == CODESTREAM:
        jp2_boxes.start, jp2_boxes.stop = 0, size
        return jp2_boxes
    for kind, start, stop, whole in boxes(fd, 0, size):
        if kind == b"jp2c" and not jp2_boxes.stop:
            jp2_boxes.start, jp2_boxes.stop = start, stop
        elif stop - start <= limits.metadata_bytes:
            _take(jp2_boxes, kind, read_at(fd, stop - start, start))
        if not whole:
            jp2_boxes.cut = f"a box reaches beyond the file's end ({size:,} bytes)"
    return jp2_boxes


def _take(jp2_boxes: Boxes, kind: bytes, body: bytes) -> None:
    embedded = jp2_boxes.embedded
    if kind == b"colr" and len(body) > 3:   # the first that is understood (I.5.3.3)
        if body[0] in (2, 3) and not embedded.icc and not jp2_boxes.colour:
            embedded.icc = body[3:]
        elif body[0] == 1 and len(body) >= 7 and not embedded.icc and not jp2_boxes.colour:
            jp2_boxes.colour = int.from_bytes(body[3:7], "big")
            embedded.says_srgb = jp2_boxes.colour in (SRGB, SYCC)
    elif kind in (b"resc", b"resd") and len(body) >= 10:   # I.5.3.7: numerators, denominators, powers of ten; per metre
        down, down_by, across, across_by, down_ten, across_ten = struct.unpack_from(">4H2b", body)
        if down_by and across_by:
            ppi = (across / across_by * 10.0**across_ten * 0.0254, down / down_by * 10.0**down_ten * 0.0254)
            embedded.resolutions.append(("capture" if kind == b"resc" else "display", ppi))
    elif kind == b"pclr":
        jp2_boxes.palette = True
    elif kind == b"xml " and b"x:xmpmeta" in body:
        embedded.xmp = embedded.xmp or body
    elif kind == b"uuid" and body[:16] == XMP_UUID:
        embedded.xmp = embedded.xmp or body[16:]
    elif kind == b"uuid" and body[:16] == EXIF_UUID:
        embedded.exif = embedded.exif or body[16:]
    elif kind == b"uuid" and body[:16] == IPTC_UUID:
        embedded.iptc = embedded.iptc or body[16:]


def sizes_of(head: bytes) -> Sizes | None:
    """From a codestream's main header; ``None`` if it makes no sense."""
    if not head.startswith(CODESTREAM) or len(head) < 42:
        return None
    right, bottom, left, top, across, down = struct.unpack_from(">6I", head, 8)
    count = int.from_bytes(head[40:42], "big")
    parts = head[42 : 42 + 3 * count]
    if not 0 < count <= 16384 or len(parts) < 3 * count or right <= left or bottom <= top:
        return None
    cod = head.find(b"\xff\x52")   # A.6.1: levels are the sixth byte of its body
    levels = head[cod + 9] if 0 < cod < len(head) - 9 else 0
    bits = tuple((depth & 0x7F) + 1 for depth in parts[::3])
    return Sizes(right - left, bottom - top, bits, any(v != 1 for v in parts[1::3] + parts[2::3]), min(levels, 32),
                 max(1, (right - left) // max(1, across)) * max(1, (bottom - top) // max(1, down)))


def open_jpeg_2000(file: BinaryIO, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open JP2 or codestream; samples are decoded when asked for. Raises ``ReadFailed``."""
    source = Source("JPEG 2000")
    fd = file.fileno()
    jp2_boxes = read_boxes(fd, size, limits)
    sizes = sizes_of(read_at(fd, 1 << 16, jp2_boxes.start)) if jp2_boxes.stop else None
    if not jp2_boxes.cut and jp2_boxes.stop - jp2_boxes.start > 2 and read_at(fd, 2, jp2_boxes.stop - 2) != END:
        jp2_boxes.cut = "its codestream ends without its end marker"
    if jp2_boxes.cut:
        source.faults.append(FaultFound(Fault.TRUNCATED, jp2_boxes.cut, ANOTHER_COPY, size))
    if sizes is None:
        source.faults.append(FaultFound(Fault.DAMAGED, "its header is invalid", ANOTHER_COPY))
        return source
    bits = 16 if max(sizes.bits) > 8 else 8
    channels = min(len(sizes.bits), 4)
    try:
        mode = _by_pillow(file).mode
    except DAMAGE:
        mode = ""
    mode = mode if mode in MODES else ""
    if bits == 8 and mode:
        photometric, channels = MODES[mode]
    elif jp2_boxes.palette:
        photometric, channels = "RGB", 3
    else:
        photometric = "grey" if channels < 3 else "CMYK" if channels == 4 and jp2_boxes.colour == CMYK else "RGB"
    alpha = "unassociated" if channels in (2, 4) and photometric != "CMYK" else ""
    record_facts(source, jp2_boxes.embedded, (sizes.width, sizes.height), max(8, *sizes.bits), channels, photometric,
                 alpha)
    if sizes.width * sizes.height > limits.pixels:
        source.faults.append(absurd_size(sizes.width, sizes.height, ANOTHER_COPY))
        return source
    reduction = _reduction(sizes, mode, bits, channels, size, limits)
    coded = (jp2_boxes.stop - jp2_boxes.start) // sizes.tiles   # OpenJPEG holds a tile's coded bytes
    if coded > 1.2 * limits.held_bytes:
        source.faults.append(FaultFound(
            Fault.UNDECODED, f"holds {coded / 2**20:,.0f} MiB of coded pixels in one tile, too many for the memory "
            "allowed"))
    elif reduction > min(sizes.levels, MOST_REDUCTION) or (reduction and not mode):
        source.faults.append(TOO_LARGE)
    elif reduction:
        source.samples = _reduced(file, sizes, mode, reduction, limits, deadline, cut_known=bool(jp2_boxes.cut))
        source.coded_digest = coded_digest(fd, jp2_boxes, source.icc)
        source.notes.append(Note("decoded in part", f"too large to decode in full: seen at 1/{1 << reduction} of its "
                                 "size, so faults in its finest detail would go unnoticed"))
    else:
        source.samples = _whole(file, jp2_boxes, sizes, mode if bits == 8 else "", channels, limits, deadline)
    return source


def _by_pillow(file: BinaryIO, reduction: int = 0) -> Pil.Image:
    """A fresh image of the file, with its finest levels of detail to be left out. Raises one of ``DAMAGE``."""
    image: Any = open_anew(file)
    image.reduce = reduction
    return image  # type: ignore[no-any-return]


def _reduction(sizes: Sizes, mode: str, bits: int, channels: int, size: int, limits: Limits) -> int:
    """By which power of two the picture must be reduced to be held; OpenJPEG works in 32 bits a sample."""
    reduction = 0
    while True:
        pixels = (sizes.width >> reduction) * (sizes.height >> reduction)
        at_eight = 2 * pixels * {"L": 1, "LA": 4}.get(mode, 4) <= limits.held_bytes
        at_sixteen = 6 * pixels * channels + size <= 2 * limits.held_bytes
        if (at_eight if bits == 8 or reduction else at_sixteen) or reduction > MOST_REDUCTION:
            return reduction
        reduction += 1


def _reduced(file: BinaryIO, sizes: Sizes, mode: str, reduction: int, limits: Limits, deadline: Deadline, *,
             cut_known: bool) -> Samples:
    """A preview by Pillow, which leaves out the finest levels of detail."""
    half = (1 << reduction) >> 1
    size = (sizes.width + half) >> reduction, (sizes.height + half) >> reduction
    faults: list[FaultFound] = []
    samples = whole_picture(partial(_by_pillow, file, reduction), mode, size, limits, deadline, faults)
    # Pillow says of any broken codestream that it is broken; a cut has been told already.
    return replace(samples, reduced=True, final_faults=lambda: tuple(
        FaultFound(Fault.DAMAGED, fault.detail, fault.hint) for fault in faults if not cut_known))


def _whole(file: BinaryIO, jp2_boxes: Boxes, sizes: Sizes, mode: str, channels: int, limits: Limits,
           deadline: Deadline) -> Samples:
    """Every sample: by Pillow in its ``mode``, or by imagecodecs if there is no mode or Pillow fails."""
    def decode() -> Rows:
        start = 0 if jp2_boxes.palette else jp2_boxes.start
        return np.asarray(imagecodecs.jpeg2k_decode(read_at(file.fileno(), jp2_boxes.stop - start, start)))

    dtype: np.dtype[Any] = np.dtype(np.uint16 if max(sizes.bits) > 8 else np.uint8)
    samples = decoded_at_once(decode, (sizes.height, sizes.width, channels), dtype, limits, deadline,
                              cut_known=bool(jp2_boxes.cut))

    def bands() -> Iterator[Rows]:
        try:
            image = _by_pillow(file)
            image.load()
        except DAMAGE:
            yield from samples.bands()
        else:
            yield from image_bands(image, mode, limits, deadline)

    return replace(samples, bands=bands) if mode else samples


def coded_digest(fd: int, jp2_boxes: Boxes, icc: bytes) -> str:
    """XXH3-128 of the codestream and the profile: what an edit of the other boxes leaves as it was."""
    from xxhash import xxh3_128

    digest = xxh3_128(b"coded JPEG 2000\0" + hashlib.sha256(icc).digest())
    for start, stop in spans(jp2_boxes.stop - jp2_boxes.start, 1 << 20):
        digest.update(os.pread(fd, stop - start, jp2_boxes.start + start))
    return digest.hexdigest()

