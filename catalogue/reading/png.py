"""PNG files (ISO/IEC 15948): every chunk against its checksum, and the pixels row by row, whatever their number.

The coded rows are inflated as they are read. Undoing their filters is left to libpng: each band of filtered rows, below
the last row before it, is handed over as a small PNG of its own whose data are merely stored. Interlaced pictures
(Adam7) need the whole picture at once and are decoded whole.
"""

import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.errors import one_line
from catalogue.reading.digests import ReadFailed
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import ANOTHER_COPY, Fault, FaultFound
from catalogue.reading.reduce import bands_of, rows_at_a_time, spans
from catalogue.reading.source import Rows
from catalogue.reading.streams import DEFLATE_CODE, READ_BYTES, Stream, inflated
from catalogue.reading.trouble import read_at

GREY, RGB, PALETTE, GREY_ALPHA, RGB_ALPHA = 0, 2, 3, 4, 6
CHANNELS = {GREY: 1, RGB: 3, PALETTE: 1, GREY_ALPHA: 2, RGB_ALPHA: 4}
DEPTHS = {GREY: (1, 2, 4, 8, 16), RGB: (8, 16), PALETTE: (1, 2, 4, 8), GREY_ALPHA: (8, 16), RGB_ALPHA: (8, 16)}
SIGNATURE = b"\x89PNG\r\n\x1a\n"
# A filter looks back by the bytes of a pixel (9.2): a picture of the same step, as colour type and depth.
STEPS = {1: (GREY, 8), 2: (GREY_ALPHA, 8), 3: (RGB, 8), 4: (RGB_ALPHA, 8), 6: (RGB, 16), 8: (RGB_ALPHA, 16)}


