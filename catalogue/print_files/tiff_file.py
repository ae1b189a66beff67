"""A print file on disk: an ordinary TIFF with profile and resolution, and its recipe in the XMP packet."""

import hashlib
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import imagecodecs
import numpy as np
import tifffile
from defusedxml.ElementTree import fromstring
from numpy.typing import NDArray

from catalogue import __version__
from catalogue.errors import CatalogueError
from catalogue.print_files.recipe import Recipe, from_json
from catalogue.print_files.spool import InOrder
from catalogue.reading.reduce import rows_at_a_time, spans
from catalogue.storage.medium import write_all

Rows = NDArray[Any]
NAMESPACE = "urn:master-scan-catalogue:print-file:1"
XMP_TAG, BYTE = 700, 1
STRIP_BYTES = 1 << 20
ALIGNED = 64         # bytes that a head may leave out before what follows
CLASSIC_BYTES = 0xF000_0000     # beyond it a classic TIFF's offsets may not reach
PHOTOMETRICS = {"grey": "minisblack", "RGB": "rgb", "CMYK": "separated", "CIELAB": "cielab", "ICCLAB": "icclab"}


@dataclass(frozen=True, slots=True)
class Form:
    """How a file's samples are stored. ``space`` as in ``channels.SPACES``."""

    width: int
    height: int
    channels: int
    space: str
    bits: int
    ppi: int
    icc: bytes
    compression: str

    @property
    def dtype(self) -> np.dtype[Any]:
        return np.dtype(np.uint8 if self.bits == 8 else np.uint16)

    @property
    def pixel_bytes(self) -> int:
        """Bytes of all samples, uncompressed."""
        return self.width * self.height * self.channels * self.dtype.itemsize

    @property
    def strip_rows(self) -> int:
        """Rows of one strip, of about 1 MiB."""
        return rows_at_a_time(self.width * self.channels * self.dtype.itemsize, STRIP_BYTES)

    @property
    def big(self) -> bool:
        """Whether it must be a BigTIFF."""
        return self.pixel_bytes + len(self.icc) > CLASSIC_BYTES


def packet(recipe: Recipe, versions: str) -> bytes:
    """The XMP packet that holds a recipe and what it was made with (JSON both)."""
    return (f'<?xpacket begin="\N{ZERO WIDTH NO-BREAK SPACE}" id="W5M0MpCehiHzreSzNTczkc9d"?>'
            '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
            f'<rdf:Description rdf:about="" xmlns:print="{NAMESPACE}">'
            f"<print:recipe>{escape(recipe.to_json())}</print:recipe><print:madeWith>{escape(versions)}</print:madeWith>"
            '</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="r"?>').encode()


@dataclass(frozen=True, slots=True)
class Written:
    """An uncompressed file as it was handed to the system: its SHA-256, and what stands before its rows, with which it
    ends."""

    sha256: str
    head: bytes


def write_tiff(path: Path, bands: Iterator[Rows], form: Form, xmp: bytes) -> Written | None:
    """Write rows in strips, little-endian. Nothing in it depends on the time or the machine's name.

    Returns what was written; None for a compressed file, whose digest is computed by reading it. Raises ``OSError``,
    and what ``bands`` raises.
    """
    if form.compression == "none":
        return _write_rows(path, _head(form, xmp), made_ahead(bands), form)
    rows = InOrder(made_ahead(bands))
    strips = _encoded((rows.rows(*span) for span in spans(form.height, form.strip_rows)), form.compression)
    with tifffile.TiffWriter(path, bigtiff=form.big, byteorder="<") as file:
        file.write(strips, compression=form.compression, predictor=True, maxworkers=1, **_tags(form, xmp))
    return None


def _tags(form: Form, xmp: bytes) -> dict[str, Any]:
    return {"shape": (form.height, form.width, form.channels) if form.channels > 1 else (form.height, form.width),
            "dtype": form.dtype, "photometric": PHOTOMETRICS[form.space], "rowsperstrip": form.strip_rows,
            "planarconfig": "contig" if form.channels > 1 else None, "metadata": None,
            "resolution": (form.ppi, form.ppi), "resolutionunit": 2, "iccprofile": form.icc or None,
            "software": f"master-scan-catalogue {__version__}", "extratags": [(XMP_TAG, BYTE, len(xmp), xmp, True)]}


class _HeadAlone(BytesIO):
    """Takes what stands before an image's samples. The one byte by which tifffile lengthens a file for samples that are
    not given is let go: as the end of a file it would have some file systems write the zeros before it."""

    def write(self, data: Any, /) -> int:
        return super().write(data) if self.tell() <= len(self.getbuffer()) + ALIGNED else len(data)


def _head(form: Form, xmp: bytes) -> bytes:
    """An uncompressed file up to its first row."""
    held = _HeadAlone()
    with tifffile.TiffWriter(held, bigtiff=form.big, byteorder="<") as file:
        offset = file.write(None, compression=None, predictor=False, returnoffset=True, **_tags(form, xmp))
    if offset is None:
        raise ValueError("the strips of an uncompressed image do not follow each other")
    return held.getvalue()[: offset[0]].ljust(offset[0], b"\0")


def _write_rows(path: Path, head: bytes, bands: Iterator[Rows], form: Form) -> Written:
    """Uncompressed strips lie one behind the other, so that their rows are written as they come, and digested in a
    thread beside."""
    digest = hashlib.sha256(head)
    with path.open("wb", buffering=0) as file, ThreadPoolExecutor(1) as pool:
        write_all(file.fileno(), memoryview(head))
        digested = pool.submit(digest.update, b"")
        for band in bands:
            data = np.ascontiguousarray(band, form.dtype.newbyteorder("<")).data.cast("B")
            write_all(file.fileno(), data)
            digested.result()
            digested = pool.submit(digest.update, data)
        digested.result()
    return Written(digest.hexdigest(), head)


def made_ahead(bands: Iterator[Rows]) -> Iterator[Rows]:
    """The same bands, each made in a thread while the one before it is compressed and written."""
    with ThreadPoolExecutor(1) as pool:
        following = pool.submit(next, bands, None)
        while (band := following.result()) is not None:
            following = pool.submit(next, bands, None)
            yield band


def _encoded(strips: Iterator[Rows], compression: str) -> Iterator[bytes]:
    """Strips compressed, with differences along the rows (TIFF 6.0, section 14)."""
    encode = {"deflate": imagecodecs.deflate_encode, "lzw": imagecodecs.lzw_encode}[compression]
    for strip in strips:
        yield bytes(encode(np.asarray(imagecodecs.delta_encode(np.ascontiguousarray(strip), axis=-2)).tobytes()))


def recipe_in(path: Path) -> tuple[Recipe, str] | None:
    """The recipe that a print file carries, and what it was made with; None if it carries none that can be read."""
    try:
        with tifffile.TiffFile(path) as file:
            xmp = file.pages[0].tags.get(XMP_TAG)
            data = bytes(xmp.value) if xmp is not None else b""
    except (OSError, tifffile.TiffFileError, ValueError, IndexError):
        return None
    text = re.sub(r"<\?xpacket.*?\?>", "", data.decode("utf-8", "replace"))
    try:
        root = fromstring(text) if NAMESPACE in text else None
        texts = [root.findtext(f".//{{{NAMESPACE}}}{name}") if root is not None else None
                 for name in ("recipe", "madeWith")]
        return (from_json(texts[0]), texts[1] or "") if texts[0] else None
    except (CatalogueError, ValueError, SyntaxError):
        return None
