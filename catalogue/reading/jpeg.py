"""JPEG files (ISO/IEC 10918-1): what their marker segments say, and their samples through Pillow or imagecodecs."""

import hashlib
import os
import re
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
from PIL import Image as Pil

from catalogue.reading.codestreams import Frame, frame_of
from catalogue.reading.embedded import Embedded, record_facts
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import ANOTHER_COPY, TOO_LARGE, Fault, FaultFound, absurd_size
from catalogue.reading.pil import decoded_at_once, held_bytes, open_anew, opened, whole_picture
from catalogue.reading.source import Rows, Samples, Source
from catalogue.reading.trouble import read_at

SOS, EOI, APP0, APP1, APP2, APP13, COM = 0xDA, 0xD9, 0xE0, 0xE1, 0xE2, 0xED, 0xFE
EXIF_HEAD, XMP_HEAD, ICC_HEAD = b"Exif\0\0", b"http://ns.adobe.com/xap/1.0/\0", b"ICC_PROFILE\0"
RESOURCES_HEAD = b"Photoshop 3.0\0"
# Pillow's mode → what the samples are, channels.
MODES = {"L": ("grey", 1), "RGB": ("RGB", 3), "CMYK": ("CMYK", 4)}
READ_BYTES = 1 << 20
MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]", re.DOTALL)


def segments(fd: int, size: int) -> Iterator[tuple[int, int, bytes]]:
    """``(marker, offset, body)`` of each segment before the first scan; stops quietly where they make no sense."""
    at = 2
    while at + 4 <= size:
        head = read_at(fd, 4, at)
        if head[0] != 0xFF or head[1] in (SOS, EOI):
            return
        if head[1] == 0xFF:   # a fill byte (B.1.1.2)
            at += 1
            continue
        length = int.from_bytes(head[2:], "big")
        yield head[1], at, read_at(fd, max(0, length - 2), at + 4)
        at += 2 + length


def embedded(fd: int, size: int) -> tuple[Embedded, Frame | None]:
    """What the segments carry, and the frame header."""
    blocks, frame = Embedded(), None
    profile: dict[int, bytes] = {}
    for marker, _, body in segments(fd, size):
        if marker == APP0 and body[:5] == b"JFIF\0" and len(body) >= 12:
            scale = {1: 1.0, 2: 2.54}.get(body[7], 0.0)   # JFIF 1.02: 0 is "no units, aspect ratio only"
            across, down = int.from_bytes(body[8:10], "big"), int.from_bytes(body[10:12], "big")
            if scale:
                blocks.resolutions.append(("JFIF", (across * scale, down * scale)))
        elif marker == APP1 and body.startswith(EXIF_HEAD):
            blocks.exif = blocks.exif or body
        elif marker == APP1 and body.startswith(XMP_HEAD):
            blocks.xmp = blocks.xmp or body[len(XMP_HEAD):]
        elif marker == APP2 and body.startswith(ICC_HEAD) and len(body) > 14:   # ICC.1:2022, B.4
            profile.setdefault(body[12], body[14:])
        elif marker == APP13 and body.startswith(RESOURCES_HEAD):   # one block may run on in the next segment
            blocks.blocks += body[len(RESOURCES_HEAD):]
        frame = frame or frame_of(marker, body)
    blocks.icc = b"".join(profile[number] for number in sorted(profile))
    return blocks, frame