@dataclass(frozen=True, slots=True)
class Header:
    """IHDR (11.2.2)."""

    width: int
    height: int
    depth: int
    colour: int
    interlaced: bool

    @property
    def row_bytes(self) -> int:
        """Bytes of an unfiltered row."""
        return -(-self.width * CHANNELS[self.colour] * self.depth // 8)

    @property
    def step(self) -> int:
        """Bytes by which filters look back."""
        return max(1, CHANNELS[self.colour] * self.depth // 8)


@dataclass(slots=True)
class Chunks:
    """All chunks of one file but those of pixels read, their checksums compared, and what is wrong with them."""

    header: Header | None = None
    bodies: dict[bytes, list[bytes]] = field(default_factory=dict)   # by kind, in order; the oversized left out
    coded: list[tuple[int, int]] = field(default_factory=list)       # offset and length of each IDAT's data
    ended: bool = False
    faults: list[FaultFound] = field(default_factory=list)

    def first(self, kind: bytes) -> bytes:
        """The first chunk of a kind, empty if there is none."""
        return self.bodies.get(kind, [b""])[0]


def read_chunks(fd: int, size: int, limits: Limits) -> Chunks:
    """Walk the file to its IEND. Raises ``ReadFailed``."""
    chunks = Chunks()
    at = len(SIGNATURE)
    while at < size and not chunks.ended:
        head = read_at(fd, 8, at)
        length = int.from_bytes(head[:4], "big")
        kind = head[4:8]
        if at + 12 + length > size:
            chunks.faults.append(_cut(f"its chunk {_name(kind)} reaches beyond the file's end ({size:,} bytes)", at))
            if kind == b"IDAT":
                chunks.coded.append((at + 8, max(0, size - at - 8)))
            break
        if kind == b"IDAT":
            chunks.coded.append((at + 8, length))
        else:
            _take(chunks, fd, kind, at, length, limits)
        at += 12 + length
        if len(chunks.coded) > limits.segments:
            chunks.faults.append(FaultFound(Fault.DAMAGED, f"holds over {limits.segments:,} chunks of pixels"))
            break
    if not chunks.ended and not chunks.faults:
        chunks.faults.append(_cut("ends before its last chunk, IEND", size))
    _judge(chunks)
    return chunks


def _take(chunks: Chunks, fd: int, kind: bytes, at: int, length: int, limits: Limits) -> None:
    crc = zlib.crc32(kind)
    body = b""
    for start, stop in spans(length, READ_BYTES):
        piece = read_at(fd, stop - start, at + 8 + start)
        crc = zlib.crc32(piece, crc)
        if length <= limits.metadata_bytes:
            body += piece
    if crc != int.from_bytes(read_at(fd, 4, at + 8 + length), "big"):
        detail = f"the checksum of its chunk {_name(kind)} is wrong"
        chunks.faults.append(FaultFound(Fault.DAMAGED, detail, ANOTHER_COPY, at))
    if length <= limits.metadata_bytes:
        chunks.bodies.setdefault(kind, []).append(body)
    chunks.ended = kind == b"IEND"


def _judge(chunks: Chunks) -> None:
    """The header, and whether there is anything to decode."""
    raw = chunks.first(b"IHDR")
    if len(raw) == 13:
        width, height, depth, colour, method, filters, interlace = struct.unpack(">IIBBBBB", raw)
        if 0 < width < 1 << 31 and 0 < height < 1 << 31 and depth in DEPTHS.get(colour, ()) and not method + filters:
            chunks.header = Header(width, height, depth, colour, interlace == 1)
    if chunks.header is None:
        chunks.faults.append(FaultFound(Fault.DAMAGED, "its header is invalid", ANOTHER_COPY))
    elif not chunks.coded and not chunks.faults:
        chunks.faults.append(FaultFound(Fault.DAMAGED, "holds no pixels", ANOTHER_COPY))


def _cut(detail: str, offset: int) -> FaultFound:
    return FaultFound(Fault.TRUNCATED, detail, ANOTHER_COPY, offset)


def _name(kind: bytes) -> str:
    text = kind.decode("latin-1")
    return text if text.isascii() and text.isalpha() else kind.hex()


class PngRows:
    """The rows of one PNG, from the top down; zeros from where they cannot be decoded."""

    def __init__(self, fd: int, header: Header, chunks: Chunks, limits: Limits, deadline: Deadline) -> None:
        self.fd, self.header, self.chunks, self.limits, self.deadline = fd, header, chunks, limits, deadline
        self.faults: list[FaultFound] = []
        self.rows_decoded = 0
        self.ended = True   # the coded data did not end before their stream does

    def bands(self) -> Iterator[Rows]:
        """Rows × width × channels: uint16 at 16 bits, else uint8 with samples of under 8 bits unpacked, not scaled."""
        header = self.header
        row_bytes = 1 + header.row_bytes
        stream = Stream(self._filtered())
        above = bytes(header.row_bytes)
        for start, stop in spans(header.height, rows_at_a_time(header.row_bytes, self.limits.band_bytes)):
            data = self._next(stream, (stop - start) * row_bytes)
            rows = len(data) // row_bytes
            band = np.zeros((stop - start, header.width, CHANNELS[header.colour]), self.dtype)
            if rows:
                part, above = self._unfiltered(data[: rows * row_bytes], rows, above)
                band[: len(part)] = part
                self.rows_decoded += len(part)
            yield band
        while self._next(stream, READ_BYTES):   # what follows the last row: its end, its checksums
            continue
        if not (self.faults or self.chunks.faults) and (self.rows_decoded < header.height or not self.ended):
            self._note(Fault.DAMAGED, "its pixel data ends before the picture is complete")

    def _next(self, stream: Stream, count: int) -> bytes:
        """The next bytes of filtered rows. Raises ``OutOfTime``, ``ReadFailed``."""
        self.deadline.check()
        data, error = stream.read(count)
        if error is not None:
            raise error
        return data

    def bands_at_once(self, decode: Callable[[], Rows]) -> Iterator[Rows]:
        """As :meth:`bands`, of an interlaced picture, which ``decode`` gives whole."""
        self.compare_checksums()
        try:
            picture = decode()
        except Exception as error:  # the codec edge
            self._note(Fault.DAMAGED, f"its pixel data cannot be decoded: {one_line(error)}")
            return
        self.rows_decoded = len(picture)
        yield from bands_of(picture, self.limits, self.deadline)

    def compare_checksums(self) -> None:
        """Check all chunks of pixels; mismatches are added to the faults."""
        for _ in self._coded():
            self.deadline.check()

    @property
    def dtype(self) -> np.dtype[np.uint8] | np.dtype[np.uint16]:
        """The type of the returned samples."""
        return np.dtype(np.uint16) if self.header.depth == 16 else np.dtype(np.uint8)

    def _filtered(self) -> Iterator[bytes]:
        """Filtered rows as they are inflated; every chunk's checksum is compared on the way, also behind a fault."""
        coded = self._coded()
        try:
            yield from inflated(coded, DEFLATE_CODE, READ_BYTES)
        except zlib.error as error:
            self._note(Fault.DAMAGED, f"its pixel data cannot be decoded: {error}")
        except EOFError:
            self.ended = False
        for _ in coded:
            self.deadline.check()

    def _coded(self) -> Iterator[bytes]:
        """The bytes of all chunks of pixels."""
        for offset, length in self.chunks.coded:
            crc = zlib.crc32(b"IDAT")
            for start, stop in spans(length, READ_BYTES):
                try:
                    piece = read_at(self.fd, stop - start, offset + start)
                except ReadFailed as error:
                    self.faults.append(FaultFound(Fault.UNREADABLE, str(error), ANOTHER_COPY, error.offset))
                    return
                crc = zlib.crc32(piece, crc)
                yield piece
            stated = read_at(self.fd, 4, offset + length)
            if len(stated) == 4 and crc != int.from_bytes(stated, "big"):
                self._note(Fault.DAMAGED, "the checksum of a chunk of pixels is wrong", offset - 8)

    def _unfiltered(self, filtered: bytes, rows: int, above: bytes) -> tuple[Rows, bytes]:
        """Rows × width × channels, and the last of them as bytes."""
        header = self.header
        colour, depth = STEPS[header.step]
        pixels = header.row_bytes // header.step
        head = struct.pack(">IIBBBBB", pixels, rows + 1, depth, colour, 0, 0, 0)
        data = zlib.compress(b"\0" + above + filtered, 0)
        small = b"".join((SIGNATURE, _chunk(b"IHDR", head), _chunk(b"IDAT", data), _chunk(b"IEND", b"")))
        try:
            decoded = np.asarray(imagecodecs.png_decode(small))[1:]
        except Exception as error:  # the codec edge: a filter that does not exist
            self._note(Fault.DAMAGED, f"its pixel data cannot be decoded: {error}")
            return np.zeros((0, header.width, CHANNELS[header.colour]), self.dtype), above
        plain = decoded.reshape(rows, -1)
        if header.depth == 16 and plain.dtype == np.uint8:
            plain = plain.view(">u2").astype(np.uint16)
        last = plain[-1].astype(">u2").tobytes() if header.depth == 16 else plain[-1].tobytes()
        if header.depth < 8:
            unpacked = imagecodecs.packints_decode(plain.tobytes(), np.uint8, header.depth, runlen=header.width)
            plain = np.asarray(unpacked)
        return plain.reshape(rows, header.width, -1), last

    def _note(self, kind: Fault, detail: str, offset: int | None = None) -> None:
        if not any(fault.detail == detail for fault in self.faults):
            self.faults.append(FaultFound(kind, detail, ANOTHER_COPY, offset))


def _chunk(kind: bytes, body: bytes) -> bytes:
    return b"".join((struct.pack(">I", len(body)), kind, body, struct.pack(">I", zlib.crc32(body, zlib.crc32(kind)))))


def transparent(band: Rows, header: Header, key: bytes, palette: NDArray[np.uint8]) -> Rows:
    """A band with its tRNS applied (11.3.2.1): grey and RGB get an alpha channel, palette entries become RGBA.

    ``key``: the chunk's body. Samples of under 8 bits as unpacked. ``palette``: entries × 3.
    """
    if header.colour == PALETTE:
        opacity = np.full(len(palette), 255, np.uint8)
        stated = np.frombuffer(key, np.uint8)[: len(palette)]
        opacity[: len(stated)] = stated
        table = np.concatenate([palette, opacity[:, None]], axis=1)
        return np.asarray(table[np.minimum(band[..., 0], len(table) - 1)])
    colour = np.array(struct.unpack(f">{len(key) // 2}H", key), band.dtype)
    most = np.iinfo(band.dtype).max
    alpha = np.where((band == colour).all(axis=2, keepdims=True), 0, most).astype(band.dtype)
    return np.concatenate([band, alpha], axis=2)
