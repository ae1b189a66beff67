"""A PNG as a Source: the facts in its chunks, and its rows in the program's own form."""

import io
import zlib
from collections.abc import Iterator
from functools import partial
from typing import BinaryIO

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.reading.embedded import Embedded, record_facts
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import ANOTHER_COPY, Fault, FaultFound, absurd_size
from catalogue.reading.pil import complaints
from catalogue.reading.png import CHANNELS, GREY, PALETTE, RGB, Chunks, Header, PngRows, read_chunks, transparent
from catalogue.reading.source import Rows, Samples, Source
from catalogue.reading.structure import decode_text

KEYWORDS = {b"title": "title", b"author": "creator", b"copyright": "rights", b"description": "description",
            b"software": "software"}   # 11.3.3.2
RAW_PROFILES = {b"exif": "exif", b"app1": "exif", b"xmp": "xmp", b"iptc": "iptc", b"8bim": "blocks", b"icc": "icc",
                b"icm": "icc"}


def open_png(file: BinaryIO, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open PNG; rows are decoded when asked for. Faults are in the Source."""
    source = Source("PNG")
    chunks = read_chunks(file.fileno(), size, limits)
    source.faults.extend(chunks.faults)
    header = chunks.header
    if header is None:
        return source
    key = chunks.first(b"tRNS") if header.colour in (GREY, RGB, PALETTE) else b""
    if header.colour != PALETTE and len(key) != 2 * CHANNELS[header.colour]:
        key = b""
    palette = np.frombuffer(chunks.first(b"PLTE"), np.uint8)
    palette = palette[: len(palette) // 3 * 3].reshape(-1, 3)
    if header.colour == PALETTE and not len(palette):
        source.faults.append(FaultFound(Fault.DAMAGED, "has no colours for its palette", ANOTHER_COPY))
        return source
    samples, photometric = CHANNELS[header.colour], {GREY: "grey", RGB: "RGB", PALETTE: "palette"}.get(
        header.colour, "grey" if CHANNELS[header.colour] == 2 else "RGB")
    if key and header.colour == PALETTE:
        samples, photometric = 4, "RGB"
    elif key:
        samples += 1
    record_facts(source, _embedded(chunks, limits), (header.width, header.height), max(8, header.depth), samples,
                 photometric,
         "unassociated" if samples in (2, 4) else "")
    if header.colour == PALETTE and not key:
        source.palette = palette.astype(np.uint16) * 257
    _decoding(source, file, header, chunks, key, palette, samples, limits, deadline)
    return source


def _decoding(
    source: Source, file: BinaryIO, header: Header, chunks: Chunks, key: bytes, palette: NDArray[np.uint8],
    samples: int, limits: Limits, deadline: Deadline
) -> None:
    if header.width * header.height > limits.pixels or header.row_bytes * header.height > 2048 * sum(
            length for _, length in chunks.coded):   # Deflate reaches 1032 bytes for one
        if not any(fault.kind is Fault.TRUNCATED for fault in source.faults):
            source.faults.append(absurd_size(header.width, header.height))
        return
    if 8 * header.row_bytes > limits.held_bytes:
        source.faults.append(FaultFound(Fault.UNDECODED, f"one row holds {header.row_bytes / 2**20:,.0f} MiB"))
        return
    held = 4 * header.row_bytes * header.height if header.depth >= 8 else 4 * header.width * header.height
    rows = PngRows(file.fileno(), header, chunks, limits, deadline)
    if header.interlaced and held > 2 * limits.held_bytes:
        rows.compare_checksums()
        source.faults.extend(rows.faults)
        source.faults.append(FaultFound(
            Fault.UNDECODED, f"is interlaced, so that its {header.width * header.height / 1e6:,.0f} million pixels "
            "decode only at once, and too many for the memory allowed", "save it again without interlacing"))
        return

    def bands() -> Iterator[Rows]:
        for band in rows.bands_at_once(partial(_at_once, file, header)) if header.interlaced else rows.bands():
            seen = transparent(band, header, key, palette) if key else band
            if header.colour == GREY and header.depth < 8:   # Pillow's convention: black 0, white 255
                seen = seen.copy()
                seen[..., 0] *= np.uint8(255 // ((1 << header.depth) - 1))
            yield seen

    source.samples = Samples(header.width, header.height, samples, rows.dtype, bands, lambda: tuple(rows.faults),
                             lambda: rows.rows_decoded > 0)


def _at_once(file: BinaryIO, header: Header) -> Rows:
    """An interlaced picture decoded whole by libpng: height × width × channels, samples as ``PngRows`` gives them."""
    file.seek(0)
    data = file.read()
    if header.colour == PALETTE or header.depth < 8:   # libpng would look the palette up, and scale
        from PIL import Image as Pil

        with Pil.open(io.BytesIO(data)) as image:
            given = np.asarray(image if header.colour == PALETTE else image.convert("L"))
        scale = 1 if header.colour == PALETTE else 255 // ((1 << header.depth) - 1)
        return (given // scale).astype(np.uint8).reshape(header.height, header.width, 1)
    with complaints():   # libpng's warnings go to standard error
        decoded = np.asarray(imagecodecs.png_decode(data)).reshape(header.height, header.width, -1)
    return decoded[..., : CHANNELS[header.colour]]   # tRNS is applied by us


def _embedded(chunks: Chunks, limits: Limits) -> Embedded:
    embedded = Embedded(exif=chunks.first(b"eXIf"), says_srgb=b"sRGB" in chunks.bodies)
    _, _, packed = chunks.first(b"iCCP").partition(b"\0")
    if packed[:1] == b"\0":
        embedded.icc = _inflated(packed[1:], limits)
    physical = chunks.first(b"pHYs")
    if len(physical) == 9 and physical[8] == 1:   # 11.3.4.3: pixels per metre
        embedded.resolutions.append(("pHYs", (int.from_bytes(physical[:4], "big") * 0.0254,
                                           int.from_bytes(physical[4:8], "big") * 0.0254)))
    for keyword, value in _texts(chunks, limits):
        folded = keyword.lower()
        if folded.startswith(b"raw profile type "):
            attribute = RAW_PROFILES.get(folded.rpartition(b" ")[2])
            if attribute and not getattr(embedded, attribute):
                setattr(embedded, attribute, _raw_profile(value))
        elif folded == b"xml:com.adobe.xmp":
            embedded.xmp = embedded.xmp or value
        elif folded in KEYWORDS:
            embedded.texts.setdefault(KEYWORDS[folded], decode_text(value))
    if embedded.exif.startswith(b"http://ns.adobe.com/xap/1.0/\0"):   # APP1 holds either
        embedded.exif, embedded.xmp = b"", embedded.xmp or embedded.exif.split(b"\0", 1)[1]
    return embedded


def _texts(chunks: Chunks, limits: Limits) -> Iterator[tuple[bytes, bytes]]:
    """Keyword and text of every textual chunk (11.3.3), before the pixels or after them."""
    for body in chunks.bodies.get(b"tEXt", []):
        keyword, _, text = body.partition(b"\0")
        yield keyword, text
    for body in chunks.bodies.get(b"zTXt", []):
        keyword, _, packed = body.partition(b"\0")
        yield keyword, _inflated(packed[1:], limits)
    for body in chunks.bodies.get(b"iTXt", []):
        keyword, _, rest = body.partition(b"\0")
        _, _, text = rest[2:].partition(b"\0")[2].partition(b"\0")   # past language and translated keyword
        yield keyword, _inflated(text, limits) if rest[:1] == b"\1" else text


def _inflated(packed: bytes, limits: Limits) -> bytes:
    """A compressed text or profile; empty if it does not inflate, cut at ``Limits.metadata_bytes``."""
    try:
        return zlib.decompressobj().decompress(packed, limits.metadata_bytes)
    except zlib.error:
        return b""


def _raw_profile(text: bytes) -> bytes:
    """A block that some programs write as text: its name, its length, and the bytes in hexadecimal digits."""
    words = text.split()
    if len(words) < 3 or not words[1].isdigit():
        return b""
    try:
        profile = bytes.fromhex(b"".join(words[2:]).decode("ascii"))
    except ValueError:
        return b""
    return profile[: int(words[1])]
