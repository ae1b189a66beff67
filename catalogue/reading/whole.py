"""JPEG, PNG, WebP and JPEG 2000 files, which decode whole."""

import hashlib
import os
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
from PIL import Image as Pil

from . import exif
from .blocks import IPTC
from .limits import Deadline, Limits
from .model import Fault, FaultFound, Picture
from .pil import DAMAGE, WholePicture, error_text, held_bytes
from .profile import describe
from .reduce import rows_at_a_time, spans
from .source import Rows, Samples, Source, Statements

# Pillow's mode → what the samples are, the mode they are given out in, channels.
MODES = {
    "1": ("grey", "L", 1), "L": ("grey", "L", 1), "LA": ("grey", "LA", 2), "La": ("grey", "LA", 2),
    "P": ("palette", "P", 1), "PA": ("RGB", "RGBA", 4), "RGB": ("RGB", "RGB", 3), "RGBA": ("RGB", "RGBA", 4),
    "RGBX": ("RGB", "RGB", 3), "CMYK": ("CMYK", "CMYK", 4), "YCbCr": ("RGB", "RGB", 3), "LAB": ("RGB", "RGB", 3),
    "I;16": ("grey", "I;16", 1), "I;16B": ("grey", "I;16", 1), "I": ("grey", "I;16", 1),
}
TOO_LARGE = "decodes only whole, and is too large for the memory allowed"


