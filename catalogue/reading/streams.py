"""Compressed strips too large to decode in one piece, decoded as they are read: Deflate, LZMA and LZW."""

import os
import zlib
from collections.abc import Iterator
from typing import Any

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.reading.digests import ReadFailed
from catalogue.reading.image import DEFLATE, LZMA, LZW

READ_BYTES = 1 << 18
LOST_BYTES = 1 << 18   # decoded at a time: zlib keeps to itself what it inflated in the call that meets a fault
DEFLATE_CODE = 8
CLEAR, END = 256, 257


def can_stream(compression: int) -> bool:
    """Whether a strip of this compression can be decoded piece by piece."""
    return compression in DEFLATE | {LZW, LZMA}


class Stream:
    """Bytes that come in pieces, such as the decoded ones of a strip, asked for a few rows at a time. Memory does not
    grow with their number."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces
        self._left = bytearray()
        self.dead = False   # failed or ended early: no more data

    def read(self, count: int) -> tuple[bytes, Exception | None]:
        """``count`` bytes, fewer at the end, and what the codec or the medium refused, with the bytes before that."""
        error: Exception | None = None
        try:
            while len(self._left) < count and (piece := next(self._pieces, None)) is not None:
                self._left += piece
        except Exception as refusal:  # the codec edge
            error = refusal
        data = bytes(self._left[:count])
        del self._left[:count]
        return data, error


def inflated_prefix(data: bytes, wanted: int) -> tuple[bytes, Exception | None]:
    """The first ``wanted`` bytes of a zlib stream, and why it is not sound: a fault in it, no end, a wrong checksum.

    Read to its end in pieces, however much it holds; bytes after the end do not matter (RFC 1950, 2.2).
    """
    prefix = bytearray()
    slices = (data[at : at + READ_BYTES] for at in range(0, len(data), READ_BYTES))
    try:
        for piece in inflated(slices, DEFLATE_CODE, LOST_BYTES):
            prefix += piece[: wanted - len(prefix)]
    except (zlib.error, EOFError) as error:
        return bytes(prefix), error
    return bytes(prefix), None


def decoded(fd: int, offset: int, count: int, compression: int, step: int) -> Iterator[bytes]:
    """The decoded bytes of a strip of ``count`` bytes, some ``step`` at a time. Raises what the codec raises."""
    pieces = _stored(fd, offset, count)
    return unlzw(pieces) if compression == LZW else inflated(pieces, compression, min(step, LOST_BYTES))


def _stored(fd: int, offset: int, count: int) -> Iterator[bytes]:
    end = offset + count
    while offset < end:
        try:
            data = os.pread(fd, min(READ_BYTES, end - offset), offset)
        except OSError as error:
            raise ReadFailed(offset, error) from error
        if not data:
            return
        offset += len(data)
        yield data


def inflated(pieces: Iterator[bytes], compression: int, step: int) -> Iterator[bytes]:
    """Deflate or LZMA, at most ``step`` bytes at a time. Raises what the codec raises, its checksum's complaint
    included, and ``EOFError`` where the stream does not end."""
    if compression == LZMA:
        import lzma  # some builds of Python come without it

        unpacker = lzma.LZMADecompressor()
        for piece in pieces:
            yield unpacker.decompress(piece, step)
            while not unpacker.needs_input and not unpacker.eof:
                yield unpacker.decompress(b"", step)
            if unpacker.eof:
                return
    else:
        deflated = zlib.decompressobj()
        for piece in pieces:
            yield deflated.decompress(piece, step)
            while deflated.unconsumed_tail and not deflated.eof:
                yield deflated.decompress(deflated.unconsumed_tail, step)
            if deflated.eof:
                return
    raise EOFError("its compressed data is cut short")


def _widths(most: int) -> NDArray[np.int64]:
    """Bits of each code after a Clear (TIFF 6.0, section 13: wider from table entries 511, 1023 and 2047)."""
    number = np.arange(1, most + 1)
    return 9 + (number >= 255).astype(np.int64) + (number >= 767) + (number >= 1791)


MOST_CODES = 4096 + 256
WIDTHS = _widths(MOST_CODES)
STARTS = np.concatenate([[0], np.cumsum(WIDTHS)])   # bits from the first code of a run to each
MASKS = (1 << WIDTHS) - 1
RUN_BYTES = int(STARTS[-1]) // 8 + 8


def unlzw(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """LZW as TIFF writes it (most significant bit first), decoded from one Clear code to the next.

    The table starts again at a Clear, at the latest after about 3,800 codes, so the stretch between two is a stream of
    its own. Its end is found without decoding it, for a code's width follows from its number alone. Raises
    ``ValueError`` for streams that never clear.
    """
    held = b""
    at = 0   # bit of the next code in ``held``
    ended = False
    first = True
    while True:
        while not ended and len(held) - at // 8 < RUN_BYTES:
            piece = next(pieces, None)
            ended = piece is None
            held = held[at // 8 :] + (piece or b"")
            at %= 8
        if first:   # the stream opens with a Clear of 9 bits
            if held[:1] != b"\x80":
                raise ValueError("an LZW strip does not begin with a Clear code")
            at, first = at + 9, False
        codes, bits = _codes(held, at)
        stop = np.flatnonzero(codes >= CLEAR)
        stop = stop[(codes[stop] == CLEAR) | (codes[stop] == END)]
        count = int(stop[0]) if len(stop) else len(codes)
        if not len(stop) and count == MOST_CODES:
            raise ValueError("an LZW strip does not clear its table")
        if count:
            yield _decoded(held, at, int(bits[count]), int(WIDTHS[count]))
        if not len(stop) or codes[count] == END:
            return
        at += int(bits[count]) + int(WIDTHS[count])


def _codes(held: bytes, at: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The codes of a run that starts at bit ``at``, as far as the bytes go, and their places from there."""
    room = int(np.searchsorted(STARTS, 8 * len(held) - at, side="right")) - 1
    count = max(0, min(MOST_CODES, room))
    positions = STARTS[:count] + at
    raw = np.frombuffer(held + b"\0\0\0", np.uint8)
    index = positions >> 3
    window = (raw[index].astype(np.int64) << 16) | (raw[index + 1].astype(np.int64) << 8) | raw[index + 2]
    return (window >> (24 - (positions & 7) - WIDTHS[:count])) & MASKS[:count], STARTS[: count + 1]


def _decoded(held: bytes, at: int, bits: int, end_width: int) -> Any:
    """A run's bytes: a Clear before it, an end code after it, shifted to whole bytes."""
    last = at + bits
    number = int.from_bytes(held[at // 8 : -(-last // 8)], "big") >> (-last % 8)
    number &= (1 << bits) - 1
    total = 9 + bits + end_width
    number = ((CLEAR << bits | number) << end_width | END) << (-total % 8)
    return imagecodecs.lzw_decode(number.to_bytes(-(-total // 8), "big"))
