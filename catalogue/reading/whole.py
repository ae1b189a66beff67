"""JPEG, PNG, WebP and JPEG 2000 files, which decode whole."""

import hashlib
from collections.abc import Iterator
from typing import Any, BinaryIO

import imagecodecs
import numpy as np
from PIL import Image as Pil

from .limits import Deadline, Limits
from .model import Fault, FaultFound, Picture
from .profile import describe
from .reduce import rows_at_a_time, spans
from .source import Rows, Samples, Source, Statements

Pil.MAX_IMAGE_PIXELS = None  # sizes are judged by Limits, before anything is decoded
MODES = {
    "1": ("grey", 1, 1), "L": ("grey", 8, 1), "LA": ("grey", 8, 2), "P": ("palette", 8, 1), "PA": ("palette", 8, 2),
    "RGB": ("RGB", 8, 3), "RGBA": ("RGB", 8, 4), "CMYK": ("CMYK", 8, 4), "I;16": ("grey", 16, 1),
    "I;16B": ("grey", 16, 1), "I": ("grey", 16, 1), "YCbCr": ("YCbCr", 8, 3), "LAB": ("CIELAB", 8, 3),
}
EXIF_TEXT = {0x010E: "description", 0x010F: "make", 0x0110: "model", 0x0131: "software", 0x0132: "modified",
             0x013B: "creator", 0x8298: "rights"}


def open_whole(file: BinaryIO, kind: str, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open JPEG, PNG, WebP or JPEG 2000; samples are decoded when asked for."""
    source = Source(kind)
    try:
        image = Pil.open(file)
    except Exception as error:  # the codec edge
        source.faults.append(FaultFound(Fault.DAMAGED, f"does not open: {' '.join(str(error).split())[:200]}"))
        return source
    source.icc = image.info.get("icc_profile") or b""
    photometric, bits, samples = MODES.get(image.mode, (image.mode, 8, len(image.getbands())))
    if kind == "PNG":
        file.seek(24)
        bits = max(bits, file.read(1)[0])
    exif = image.getexif()
    orientation = int(exif.get(0x0112, 1) or 1)
    orientation = orientation if 1 <= orientation <= 8 else 1
    width, height = image.size if orientation < 5 else image.size[::-1]
    dpi = image.info.get("dpi") or (None, None)
    ppi = tuple(float(v) if v and float(v) > 1 else None for v in dpi)
    about = describe(source.icc)
    alpha = "unassociated" if image.mode in ("LA", "PA", "RGBA") else ""
    source.picture = Picture(
        width, height, bits, "uint", samples, photometric, kind, "whole", False, alpha, orientation, ppi[0], ppi[1],
        about.name, hashlib.sha256(source.icc).hexdigest() if source.icc else "", about.white,
    )
    tags = {name: str(exif[code]).strip("\0 ") for code, name in EXIF_TEXT.items() if exif.get(code)}
    source.statements = Statements({}, tags, b"", image.info.get("xmp") or b"")
    dtype = np.dtype(np.uint16 if bits == 16 else np.uint8)
    if image.width * image.height * samples * dtype.itemsize > limits.held_bytes:
        source.faults.append(FaultFound(Fault.UNDECODED, "too large to decode whole"))
        return source

    def bands() -> Iterator[Rows]:
        if bits == 16 and kind == "PNG":
            file.seek(0)
            array: Any = imagecodecs.png_decode(file.read())
        else:
            picture = image.convert(image.mode[:-1] + "A") if image.mode == "PA" else image
            array = np.asarray(picture)
        array = array.reshape(array.shape[0], array.shape[1], -1)
        for start, stop in spans(len(array), rows_at_a_time(array[0].nbytes, limits.band_bytes)):
            deadline.check()
            yield array[start:stop]

    if image.mode == "P" and image.palette is not None:
        table = np.frombuffer(image.palette.tobytes(), np.uint8).reshape(-1, len(image.palette.mode))
        source.palette = table[:, :3].astype(np.uint16) * 257
    source.samples = Samples(image.width, image.height, samples, dtype, bands)
    return source
