"""PSD and PSB: the composite picture and the image resources, never the layers."""

import hashlib
import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.reading import exif
from catalogue.reading.blocks import EXIF, IPTC, PROFILE, RESOLUTION, VERSION, XMP, blocks_of, resolution_of
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import ANOTHER_COPY, Fault, FaultFound, Picture
from catalogue.reading.profile import describe
from catalogue.reading.reduce import rows_at_a_time, spans
from catalogue.reading.source import Rows, Samples, Source, Statements

MODES = {0: "grey", 1: "grey", 2: "palette", 3: "RGB", 4: "CMYK", 7: "multichannel", 8: "grey", 9: "CIELAB"}
COLOURS = {"grey": 1, "palette": 1, "RGB": 3, "CMYK": 4, "CIELAB": 3}
COMPRESSIONS = {0: "none", 1: "PackBits", 2: "Deflate", 3: "Deflate"}
MOST_CHANNELS = 56   # File Formats Specification of the format, file header section


class CutShort(Exception):
    """The file ends inside the part being read."""

    def __init__(self, offset: int) -> None:
        super().__init__(f"ends inside its structure at byte {offset:,}")
        self.offset = offset


@dataclass(slots=True)
class Composite:
    """Where the merged picture lies and how it is packed: planes one after another, rows packed one by one."""

    fd: int
    width: int
    height: int
    channels: int
    depth: int
    inverted: bool
    lab: bool
    offset: int = 0
    row_starts: NDArray[np.int64] | None = None   # channels × height + 1, from the packed rows' byte counts
    cut: bool = False
    bad_rows: int = 0

    @property
    def row_bytes(self) -> int:
        """Unpacked bytes of one row of one channel."""
        return -(-self.width * self.depth // 8)

    @property
    def dtype(self) -> np.dtype[Any]:
        """Sample type once unpacked."""
        return np.dtype({16: np.uint16, 32: np.float32}.get(self.depth, np.uint8))

    def bands(self, limits: Limits, deadline: Deadline) -> Iterator[Rows]:
        """Rows × width × channels from the top down; rows that cannot be decoded are zero."""
        for start, stop in spans(self.height, rows_at_a_time(self.row_bytes * self.channels, limits.band_bytes)):
            deadline.check()
            planes = [self._plane(channel, start, stop) for channel in range(self.channels)]
            band = np.stack(planes, axis=2)
            if self.inverted:
                band = np.iinfo(band.dtype).max - band
            if self.lab and self.depth < 32:
                band[..., 1:3] ^= band.dtype.type(1 << (self.depth - 1))
            yield band

    def _plane(self, channel: int, start: int, stop: int) -> Rows:
        wanted = (stop - start) * self.row_bytes
        row = channel * self.height + start
        if self.row_starts is None:
            data = os.pread(self.fd, wanted, self.offset + row * self.row_bytes)
        else:
            begin, end = int(self.row_starts[row]), int(self.row_starts[row + stop - start])
            packed = os.pread(self.fd, end - begin, begin)
            self.cut |= len(packed) < end - begin
            data = self._unpacked(packed, wanted)
        if len(data) < wanted:
            self.cut = True
            data = data.ljust(wanted, b"\0")
        stored = np.frombuffer(data, self.dtype.newbyteorder(">"), wanted // self.dtype.itemsize)
        if self.depth == 1:
            bits = np.unpackbits(stored.reshape(stop - start, self.row_bytes), axis=1)
            return bits[:, : self.width]
        return stored.astype(self.dtype).reshape(stop - start, self.width)

    def _unpacked(self, packed: bytes, wanted: int) -> bytes:
        try:
            return bytes(imagecodecs.packbits_decode(packed))
        except Exception:  # the codec edge: counted, and the rows stay empty
            self.bad_rows += 1
            return b"\0" * wanted

    def faults(self) -> tuple[FaultFound, ...]:
        """The rows that could not be decoded, as findings."""
        stated = ((self.cut, Fault.TRUNCATED, "the file ends before its picture does"),
                  (self.bad_rows > 0, Fault.DAMAGED, "rows of the picture cannot be unpacked"))
        return tuple(FaultFound(kind, detail, ANOTHER_COPY) for so, kind, detail in stated if so)


def open_psd(file: BinaryIO, kind: str, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open PSD or PSB; the composite's samples come when asked for."""
    source = Source(kind)
    try:
        _open(source, file.fileno(), size, limits, deadline)
    except (CutShort, struct.error) as cut:
        source.faults.append(FaultFound(Fault.TRUNCATED, str(cut), ANOTHER_COPY, getattr(cut, "offset", None)))
    return source


def _section(fd: int, at: int, size: int, wide: bool = False) -> tuple[int, int]:
    """Where a length-prefixed section starts and ends."""
    length_bytes = 8 if wide else 4
    raw = os.pread(fd, length_bytes, at)
    if len(raw) < length_bytes:
        raise CutShort(at)
    start = at + length_bytes
    end = start + int.from_bytes(raw, "big")
    if end > size:
        raise CutShort(size)
    return start, end


def _open(source: Source, fd: int, size: int, limits: Limits, deadline: Deadline) -> None:
    big = source.format == "PSB"
    channels, height, width, depth, mode = struct.unpack_from(">HIIHH", os.pread(fd, 26, 0), 12)
    meaning = MODES.get(mode, "")
    if not (channels and width and height and depth in (1, 8, 16, 32) and meaning):
        source.faults.append(FaultFound(Fault.DAMAGED, "its header is invalid"))
        return
    table_start, table_end = _section(fd, 26, size)
    resources_start, resources_end = _section(fd, table_end, size)
    layers_start, layers_end = _section(fd, resources_end, size, big)
    blocks = blocks_of(os.pread(fd, min(resources_end - resources_start, limits.metadata_bytes), resources_start))
    source.icc = blocks.get(PROFILE, b"")
    head = os.pread(fd, 2, layers_end)
    packing = int.from_bytes(head, "big") if len(head) == 2 else 0
    ppi = resolution_of(blocks.get(RESOLUTION, b""))
    about = describe(source.icc)
    colours = COLOURS.get(meaning, channels)
    source.picture = Picture(
        width, height, depth, "float" if depth == 32 else "uint", channels, meaning,
        COMPRESSIONS.get(packing, f"compression {packing}"), "whole", True,
        "unspecified" if channels > colours else "", 1, *ppi, about.name,
        hashlib.sha256(source.icc).hexdigest() if source.icc else "", about.white, layers_end - layers_start > 4,
    )
    source.statements = Statements(
        {}, exif.parse(blocks.get(EXIF, b"")).facts(), blocks.get(IPTC, b""), blocks.get(XMP, b"")
    )
    if blocks.get(VERSION, b"\0\0\0\0\1")[4:5] == b"\0":
        source.faults.append(FaultFound(Fault.UNDECODED, "was saved without a merged picture, and layers are not read",
                                        "save it again with the merged picture, for compatibility"))
        return
    if meaning == "palette":
        table = np.frombuffer(os.pread(fd, min(table_end - table_start, 768), table_start), np.uint8)
        source.palette = table[: len(table) // 3 * 3].reshape(3, -1).T.astype(np.uint16) * 257
    source.white_is_zero = mode == 0
    too_wide = width * channels * depth > 2 * limits.held_bytes   # bits: a row is held several times over
    if channels > MOST_CHANNELS:
        source.faults.append(FaultFound(Fault.UNDECODED, f"has {channels} channels; its format allows "
                                        f"{MOST_CHANNELS}"))
        return
    if packing > 1 or meaning == "multichannel" or width * height > limits.pixels or too_wide:
        source.faults.append(FaultFound(Fault.UNDECODED, f"composite in {source.picture.compression}, {meaning}"))
        return
    composite = Composite(fd, width, height, channels, depth, mode == 4 and depth < 32, mode == 9)
    composite.offset = layers_end + 2
    if packing == 1:
        _row_table(composite, size, big)
    source.samples = Samples(
        width, height, channels, composite.dtype, lambda: composite.bands(limits, deadline), composite.faults
    )


def _row_table(composite: Composite, size: int, big: bool) -> None:
    rows = composite.channels * composite.height
    entry = 4 if big else 2
    if composite.offset + rows * entry > size:
        raise CutShort(size)
    table = np.frombuffer(os.pread(composite.fd, rows * entry, composite.offset), f">u{entry}")
    starts = np.empty(rows + 1, np.int64)
    starts[0] = composite.offset + rows * entry
    np.cumsum(table, out=starts[1:])
    starts[1:] += starts[0]
    composite.row_starts = starts
