"""A compressed segment's own header compared with the tags around it, before anything is decoded."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass

from catalogue.reading.image import JPEG_2000, JPEGS

START_AND_SIZE = b"\xff\x4f\xff\x51"
FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}   # SOF0 to SOF15 without DHT, JPG, DAC


@dataclass(frozen=True, slots=True)
class Frame:
    """A JPEG's frame header (ISO/IEC 10918-1, B.2.2): ``sampling`` is (across, down) of each component."""

    marker: int
    bits: int
    height: int
    width: int
    sampling: tuple[tuple[int, int], ...]


def refuse_contradiction(
    data: bytes, compression: int, width: int, height: int, bits: int, subsampling: tuple[int, int] | None
) -> None:
    """Raise ValueError if a segment of ``width`` × ``height`` pixels contradicts the file around it.

    A JPEG 2000 codestream is decoded at the size it states itself (ISO/IEC 15444-1, A.5.1, SIZ). A JPEG must have the
    file's bits a sample, and the chroma subsampling of tag 530 where there is one (TIFF Technical Note 2): a decoder
    that believes the JPEG alone gives out noise. ``subsampling``: the tag's numbers, (1, 1) where no chroma is
    subsampled, ``None`` for unknown.
    """
    if compression in JPEG_2000:
        _refuse_larger(data, width, height)
    elif compression in JPEGS and compression != 6 and (frame := next(frames(data), None)):
        if frame.bits != bits and frame.marker != 0xC3:   # lossless JPEG states what raw samples need, no more
            raise ValueError(f"holds {frame.bits}-bit samples where the file declares {bits}-bit ones")
        wanted = (subsampling, *((1, 1),) * (len(frame.sampling) - 1))
        if subsampling and frame.sampling != wanted and frame.marker != 0xC3:
            raise ValueError("its colours are sampled differently from what the file promises")


def _refuse_larger(data: bytes, width: int, height: int) -> None:
    at = data.find(START_AND_SIZE)
    if at < 0 or len(data) < at + 24:
        return
    right, bottom, left, top = struct.unpack_from(">4I", data, at + 8)
    if right - left > width or bottom - top > height:
        raise ValueError(f"holds {right - left:,} × {bottom - top:,} pixels where the file declares "
                         f"{width:,} × {height:,}")


def frames(data: bytes) -> Iterator[Frame]:
    """The frame headers of a JPEG before its first scan."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] not in (0xDA, 0xD9):
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        body = data[at + 4 : at + 2 + length]
        if frame := frame_of(data[at + 1], body):
            yield frame
        at += 2 + length


def frame_of(marker: int, body: bytes) -> Frame | None:
    """A segment's frame header; ``None`` for other segments and truncated ones."""
    if marker not in FRAMES or len(body) < 6 or len(body) < 6 + 3 * body[5]:
        return None
    bits, height, width, components = struct.unpack_from(">BHHB", body)
    sampled = (body[6 + 3 * k + 1] for k in range(components))
    return Frame(marker, bits, height, width, tuple((s >> 4, s & 15) for s in sampled))