def open_jpeg(file: BinaryIO, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open JPEG; samples are decoded when asked for."""
    source = Source("JPEG")
    blocks, frame = embedded(file.fileno(), size)
    if frame and frame.width and frame.height and (frame.bits != 8 or frame.marker in (0xC3, 0xC7)):
        _deep(source, file, size, blocks, frame, limits, deadline)
        return source

    reopen = partial(open_anew, file)
    image = opened(reopen, source)
    if image is None:
        return source
    photometric, samples = MODES.get(image.mode, ("RGB", 3))
    record_facts(source, blocks, image.size, 8, samples, photometric)
    if image.width * image.height > limits.pixels:
        source.faults.append(absurd_size(*image.size))
    elif held_bytes(image) <= limits.held_bytes and not limits.long_side:
        faults: list[FaultFound] = []
        source.samples = whole_picture(reopen, image.mode if image.mode in MODES else "RGB", image.size, limits,
                                       deadline, faults)
        source.samples.final_faults = lambda: tuple(faults) or fault_after_scans(file.fileno(), size)
    else:
        source.samples = _reduced(source, reopen, limits, deadline)
        source.coded_digest = coded_jpeg_digest(file.fileno(), size, source.icc)
    return source


def _deep(
    source: Source, file: BinaryIO, size: int, blocks: Embedded, frame: Frame, limits: Limits, deadline: Deadline
) -> None:
    """12 bits a sample, and lossless coding: Pillow refuses both, imagecodecs decodes them whole."""
    samples = len(frame.sampling)
    photometric = "grey" if samples == 1 else "RGB" if samples == 3 else "CMYK"
    record_facts(source, blocks, (frame.width, frame.height), frame.bits, samples, photometric)
    if frame.width * frame.height * samples * 2 + size > limits.held_bytes:
        source.faults.append(TOO_LARGE)
        return

    def decode() -> Rows:
        file.seek(0)
        rows = np.asarray(imagecodecs.jpeg_decode(file.read(), bitspersample=frame.bits))
        return rows.reshape(frame.height, frame.width, samples)

    dtype: np.dtype[Any] = np.dtype(np.uint16 if frame.bits > 8 else np.uint8)
    source.samples = decoded_at_once(decode, (frame.height, frame.width, samples), dtype, limits, deadline)


def fault_after_scans(fd: int, size: int) -> tuple[FaultFound, ...]:
    """What Pillow does not look at: a marker after a scan that can be none there, up to the end marker.

    A file that ends without its end marker, with its picture whole, is left to be.
    """
    at = next((offset + 4 + len(body) for _, offset, body in deque(segments(fd, size), maxlen=1)), 2)
    while marker := _next_marker(fd, size, at):
        code, at = marker
        if code == EOI:
            return ()
        raw = read_at(fd, 2, at + 2)
        length = int.from_bytes(raw, "big")
        known = code in (SOS, COM, 0xC4, 0xCC, 0xDB, 0xDC, 0xDD) or APP0 <= code <= 0xEF
        if not known or len(raw) < 2 or length < 2 or at + 2 + length > size:
            return (FaultFound(Fault.DAMAGED, f"an invalid marker follows its pixels: {code:02X}", ANOTHER_COPY,
                               at),)
        at += 2 + length
    return ()


def _next_marker(fd: int, size: int, at: int) -> tuple[int, int] | None:
    """The next marker from ``at`` and its place; stuffed bytes and restarts (B.1.1.2, B.2.1) are part of a scan."""
    while at < size:
        part = read_at(fd, READ_BYTES, at)
        if not part:
            return None
        if match := MARKER.search(part):
            return match[0][1], at + match.start()
        at += max(1, len(part) - 1)   # a marker may lie across two parts
    return None


def _reduced(
    source: Source, reopen: Callable[[], Pil.Image], limits: Limits, deadline: Deadline
) -> Samples | None:
    """A JPEG at 1/2, 1/4 or 1/8 of its size, which its coding gives without decoding it in full."""
    image = reopen()
    if image.info.get("progressive") and 3 * image.width * image.height > limits.held_bytes:
        source.faults.append(TOO_LARGE)  # all coefficients would be held
        return None
    given = image.mode if image.mode in MODES else "RGB"
    divisor = max(1.0, max(image.size) / limits.long_side) if limits.long_side else 8

    def drafted() -> Pil.Image:
        fresh = reopen()
        fresh.draft(fresh.mode, (max(1, int(fresh.width // divisor)), max(1, int(fresh.height // divisor))))
        return fresh

    draft = drafted()
    if held_bytes(draft) > limits.held_bytes:
        source.faults.append(TOO_LARGE)
        return None
    return replace(whole_picture(drafted, given, draft.size, limits, deadline, []), reduced=True)


def coded_jpeg_digest(fd: int, size: int, icc: bytes) -> str:
    """XXH3-128 of a JPEG's coded picture: everything but application segments and comments, and the profile.

    For a JPEG too large to decode whole: an edit of its metadata leaves this as it was (ISO/IEC 10918-1, annex B).
    """
    from xxhash import xxh3_128

    digest = xxh3_128(b"coded JPEG\0" + hashlib.sha256(icc).digest())
    at = 2
    while at + 4 <= size:
        marker = os.pread(fd, 4, at)
        if len(marker) < 4 or marker[0] != 0xFF or marker[1] == 0xDA:
            break
        length = 2 + int.from_bytes(marker[2:], "big")
        if not (0xE0 <= marker[1] <= 0xEF or marker[1] == 0xFE):
            digest.update(os.pread(fd, length, at))
        at += length
    while part := os.pread(fd, 1 << 20, at):
        digest.update(part)
        at += len(part)
    return digest.hexdigest()
