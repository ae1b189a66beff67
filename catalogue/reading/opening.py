"""Any picture file as a Source, and its samples as one array for those who want a small picture whole."""

from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray
from PIL import ImageFile

from catalogue.reading.jp2 import open_jpeg_2000
from catalogue.reading.jpeg import open_jpeg
from catalogue.reading.kinds import HEAD_BYTES, format_of
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.png_file import open_png
from catalogue.reading.psd import open_psd
from catalogue.reading.source import Source
from catalogue.reading.tiff import open_tiff
from catalogue.reading.webp import open_webp


def open_source(file: BinaryIO, kind: str, size: int, limits: Limits, deadline: Deadline) -> Source:
    """The reader for a format as ``kinds.format_of`` names it. Raises what codecs raise."""
    ImageFile.LOAD_TRUNCATED_IMAGES = False  # of the whole process: another library may have set it
    if kind in ("TIFF", "BigTIFF"):
        return open_tiff(file, size, limits, deadline)
    if kind in ("PSD", "PSB"):
        return open_psd(file, kind, size, limits, deadline)
    others = {"JPEG": open_jpeg, "PNG": open_png, "WebP": open_webp, "JPEG 2000": open_jpeg_2000}
    return others[kind](file, size, limits, deadline)


def samples_of(path: str | Path, limits: Limits = Limits()) -> NDArray[Any] | None:  # noqa: B008 - frozen
    """All samples of a file's picture as stored, H × W × S, native byte order; ``None`` where nothing decodes.

    Holds the whole picture: for checks and small pictures. Raises ``OSError`` and what codecs raise.
    """
    with open(path, "rb") as file:  # noqa: PTH123 - a name that is not UTF-8 stays as it is
        kind = format_of(file.read(HEAD_BYTES))
        size = file.seek(0, 2)
        if not kind:
            return None
        samples = open_source(file, kind, size, limits, Deadline.after(limits.seconds)).samples
        if samples is None:
            return None
        bands = [band.copy() for band in samples.bands()]
        return np.concatenate(bands) if bands and samples.had() else None
