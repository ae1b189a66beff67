"""Metadata into a new TIFF file: every byte of the old one kept, a new first directory put after its end.

Nothing that was there moves, so picture data, layers and further pages stay where their offsets say. The pixel digest
of the copy is proven equal before it gets its name.
"""

import os
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from catalogue.errors import Damaged, Refused
from catalogue.fixity.copying import staged_copy
from catalogue.intake.packets import Description, packet
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.reading.file import read_file
from catalogue.storage.medium import writing

ARTIST, XMP, COPYRIGHT = 315, 700, 33432
_BYTE, _ASCII = 1, 2
PADDING = 2000


@dataclass(frozen=True, slots=True)
class _Form:
    """One of the two TIFF forms in one of the two byte orders. Sizes in bytes."""

    order: str
    big: bool

    @property
    def offset(self) -> str:
        return self.order + ("Q" if self.big else "I")

    @property
    def offset_size(self) -> int:
        return 8 if self.big else 4

    @property
    def count(self) -> str:
        return self.order + ("Q" if self.big else "H")

    @property
    def entry_size(self) -> int:
        return 20 if self.big else 12

    @property
    def pointer_at(self) -> int:
        return 8 if self.big else 4


def described_copy(source: Path, target: Path, description: Description, *, sha256: str,
                   report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> str:
    """A copy of a TIFF with the description in it; gives the copy's SHA-256. The source is only read.

    Raises:
        Refused: no TIFF, its XMP cannot be understood, it would outgrow 4 GiB, or the target is taken.
        Damaged: the source is not what its digest says, or the copy's pixels are not the source's.
    """
    before = read_file(source)
    if not before.pixel_digest:
        raise Refused("The file's pixels cannot be read in full, so a copy could not be proven equal.", path=source)
    with staged_copy(source, target, sha256=sha256, report=report, cancelled=cancelled) as staged:
        with writing(target), os.fdopen(staged.part.open(os.O_RDWR), "r+b") as file:
            embed(file, description, source)
            file.flush()
            os.fsync(file.fileno())
        after = read_file(staged.part.path)
        if after.pixel_digest != before.pixel_digest or after.picture != before.picture:
            raise Damaged("The copy's pixels are not the source's; it was discarded.", path=target)
        staged.put()
    return after.sha256


def embed(file: BinaryIO, description: Description, path: Path) -> None:
    """Put the description into an open TIFF by a new first directory at its end."""
    form = _form(file, path)
    old, entries, following = _directory(file, form, path)
    values = {XMP: (_BYTE, packet(description, _value(file, form, entries.get(XMP)), padding=PADDING))}
    for tag, text in ((ARTIST, description.creator), (COPYRIGHT, description.rights)):
        if text:
            values[tag] = (_ASCII, text.encode("utf-8", "replace") + b"\0")
    end = file.seek(0, os.SEEK_END)
    size = sum(len(v) + 1 for _, v in values.values()) + (len(entries) + 3) * form.entry_size + 32
    if not form.big and end + size >= 1 << 32:
        raise Refused("The file would outgrow the 4 GiB of a plain TIFF.", hint="Write a sidecar instead.", path=path)
    for tag, (kind, value) in values.items():
        entries[tag] = _entry(file, form, tag, kind, value)
    directory = _at_even_end(file)
    file.write(struct.pack(form.count, len(entries)) + b"".join(entries[tag] for tag in sorted(entries)) + following)
    file.seek(form.pointer_at)
    file.write(struct.pack(form.offset, directory))
    assert directory > old


def _form(file: BinaryIO, path: Path) -> _Form:
    file.seek(0)
    head = file.read(8)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    version = struct.unpack(f"{order}H", head[2:4])[0] if order and len(head) == 8 else 0
    if order is None or version not in (42, 43):
        raise Refused("Metadata can be put into a copy of a TIFF only.", hint="Write a sidecar instead.", path=path)
    return _Form(order, version == 43)


def _directory(file: BinaryIO, form: _Form, path: Path) -> tuple[int, dict[int, bytes], bytes]:
    """Where the first directory lies, its entries as they stand, and the pointer to the next one."""
    file.seek(form.pointer_at)
    at = struct.unpack(form.offset, file.read(form.offset_size))[0]
    file.seek(at)
    size = struct.calcsize(form.count)
    count = struct.unpack(form.count, file.read(size).ljust(size, b"\0"))[0]
    raw = file.read(count * form.entry_size) if count < 1 << 16 else b""
    following = file.read(form.offset_size)
    if not count or len(raw) < count * form.entry_size or len(following) < form.offset_size:
        raise Refused("The file's directory is damaged.", hint="Write a sidecar instead.", path=path)
    entries = {}
    for start in range(0, len(raw), form.entry_size):
        entry = raw[start:start + form.entry_size]
        entries[struct.unpack(f"{form.order}H", entry[:2])[0]] = entry
    return at, entries, following


def _value(file: BinaryIO, form: _Form, entry: bytes | None) -> bytes:
    """The bytes of a tag of single bytes, or nothing."""
    if entry is None:
        return b""
    kind = struct.unpack(f"{form.order}H", entry[2:4])[0]
    count = struct.unpack(form.offset, entry[4:4 + form.offset_size])[0]
    if kind not in (_BYTE, 7):  # 7: undefined, as some programs type it
        return b""
    field = entry[4 + form.offset_size:]
    if count <= form.offset_size:
        return field[:count]
    file.seek(struct.unpack(form.offset, field)[0])
    return file.read(count)


def _entry(file: BinaryIO, form: _Form, tag: int, kind: int, value: bytes) -> bytes:
    head = struct.pack(f"{form.order}HH", tag, kind) + struct.pack(form.offset, len(value))
    if len(value) <= form.offset_size:
        return head + value.ljust(form.offset_size, b"\0")
    at = _at_even_end(file)
    file.write(value)
    return head + struct.pack(form.offset, at)


def _at_even_end(file: BinaryIO) -> int:
    """The end of the file, brought to a word boundary as TIFF 6.0 asks."""
    end = file.seek(0, os.SEEK_END)
    if end % 2:
        file.write(b"\0")
        end += 1
    return end
