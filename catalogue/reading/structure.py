"""The skeleton of a TIFF, walked without decoding: every directory, every tag's place, checked against the file.

TIFF 6.0 section 2 and the BigTIFF layout. Nothing here allocates by what the file claims: counts are compared with
the file's size before a byte is read, and the walk stops at loops and at ``Limits.pages``.
"""

import os
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

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
    """All directories of one TIFF, and their faults. ``read`` returns bytes from an offset, fewer at the end."""

    read: Callable[[int, int], bytes]
    size: int
    order: str                  # "<" or ">"
    big: bool
    limits: Limits
    most_tags: int = MOST_TAGS  # of a directory; one that claims more is taken for no directory
    ifds: list[Ifd] = field(default_factory=list)
    faults: list[FaultFound] = field(default_factory=list)

    @property
    def offset_form(self) -> str:
        """The struct format of an offset."""
        return self.order + ("Q" if self.big else "I")

    @property
    def count_form(self) -> str:
        """The struct format of a directory's tag count."""
        return self.order + ("Q" if self.big else "H")

    @property
    def inline_bytes(self) -> int:
        """Bytes of an offset; a value that takes no more stands in its place."""
        return 8 if self.big else 4

    @property
    def entry_bytes(self) -> int:
        """Bytes of one tag in a directory."""
        return 20 if self.big else 12

    def raw(self, tag: Tag) -> bytes:
        """A tag's bytes as they lie in the file; cut at the file's end and at ``Limits.metadata_bytes``."""
        return self.read(min(tag.size, self.limits.metadata_bytes), tag.offset)

    def numbers(self, ifd: Ifd, code: int) -> NDArray[np.generic]:
        """A tag's numbers (rationals as float64); empty if absent or not numeric."""
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
        """A tag's raw bytes, empty if absent."""
        tag = ifd.tags.get(code)
        return self.raw(tag) if tag else b""

    def texts(self, ifd: Ifd) -> dict[int, str]:
        """All ASCII tags as text, each cut at its first NUL."""
        return {code: decode_text(self.raw(tag).split(b"\0", 1)[0]) for code, tag in ifd.tags.items() if tag.type == 2}

    def directory(self, offset: int) -> tuple[dict[int, Tag], int]:
        """The tags of the directory at ``offset`` and where the next one is (0: none); faults are noted."""
        head, entry, tail = struct.calcsize(self.count_form), self.entry_bytes, self.inline_bytes
        if offset + head > self.size:
            self._cut(f"an image directory lies beyond the file's end ({self.size:,} bytes)", offset)
            return {}, 0
        count = struct.unpack(self.count_form, self.read(head, offset).ljust(head, b"\0"))[0]
        if count > self.most_tags:
            self.faults.append(FaultFound(Fault.DAMAGED, f"an image directory claims {count:,} tags", offset=offset))
            return {}, 0
        raw = self.read(count * entry + tail, offset + head)
        if len(raw) < count * entry:
            self._cut("the file ends inside an image directory", offset)
        tags = self._tags(raw[: count * entry], offset + head, entry)
        after = raw[count * entry :]
        return tags, int(struct.unpack(self.offset_form, after)[0]) if len(after) == tail else 0

    def _tags(self, raw: bytes, base: int, entry: int) -> dict[int, Tag]:
        inline = self.inline_bytes
        tags: dict[int, Tag] = {}
        beyond: list[Tag] = []
        for at in range(0, len(raw) // entry * entry, entry):
            code, kind, number = struct.unpack_from(f"{self.order}HH{self.offset_form[1]}", raw, at)
            if kind not in TYPE_BYTES:
                continue
            where = base + at + entry - inline
            if TYPE_BYTES[kind] * number > inline:
                where = struct.unpack_from(self.offset_form, raw, at + entry - inline)[0]
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
        data = self.read(width * min(count, self.limits.segments), tag.offset)
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


def opened(read: Callable[[int, int], bytes], size: int, limits: Limits) -> tuple[Structure, int]:
    """A TIFF of which nothing is read but its header, and where its first directory is (0: nowhere)."""
    head = read(16, 0)
    structure = Structure(read, size, "<" if head[:2] == b"II" else ">", head[2:4] in (b"+\0", b"\0+"), limits)
    at = structure.inline_bytes
    if len(head) < 2 * at:
        structure.faults.append(FaultFound(Fault.TRUNCATED, "the file ends inside its header", offset=len(head)))
        return structure, 0
    return structure, struct.unpack_from(structure.offset_form, head, at)[0]


def walk(fd: int, size: int, limits: Limits) -> Structure:
    """Every directory reachable from the header, main chain first, then sub-images."""
    structure, first = opened(partial(os.pread, fd), size, limits)
    if structure.faults:
        return structure
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
            structure.faults.append(FaultFound(Fault.DAMAGED, "the list of images loops back on itself", offset=offset))
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
