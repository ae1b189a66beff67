"""Which stretches of a file get their own digest, and which part of the picture each covers.

Stretches follow one another from byte 0 to the end of the file, so every byte belongs to exactly one.
"""

import numpy as np

from catalogue.reading.image import Image
from catalogue.reading.limits import MIB
from catalogue.reading.model import SegmentDigest
from catalogue.reading.reduce import spans


def stretch_bytes(size: int) -> int:
    """1 to 4 MiB, so that a file has about a thousand stretches; more where it would have over 4096."""
    return max(MIB, min(4 * MIB, size // 1024), size // 4096)


def plain_stretches(size: int, start: int = 0) -> tuple[SegmentDigest, ...]:
    """Stretches from ``start`` that know no place in a picture."""
    if size <= start:
        return ()
    step = stretch_bytes(size)
    return tuple(SegmentDigest(start + a, b - a, "") for a, b in spans(size - start, step))


def raster_stretches(image: Image, size: int) -> tuple[SegmentDigest, ...]:
    """Stretches made of whole strips or tiles where possible, each with the raster rectangle it holds.

    Falls back to plain ones where segments overlap or leave the file.
    """
    known = min(len(image.offsets), len(image.counts), image.segments)
    index = np.flatnonzero(image.counts[:known] > 0)
    index = index[np.argsort(image.offsets[index], kind="stable")]
    starts, lengths = image.offsets[index], image.counts[index]
    ends = starts + lengths
    if not len(index) or starts[0] < 0 or ends[-1] > size or (starts[1:] < ends[:-1]).any():
        return plain_stretches(size)
    target = stretch_bytes(size)
    stretches = [SegmentDigest(a, b - a, "") for a, b in spans(int(starts[0]), target)] if starts[0] else []
    first = 0
    while first < len(index):
        last = max(first + 1, int(np.searchsorted(ends, starts[first] + target, side="right")))
        stop = int(starts[last]) if last < len(index) else int(ends[-1])
        stretches += _group(image, index[first:last].tolist(), int(starts[first]), stop, target)
        first = last
    return tuple(stretches) + plain_stretches(size, int(ends[-1]))


def _group(image: Image, index: list[int], start: int, stop: int, target: int) -> list[SegmentDigest]:
    """One stretch for a group of segments, or several for one segment larger than ``target``."""
    boxes = [_box(image, i) for i in index]
    left, top = min(b[0] for b in boxes), min(b[1] for b in boxes)
    right, bottom = max(b[2] for b in boxes), max(b[3] for b in boxes)
    if len(index) > 1 or stop - start <= 2 * target:
        return [SegmentDigest(start, stop - start, "", left, top, right - left, bottom - top)]
    row_bytes = image.stored_row_bytes() if image.compression == 1 and not image.tiled else 0
    if not row_bytes:
        return [
            SegmentDigest(start + a, b - a, "", left, top, right - left, bottom - top)
            for a, b in spans(stop - start, target)
        ]
    rows = max(1, target // row_bytes)
    parts = [(a, b, top + a // row_bytes) for a, b in spans(stop - start, rows * row_bytes)]
    return [
        SegmentDigest(start + a, b - a, "", left, y, right - left, max(0, min(bottom, y + rows) - y))
        for a, b, y in parts
    ]


def _box(image: Image, index: int) -> tuple[int, int, int, int]:
    """Left, top, right, bottom of a segment in the stored raster."""
    row, column = divmod(index % (image.rows_of_segments * image.columns_of_segments), image.columns_of_segments)
    left, top = column * image.segment_width, row * image.segment_height
    return (left, top, min(image.width, left + image.segment_width), min(image.height, top + image.segment_height))
