"""Any picture file as a Source."""

from typing import BinaryIO

from PIL import ImageFile

from catalogue.reading.jp2 import open_jpeg_2000
from catalogue.reading.jpeg import open_jpeg
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
