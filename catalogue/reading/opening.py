"""Opening any picture file as a Source. Each format's reader is imported on first use."""

from typing import BinaryIO

from PIL import ImageFile

from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.source import Source


def open_source(file: BinaryIO, kind: str, size: int, limits: Limits, deadline: Deadline) -> Source:
    """The reader for a format as ``kinds.format_of`` names it. Raises what codecs raise."""
    ImageFile.LOAD_TRUNCATED_IMAGES = False  # of the whole process: another library may have set it
    if kind in ("TIFF", "BigTIFF"):
        from catalogue.reading.tiff import open_tiff

        return open_tiff(file, size, limits, deadline)
    if kind in ("PSD", "PSB"):
        from catalogue.reading.psd import open_psd

        return open_psd(file, kind, size, limits, deadline)
    if kind == "JPEG":
        from catalogue.reading.jpeg import open_jpeg

        return open_jpeg(file, size, limits, deadline)
    if kind == "PNG":
        from catalogue.reading.png_file import open_png

        return open_png(file, size, limits, deadline)
    if kind == "WebP":
        from catalogue.reading.webp import open_webp

        return open_webp(file, size, limits, deadline)
    from catalogue.reading.jp2 import open_jpeg_2000

    return open_jpeg_2000(file, size, limits, deadline)
