"""Writing metadata into a new TIFF file: every byte of the old one is kept, and a new first directory appended.

Nothing is moved, so offsets of picture data, layers and further pages stay valid. The copy's pixel digest must equal
the source's before the copy gets its name.
"""

import os
import struct
from functools import partial
from pathlib import Path
from typing import BinaryIO

from catalogue.errors import Damaged, Refused
from catalogue.fixity.copying import staged_copy
from catalogue.intake.packets import Description, packet
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.reading.file import read_file
from catalogue.reading.kinds import HEAD_BYTES, format_of
from catalogue.reading.limits import Limits
from catalogue.reading.structure import Structure, opened
from catalogue.storage.medium import writing

ARTIST, XMP, COPYRIGHT = 315, 700, 33432
_BYTE, _ASCII, _UNDEFINED = 1, 2, 7     # types; some programs give XMP the last
PADDING = 2000


def described_copy(source: Path, target: Path, description: Description, *, sha256: str,
                   report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> str:
    """A copy of a TIFF with the description in it; returns the copy's SHA-256. The source is only read.

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
    file.seek(0)
    if format_of(file.read(HEAD_BYTES)) not in ("TIFF", "BigTIFF"):
        raise Refused("Metadata can be put into a copy of a TIFF only.", hint="Write a sidecar instead.", path=path)
    end = file.seek(0, os.SEEK_END)
    form, old = opened(partial(os.pread, file.fileno()), end, Limits())
    entries, following = _directory(form, old, path)
    present = form.directory(old)[0].get(XMP)
    existing = form.raw(present) if present and present.type in (_BYTE, _UNDEFINED) else b""
    values = {XMP: (_BYTE, packet(description, existing, padding=PADDING))}
    for tag, text in ((ARTIST, description.creator), (COPYRIGHT, description.rights)):
        if text:
            values[tag] = (_ASCII, text.encode("utf-8", "replace") + b"\0")
    size = sum(len(v) + 1 for _, v in values.values()) + (len(entries) + 3) * form.entry_bytes + 32
    if not form.big and end + size >= 1 << 32:
        raise Refused("The file would outgrow the 4 GiB of a plain TIFF.", hint="Write a sidecar instead.", path=path)
    for tag, (kind, value) in values.items():
        entries[tag] = _entry(file, form, tag, kind, value)
    directory = _at_even_end(file)
    file.write(struct.pack(form.count_form, len(entries)) + b"".join(entries[tag] for tag in sorted(entries))
               + following)
    file.seek(form.inline_bytes)    # where the header has the place of the first directory
    file.write(struct.pack(form.offset_form, directory))
    assert directory > old


def _directory(form: Structure, at: int, path: Path) -> tuple[dict[int, bytes], bytes]:
    """The entries of a directory as they stand, and the pointer to the next one."""
    head, entry = struct.calcsize(form.count_form), form.entry_bytes
    count = struct.unpack(form.count_form, form.read(head, at).ljust(head, b"\0"))[0]
    raw = form.read(count * entry + form.inline_bytes, at + head) if count < 1 << 16 else b""
    if not count or len(raw) < count * entry + form.inline_bytes:
        raise Refused("The file's directory is damaged.", hint="Write a sidecar instead.", path=path)
    starts = range(0, count * entry, entry)
    return {struct.unpack_from(f"{form.order}H", raw, start)[0]: raw[start:start + entry] for start in starts}, \
        raw[count * entry:]


def _entry(file: BinaryIO, form: Structure, tag: int, kind: int, value: bytes) -> bytes:
    head = struct.pack(f"{form.order}HH", tag, kind) + struct.pack(form.offset_form, len(value))
    if len(value) <= form.inline_bytes:
        return head + value.ljust(form.inline_bytes, b"\0")
    at = _at_even_end(file)
    file.write(value)
    return head + struct.pack(form.offset_form, at)


def _at_even_end(file: BinaryIO) -> int:
    """The end of the file, brought to a word boundary as TIFF 6.0 asks."""
    end = file.seek(0, os.SEEK_END)
    if end % 2:
        file.write(b"\0")
        end += 1
    return end
