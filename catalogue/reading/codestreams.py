"""What a compressed segment says of its own size, before anything is decoded."""

import struct

from .image import JPEG_2000

START_AND_SIZE = b"\xff\x4f\xff\x51"


def refuse_larger(data: bytes, compression: int, width: int, height: int) -> None:
    """A JPEG 2000 codestream is decoded at the size it states itself, whatever the file around it promises.

    Raises ValueError if that is larger than ``width`` × ``height`` pixels. ISO/IEC 15444-1, A.5.1 (SIZ).
    """
    at = data.find(START_AND_SIZE) if compression in JPEG_2000 else -1
    if at < 0 or len(data) < at + 24:
        return
    right, bottom, left, top = struct.unpack_from(">4I", data, at + 8)
    if right - left > width or bottom - top > height:
        raise ValueError(f"holds {right - left:,} × {bottom - top:,} pixels where the file promises "
                         f"{width:,} × {height:,}")
