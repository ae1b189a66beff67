"""Which regions of a picture are damaged, from the digests of the file's stretches taken when it was indexed."""

import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace

from catalogue.fixity.checking import read_at
from catalogue.progress import Cancelled, Stopped
from catalogue.reading.digests import ReadFailed
from catalogue.reading.model import Picture, SegmentDigest

BUFFER_BYTES = 2 << 20


@dataclass(frozen=True, slots=True)
class Region:
    """A rectangle of the picture as displayed: fractions of its width and height, from the top left."""

    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True, slots=True)
class Damage:
    """The parts of a file that differ from what was recorded.

    ``regions`` is empty if the damage lies outside the picture (tags, profile, thumbnail, further pages), which
    ``outside_picture`` says, or cannot be placed, as in all formats but TIFF. ``offset`` is the first byte of a stretch
    that differs; ``bytes`` the length of all that differ, a stretch being the smallest unit that can be told.
    """

    regions: tuple[Region, ...]
    offset: int
    bytes: int
    stretches: int
    outside_picture: bool

    @property
    def share(self) -> float:
        """Of the picture's area, 0 to 1, at most: regions of tiled files may overlap."""
        return min(1.0, sum((r.right - r.left) * (r.bottom - r.top) for r in self.regions))


def bad_stretches(path: str, segments: Sequence[SegmentDigest], cancelled: Cancelled) -> list[SegmentDigest]:
    """The stretches whose bytes differ from the record, or can no longer be read.

    Raises ``OSError`` when the file cannot be opened, ``Stopped`` when cancelled.
    """
    fd = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        return [segment for segment in segments if not _holds(fd, segment, cancelled)]
    finally:
        os.close(fd)


def _holds(fd: int, segment: SegmentDigest, cancelled: Cancelled) -> bool:
    from xxhash import xxh3_64

    digest, bytes_read = xxh3_64(), 0
    buffer = memoryview(bytearray(min(BUFFER_BYTES, max(segment.length, 1))))
    while bytes_read < segment.length:
        if cancelled():
            raise Stopped
        try:
            count = read_at(fd, buffer[:segment.length - bytes_read], segment.offset + bytes_read)
        except ReadFailed:
            return False
        if not count:
            return False
        digest.update(buffer[:count])
        bytes_read += count
    return digest.hexdigest() == segment.digest


def cut_cleanly(bad: Sequence[SegmentDigest], segments: Sequence[SegmentDigest], size: int) -> bool:
    """Whether a shorter file is the old one cut off: every stretch that still fits into ``size`` bytes holds."""
    whole = [s for s in segments if s.offset + s.length <= size]
    return bool(whole) and not any(s in whole for s in bad)


def locate_damage(bad: Sequence[SegmentDigest], segments: Sequence[SegmentDigest],
                  picture: Picture | None) -> Damage | None:
    """Bad stretches, of all the file's ``segments``, as regions of the picture as shown; None when there are none."""
    if not bad:
        return None
    pixels = _in_raster(bad)
    regions = _merged([_region(s, picture) for s in pixels]) if picture and picture.width and picture.height else []
    return Damage(tuple(regions), min(s.offset for s in bad), sum(s.length for s in bad), len(bad),
                  len(pixels) < len(bad) and bool(_in_raster(segments)))


def _in_raster(segments: Sequence[SegmentDigest]) -> list[SegmentDigest]:
    """The stretches whose place in the picture is known; none in formats other than TIFF."""
    return [segment for segment in segments if segment.width and segment.height]


def _region(segment: SegmentDigest, picture: Picture) -> Region:
    turned = picture.orientation >= 5
    width, height = (picture.height, picture.width) if turned else (picture.width, picture.height)
    left, right = segment.x / width, min(1.0, (segment.x + segment.width) / width)
    top, bottom = segment.y / height, min(1.0, (segment.y + segment.height) / height)
    return oriented(Region(left, top, right, bottom), picture.orientation)


def oriented(region: Region, orientation: int) -> Region:
    """A region of the stored raster as shown. ``orientation`` is TIFF 6.0's tag 274: where row and column 0 lie."""
    x, y = (region.left, region.right), (region.top, region.bottom)
    if orientation >= 5:
        x, y = y, x
    if orientation in (2, 3, 6, 7):
        x = (1 - x[1], 1 - x[0])
    if orientation in (3, 4, 7, 8):
        y = (1 - y[1], 1 - y[0])
    return Region(x[0], y[0], x[1], y[1])


def _merged(regions: list[Region]) -> list[Region]:
    """Regions that share a whole side merged into one: first along rows, then down columns."""
    rows = _joined(set(regions))
    return [_transposed(region) for region in _joined(map(_transposed, rows))]


def _joined(regions: Iterable[Region]) -> list[Region]:
    """Regions of one top and bottom that touch, joined into one."""
    joined: list[Region] = []
    for region in sorted(regions, key=lambda r: (r.top, r.bottom, r.left)):
        last = joined[-1] if joined else None
        if last and (last.top, last.bottom) == (region.top, region.bottom) and region.left <= last.right:
            joined[-1] = replace(last, right=max(last.right, region.right))
        else:
            joined.append(region)
    return joined


def _transposed(region: Region) -> Region:
    return Region(region.top, region.left, region.bottom, region.right)


def as_text(damage: Damage) -> str:
    """Damage as JSON, for the catalogue."""
    return json.dumps(asdict(damage))


def from_text(text: str) -> Damage:
    """The inverse of :func:`as_text`."""
    values = json.loads(text)
    regions = tuple(Region(**r) for r in values.pop("regions"))
    return Damage(regions=regions, **values)
