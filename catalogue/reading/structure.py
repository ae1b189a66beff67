"""The skeleton of a TIFF, walked without decoding: every directory, every tag's place, checked against the file.

TIFF 6.0 section 2 and the BigTIFF layout. Nothing here allocates by what the file claims: counts are compared with
the file's size before a byte is read, and the walk stops at loops and at ``Limits.pages``.
"""

import os
import struct
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from catalogue.reading.limits import Limits
from catalogue.reading.model import ANOTHER_COPY, Fault, FaultFound

TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
WHOLE_NUMBERS = {1: "u1", 3: "u2", 4: "u4", 6: "i1", 8: "i2", 9: "i4", 13: "u4", 16: "u8", 17: "i8", 18: "u8"}
FLOATS = {11: "f4", 12: "f8"}
SUB_IFDS = 330
MOST_TAGS = 4096


@dataclass(frozen=True, slots=True)
class Tag:
    """Where one value lies: type as TIFF numbers it, count of values, byte offset of the first."""

    code: int
    type: int
    count: int
    offset: int

    @property
    def size(self) -> int:
        """Bytes of all values."""
        return TYPE_BYTES[self.type] * self.count


@dataclass(frozen=True, slots=True)
class Ifd:
    """One image file directory."""

    offset: int
    tags: dict[int, Tag]
    parent: int | None = None  # index of the directory that lists it as a sub-image