def open_whole(file: BinaryIO, kind: str, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open JPEG, PNG, WebP or JPEG 2000; samples are decoded when asked for."""
    source = Source(kind)

    def reopen() -> Pil.Image:
        file.seek(0)
        return Pil.open(file)

    try:
        image = reopen()
        _describe(source, image, file)
    except DAMAGE as error:
        source.faults.append(FaultFound(Fault.DAMAGED, f"does not open: {error_text(error)}",
                                        "look for another copy of this file"))
        return source
    picture = source.picture
    if picture is None:
        return source
    if image.width * image.height > limits.pixels:
        source.faults.append(FaultFound(Fault.DAMAGED, f"claims {image.width:,} × {image.height:,} pixels"))
    elif picture.bits == 16 and (kind == "JPEG 2000" or image.mode != "I;16"):
        source.samples = _deep_samples(source, image, file, size, limits, deadline, reopen)
    elif held_bytes(image) * (2 if kind == "JPEG 2000" else 1) <= limits.held_bytes:
        mode = _given_mode(image)
        whole = WholePicture(reopen, mode, limits, deadline)
        dtype = np.dtype(np.uint16 if mode == "I;16" else np.uint8)
        source.samples = Samples(image.width, image.height, picture.samples, dtype, whole.bands, whole.settle)
    elif kind == "JPEG":
        source.samples = _reduced_jpeg(source, reopen, limits, deadline)
        source.coded_digest = coded_jpeg_digest(file.fileno(), size, source.icc)
    else:
        source.faults.append(FaultFound(Fault.UNDECODED, TOO_LARGE))
    return source


def _given_mode(image: Pil.Image) -> str:
    if "transparency" in image.info and image.mode in ("P", "L", "RGB"):
        return "RGBA" if image.mode != "L" else "LA"
    return MODES.get(image.mode, ("RGB", "RGB", 3))[1]


def _describe(source: Source, image: Pil.Image, file: BinaryIO) -> None:
    info = image.info
    source.icc = info.get("icc_profile") or b""
    mode = _given_mode(image)
    photometric, _, samples = MODES.get(mode, ("RGB", "RGB", 3))
    bits = 16 if mode == "I;16" else 8
    if source.format == "PNG":
        bits = max(bits, os.pread(file.fileno(), 1, 24)[0])
        source.stated_srgb = "srgb" in info
    elif source.format == "JPEG 2000":
        bits = _jp2_bits(file, bits)
    if bits == 16 and source.format == "PNG":
        photometric, samples = {0: ("grey", 1), 2: ("RGB", 3), 4: ("grey", 2), 6: ("RGB", 4)}[
            os.pread(file.fileno(), 1, 25)[0]
        ]
    tags = _exif(image)
    inner = tags.get_ifd(exif.EXIF_IFD)
    source.stated_srgb |= inner.get(exif.COLOUR_SPACE) == 1
    orientation = tags.get(exif.ORIENTATION, 1)
    orientation = orientation if orientation in range(1, 9) else 1
    width, height = image.size if orientation < 5 else image.size[::-1]
    ppi = _ppi(info, tags)
    about = describe(source.icc)
    source.picture = Picture(
        width, height, bits, "uint", samples, photometric, source.format, "whole", False,
        "unassociated" if samples in (2, 4) and photometric != "CMYK" else "", orientation,
        *(ppi if orientation < 5 else ppi[::-1]), about.name,
        hashlib.sha256(source.icc).hexdigest() if source.icc else "", about.white,
    )
    if mode == "P" and image.palette is not None:
        step = len(image.palette.mode)
        table = np.frombuffer(image.palette.tobytes(), np.uint8)
        source.palette = table[: len(table) // step * step].reshape(-1, step)[:, :3].astype(np.uint16) * 257
    blocks = info.get("photoshop") or {}
    packet = info.get("xmp") or info.get("XML:com.adobe.xmp") or b""
    texts = {str(name).casefold(): value for name, value in info.items() if isinstance(value, str)}
    said = {"title": texts.get("title"), "creator": texts.get("author"), "rights": texts.get("copyright"),
            "description": texts.get("description"), "software": texts.get("software")}
    source.statements = Statements(
        {name: value for name, value in said.items() if value}, exif.facts(tags, inner),
        blocks.get(IPTC, b"") if isinstance(blocks, dict) else b"",
        packet.encode() if isinstance(packet, str) else packet,
    )


def _exif(image: Pil.Image) -> Pil.Exif:
    """The Exif block that lies before the pixels (Pillow's ``getexif`` decodes a whole PNG to look behind them)."""
    if image.format != "PNG":
        return image.getexif()
    tags = Pil.Exif()
    if block := image.info.get("exif"):
        tags.load(block)
    return tags


def _ppi(info: dict[Any, Any], tags: Any) -> tuple[float | None, float | None]:
    stated = info.get("dpi")
    if not stated:
        scale = {2: 1.0, 3: 2.54}.get(tags.get(exif.RESOLUTION_UNIT, 2), 0.0)
        stated = tuple(float(tags.get(code) or 0) * scale for code in (exif.X_RESOLUTION, exif.Y_RESOLUTION))
    across, down = (float(v) if v and 1 < float(v) < 1e6 else None for v in stated)
    return across, down


def _jp2_bits(file: BinaryIO, default: int) -> int:
    """Bits per component from the ihdr box (ISO/IEC 15444-1, I.5.3.1), 8 or 16 as samples are given out."""
    head = os.pread(file.fileno(), 256, 0)
    at = head.find(b"ihdr")
    if at < 0 or at + 15 > len(head) or head[at + 14] == 255:
        return default
    return 16 if (head[at + 14] & 0x7F) + 1 > 8 else 8


def _deep_samples(
    source: Source, image: Pil.Image, file: BinaryIO, size: int, limits: Limits, deadline: Deadline, reopen: Any
) -> Samples | None:
    """16 bits a sample, which Pillow would cut to 8: through imagecodecs. What is left of a damaged PNG, at 8 bits."""
    picture = source.picture
    if picture is None:
        return None
    jp2 = source.format == "JPEG 2000"
    needed = image.width * image.height * picture.samples * (6 if jp2 else 2)  # OpenJPEG works in 32 bits
    if needed + size > 2 * limits.held_bytes:
        source.faults.append(FaultFound(Fault.UNDECODED, TOO_LARGE))
        return None
    trouble: list[FaultFound] = []

    def rest(error: Exception) -> Any:
        mode = {2: "LA", 3: "RGB", 4: "RGBA"}.get(picture.samples, "L")
        whole = WholePicture(reopen, mode, limits, deadline)
        bands = () if jp2 else whole.bands()
        for band in bands:
            yield band.astype(np.uint16) * 257
        cut = any(fault.kind is Fault.TRUNCATED for fault in whole.found)
        kind = Fault.UNDECODED if jp2 or whole.nothing else Fault.TRUNCATED if cut else Fault.DAMAGED
        trouble.append(FaultFound(kind, error_text(error), "look for another copy of this file"))

    def bands() -> Any:
        file.seek(0)
        decode = imagecodecs.jpeg2k_decode if jp2 else imagecodecs.png_decode
        try:
            rows: Rows = np.asarray(decode(file.read()))
        except Exception as error:  # the codec edge
            yield from rest(error)
            return
        rows = rows.reshape(image.height, image.width, -1).astype(np.uint16, copy=False)
        for start, stop in spans(len(rows), rows_at_a_time(rows[0].nbytes, limits.band_bytes)):
            deadline.check()
            yield rows[start:stop]

    return Samples(image.width, image.height, picture.samples, np.dtype(np.uint16), bands, lambda: tuple(trouble))


def _reduced_jpeg(source: Source, reopen: Any, limits: Limits, deadline: Deadline) -> Samples | None:
    """A JPEG at 1/2, 1/4 or 1/8 of its size, which its coding gives without decoding it in full."""
    image = reopen()
    if image.info.get("progressive") and 3 * image.width * image.height > limits.held_bytes:
        source.faults.append(FaultFound(Fault.UNDECODED, TOO_LARGE))  # all coefficients would be held
        return None
    given = _given_mode(image)

    def drafted() -> Pil.Image:
        fresh: Pil.Image = reopen()
        fresh.draft(fresh.mode, (max(1, fresh.width // 8), max(1, fresh.height // 8)))
        return fresh

    draft = drafted()
    if held_bytes(draft) > limits.held_bytes:
        source.faults.append(FaultFound(Fault.UNDECODED, TOO_LARGE))
        return None
    whole = WholePicture(drafted, given, limits, deadline)
    channels, byte = MODES[given][2], np.dtype(np.uint8)
    return Samples(draft.width, draft.height, channels, byte, whole.bands, whole.settle, reduced=True)


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
