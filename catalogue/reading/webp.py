"""WebP files, through Pillow, which decodes them whole."""

from functools import partial
from typing import Any, BinaryIO

from catalogue.reading.embedded import Embedded, record_facts
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import ANOTHER_COPY, TOO_LARGE, Fault, FaultFound, absurd_size
from catalogue.reading.pil import held_bytes, open_anew, opened, whole_picture
from catalogue.reading.source import Source


def open_webp(file: BinaryIO, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open WebP; samples are decoded when asked for."""
    source = Source("WebP")
    reopen = partial(open_anew, file)
    image = opened(reopen, source)
    if image is None:
        return source
    info: dict[Any, Any] = image.info
    embedded = Embedded(info.get("icc_profile") or b"", info.get("exif") or b"", info.get("xmp") or b"")
    mode = image.mode if image.mode in ("RGB", "RGBA") else "RGB"
    record_facts(source, embedded, image.size, 8, len(mode), "RGB", "unassociated" if mode == "RGBA" else "")
    stated = 8 + int.from_bytes(_head(file), "little")
    if stated > size:   # RIFF's own length
        source.faults.append(FaultFound(Fault.TRUNCATED, f"promises {stated:,} bytes and has {size:,}", ANOTHER_COPY))
    if image.width * image.height > limits.pixels:
        source.faults.append(absurd_size(*image.size))
    elif held_bytes(image) > limits.held_bytes:
        source.faults.append(TOO_LARGE)
    else:
        source.samples = whole_picture(reopen, mode, image.size, limits, deadline, [])
    return source


def _head(file: BinaryIO) -> bytes:
    file.seek(4)
    return file.read(4)