@dataclass(slots=True)
class Structure:
    """All directories of one open TIFF, and what is wrong with them."""

    fd: int
    size: int
    order: str                  # "<" or ">"
    big: bool
    limits: Limits
    ifds: list[Ifd] = field(default_factory=list)
    faults: list[FaultFound] = field(default_factory=list)

    def raw(self, tag: Tag) -> bytes:
        """A tag's bytes as they lie in the file; cut at the file's end and at ``Limits.metadata_bytes``."""
        return os.pread(self.fd, min(tag.size, self.limits.metadata_bytes), tag.offset)

    def numbers(self, ifd: Ifd, code: int) -> NDArray[np.generic]:
        """A tag's numbers (rationals as float64); empty where absent or not numeric."""
        tag = ifd.tags.get(code)
        if tag is None:
            return np.zeros(0, np.int64)
        if tag.type in (5, 10):
            pairs = self._array(tag, "u4" if tag.type == 5 else "i4", 2 * tag.count)
            pairs = pairs[: len(pairs) // 2 * 2].reshape(-1, 2)
            with np.errstate(divide="ignore", invalid="ignore"):
                return np.asarray(pairs[:, 0].astype(np.float64) / pairs[:, 1].astype(np.float64))
        kind = WHOLE_NUMBERS.get(tag.type) or FLOATS.get(tag.type)
        return self._array(tag, kind, tag.count) if kind else np.zeros(0, np.int64)

    def number(self, ifd: Ifd, code: int, default: int) -> int:
        """The first number of a tag, or ``default``."""
        tag = ifd.tags.get(code)
        if tag is None or tag.count == 0 or tag.type not in WHOLE_NUMBERS:
            return default
        first = self._array(tag, WHOLE_NUMBERS[tag.type], 1)
        return int(first[0]) if len(first) else default

    def bytes_of(self, ifd: Ifd, code: int) -> bytes:
        """A tag's raw bytes, empty where absent."""
        tag = ifd.tags.get(code)
        return self.raw(tag) if tag else b""

    def text(self, ifd: Ifd, code: int) -> str:
        """An ASCII tag as text: UTF-8 where it is, else Latin-1; cut at the first NUL."""
        return decode_text(self.bytes_of(ifd, code).split(b"\0", 1)[0])

    def directory(self, offset: int) -> tuple[dict[int, Tag], int]:
        """The tags of the directory at ``offset`` and where the next one is (0: none); faults are noted."""
        head, entry, tail = (8, 20, 8) if self.big else (2, 12, 4)
        if offset + head > self.size:
            self._cut(f"an image directory lies beyond the file's end ({self.size:,} bytes)", offset)
            return {}, 0
        start = os.pread(self.fd, head, offset).ljust(head, b"\0")
        count = struct.unpack(self.order + ("Q" if self.big else "H"), start)[0]
        if count > MOST_TAGS:
            self.faults.append(FaultFound(Fault.DAMAGED, f"an image directory claims {count:,} tags", offset=offset))
            return {}, 0
        raw = os.pread(self.fd, count * entry + tail, offset + head)
        if len(raw) < count * entry:
            self._cut("the file ends inside an image directory", offset)
        tags = self._tags(raw[: count * entry], offset + head, entry)
        after = raw[count * entry :]
        return tags, int(struct.unpack(self.order + ("Q" if self.big else "I"), after)[0]) if len(after) == tail else 0

    def _tags(self, raw: bytes, base: int, entry: int) -> dict[int, Tag]:
        inline = 8 if self.big else 4
        tags: dict[int, Tag] = {}
        beyond: list[Tag] = []
        for at in range(0, len(raw) // entry * entry, entry):
            code, kind, number = struct.unpack_from(self.order + ("HHQ" if self.big else "HHI"), raw, at)
            if kind not in TYPE_BYTES:
                continue
            where = base + at + entry - inline
            if TYPE_BYTES[kind] * number > inline:
                where = struct.unpack_from(self.order + ("Q" if self.big else "I"), raw, at + entry - inline)[0]
            tag = Tag(code, kind, number, where)
            if where + tag.size > self.size:
                beyond.append(tag)
            if where < self.size:
                tags.setdefault(code, tag)
        if beyond:
            codes = ", ".join(str(tag.code) for tag in beyond[:5]) + (", …" if len(beyond) > 5 else "")
            self._cut(f"tags lie beyond the file's end ({self.size:,} bytes): {codes}", beyond[0].offset)
        return tags

    def _cut(self, detail: str, offset: int) -> None:
        self.faults.append(FaultFound(Fault.TRUNCATED, detail, ANOTHER_COPY, offset))

    def _array(self, tag: Tag, kind: str, count: int) -> NDArray[np.generic]:
        width = np.dtype(kind).itemsize
        data = os.pread(self.fd, width * min(count, self.limits.segments), tag.offset)
        values = np.frombuffer(data[: len(data) // width * width], np.dtype(self.order + kind))
        return values.astype(values.dtype.newbyteorder("="))


def decode_text(raw: bytes) -> str:
    """UTF-8 where the bytes are, else Windows' Western code page, else Latin-1 (standards say ASCII or Latin-1;
    programs write all three, which differ in 0x80 to 0x9F: there Latin-1 has control characters only)."""
    for encoding in ("utf-8", "cp1252"):
        try:
            return raw.decode(encoding).strip()
        except UnicodeDecodeError:
            continue
    return raw.decode("latin-1").strip()


def walk(fd: int, size: int, limits: Limits) -> Structure:
    """Every directory reachable from the header, main chain first, then sub-images."""
    head = os.pread(fd, 16, 0)
    order = "<" if head[:2] == b"II" else ">"
    big = head[2:4] in (b"+\0", b"\0+")
    structure = Structure(fd, size, order, big, limits)
    if len(head) < (16 if big else 8):
        structure.faults.append(FaultFound(Fault.TRUNCATED, "the file ends inside its header", offset=len(head)))
        return structure
    first = struct.unpack(order + ("Q" if big else "I"), head[8:16] if big else head[4:8])[0]
    if not first:
        structure.faults.append(FaultFound(Fault.DAMAGED, "the header points to no image"))
    seen: set[int] = set()
    _chain(structure, first, None, seen)
    for index in range(len(structure.ifds)):
        for offset in structure.numbers(structure.ifds[index], SUB_IFDS)[:64]:
            _chain(structure, int(offset), index, seen)
    return structure


def _chain(structure: Structure, offset: int, parent: int | None, seen: set[int]) -> None:
    in_chain: set[int] = set()
    while offset:
        if offset in in_chain:
            structure.faults.append(FaultFound(Fault.DAMAGED, "the list of images runs in a circle", offset=offset))
            return
        if len(structure.ifds) >= structure.limits.pages:
            structure.faults.append(FaultFound(Fault.DAMAGED,
                                               f"more than {structure.limits.pages:,} images in one file"))
            return
        if offset in seen:  # two images share a sub-image, which is allowed
            return
        seen.add(offset)
        in_chain.add(offset)
        offset = _directory(structure, offset, parent)


def _directory(structure: Structure, offset: int, parent: int | None) -> int:
    """Read one directory; the offset of the next, 0 at the end."""
    tags, after = structure.directory(offset)
    if tags:
        structure.ifds.append(Ifd(offset, tags, parent))
    return after
