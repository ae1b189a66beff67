"""Samples of pictures that must be decoded whole, mostly through Pillow: JPEG, WebP, and TIFFs nothing else reads."""

import os
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Any, BinaryIO

import numpy as np
from PIL import Image as Pil
from PIL import ImageFile, UnidentifiedImageError

from catalogue.errors import one_line
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.model import ANOTHER_COPY, Fault, FaultFound
from catalogue.reading.reduce import bands_of, rows_at_a_time, spans
from catalogue.reading.source import Rows, Samples, Source
from catalogue.reading.trouble import is_unsupported

warnings.filterwarnings("ignore", module=r"PIL\.")  # what it warns of becomes a finding, not a line on the screen
Pil.MAX_IMAGE_PIXELS = None  # sizes are judged by Limits, before anything is decoded
ONE_AT_A_TIME = Lock()
BLANK_SHARE = 0.995   # of the pixels, one grey: chosen so that a JPEG's first blocks alone are no picture
BACK = {  # undoes what Pillow does to a TIFF of this orientation
    2: Pil.Transpose.FLIP_LEFT_RIGHT, 3: Pil.Transpose.ROTATE_180, 4: Pil.Transpose.FLIP_TOP_BOTTOM,
    5: Pil.Transpose.TRANSPOSE, 6: Pil.Transpose.ROTATE_90, 7: Pil.Transpose.TRANSVERSE, 8: Pil.Transpose.ROTATE_270,
}
# Pillow's errors for damaged data are of many classes, SyntaxError among them.
DAMAGE = (OSError, SyntaxError, ValueError, EOFError, IndexError, KeyError, TypeError, Pil.DecompressionBombError)


def held_bytes(image: Pil.Image) -> int:
    """What Pillow holds for a decoded picture: one byte a pixel for one-channel modes, else four."""
    return image.width * image.height * (1 if image.mode in ("1", "L", "P") else 2 if "16" in image.mode else 4)


def error_text(error: BaseException) -> str:
    """An error's message on one line, at most 200 characters."""
    if isinstance(error, UnidentifiedImageError):  # its text holds the path
        return "its header is invalid"
    return one_line(error)


def open_anew(file: BinaryIO) -> Pil.Image:
    """A fresh Image of an open file, nothing of it decoded yet. Raises one of ``DAMAGE``."""
    file.seek(0)
    return Pil.open(file)


def opened(reopen: Callable[[], Pil.Image], source: Source) -> Pil.Image | None:
    """What ``reopen`` gives; None, and a finding at the source, where Pillow makes nothing of the file."""
    try:
        return reopen()
    except DAMAGE as error:
        fault = refusal(error)
        source.faults.append(FaultFound(fault.kind, f"cannot be opened: {fault.detail}", ANOTHER_COPY))
        return None


def loaded(image: Pil.Image, reopen: Callable[[], Pil.Image]) -> tuple[Pil.Image, FaultFound | None]:
    """The picture with its pixels; where the data is damaged, what could be decoded, and the finding.

    ``reopen`` gives a fresh Image of the same file. Raises one of ``DAMAGE`` where nothing can be decoded, a picture
    of hardly more than one colour included: that is the canvas on which nothing was drawn.
    """
    try:
        image.load()
        return image, None
    except DAMAGE as error:
        first = error
    before, ImageFile.LOAD_TRUNCATED_IMAGES = ImageFile.LOAD_TRUNCATED_IMAGES, True
    try:
        image = reopen()
        image.load()
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before
    if is_blank(image):
        raise first
    return image, refusal(first)


def refusal(error: BaseException) -> FaultFound:
    """The fault an error of Pillow's stands for: an unsupported picture, a truncated file, or damaged data."""
    text = str(error)
    if is_unsupported(error):
        return FaultFound(Fault.UNDECODED, error_text(error))
    cut = "truncated" in text or "broken data" in text or isinstance(error, EOFError)
    return FaultFound(Fault.TRUNCATED if cut else Fault.DAMAGED, error_text(error), ANOTHER_COPY)


def is_blank(image: Pil.Image) -> bool:
    """Whether hardly a pixel differs from all others: what a codec leaves where it decoded a block or none."""
    counts = image.convert("L").histogram()
    return max(counts) >= BLANK_SHARE * sum(counts)


@contextmanager
def complaints() -> Iterator[list[str]]:
    """What libtiff says on the way, one line each: it writes to the process' standard error, whatever Python does.

    Without this a fax page with broken lines would pass for sound, and its complaints would run across the screen.
    """
    lines: list[str] = []
    with ONE_AT_A_TIME, tempfile.TemporaryFile() as caught:
        standard_error = os.dup(2)
        os.dup2(caught.fileno(), 2)
        try:
            yield lines
        finally:
            os.dup2(standard_error, 2)
            os.close(standard_error)
            caught.seek(0)
            lines += caught.read(100_000).decode("utf-8", "replace").splitlines()


def image_bands(image: Pil.Image, mode: str, limits: Limits, deadline: Deadline) -> Iterator[Rows]:
    """A loaded picture in one of Pillow's modes, cut out a band at a time so that it is never held twice."""
    width, height = image.size
    for start, stop in spans(height, rows_at_a_time(4 * width, limits.band_bytes)):
        deadline.check()
        part = image.crop((0, start, width, stop))
        rows = np.asarray(part if part.mode == mode else part.convert(mode))
        rows = rows.astype(np.uint8) if rows.dtype == np.bool_ else rows
        yield rows.reshape(stop - start, width, -1)


def whole_picture(reopen: Callable[[], Pil.Image], mode: str, size: tuple[int, int], limits: Limits, deadline: Deadline,
                  faults: list[FaultFound]) -> Samples:
    """A picture that Pillow decodes whole, given out in bands of one of its modes; damage goes into ``faults``."""
    def bands() -> Iterator[Rows]:
        try:
            image, fault = loaded(reopen(), reopen)
        except DAMAGE as error:
            faults.append(refusal(error))
            return
        if fault:
            faults.append(fault)
        yield from image_bands(image, mode, limits, deadline)

    return Samples(*size, len(mode), np.dtype(np.uint8), bands, lambda: tuple(faults))


def decoded_at_once(decode: Callable[[], Rows], shape: tuple[int, int, int], dtype: np.dtype[Any], limits: Limits,
                    deadline: Deadline, *, cut_known: bool = False) -> Samples:
    """A picture (height × width × channels) that ``decode`` gives whole, given out in bands.

    What a codec refuses is a fault; with ``cut_known``, damage has been told already as a file cut short.
    """
    faults: list[FaultFound] = []
    height, width, channels = shape

    def bands() -> Iterator[Rows]:
        try:
            rows = decode().reshape(height, width, -1)
        except Exception as error:  # the codec edge
            if is_unsupported(error):
                faults.append(FaultFound(Fault.UNDECODED, one_line(error)))
            elif not cut_known:
                faults.append(FaultFound(Fault.DAMAGED, one_line(error), ANOTHER_COPY))
            return
        for band in bands_of(rows[..., :channels], limits, deadline):
            yield band.astype(dtype, copy=False)

    return Samples(width, height, channels, dtype, bands, lambda: tuple(faults))


def pillow_samples(
    file: BinaryIO, source: Source, limits: Limits, deadline: Deadline, page: int, bilevel: bool = False
) -> Samples | None:
    """One page of a TIFF through Pillow's libtiff: RGB, grey, or 0 and 1 as stored for bilevel ones."""
    orientation = source.picture.orientation if source.picture else 1
    faults: list[FaultFound] = []

    def reopen() -> Pil.Image:
        image = open_anew(file)
        image.seek(page)
        return image

    def as_stored() -> Pil.Image:
        image = reopen()
        with complaints() as lines:
            image.load()  # turns the picture upright
        if lines:
            faults.append(FaultFound(Fault.DAMAGED, f"{len(lines):,} warnings while decoding: {lines[0][:150]}",
                                     ANOTHER_COPY))
        back = BACK.get(orientation)
        return image if back is None else image.transpose(back)

    try:
        with complaints():
            image = reopen()
    except DAMAGE as error:
        source.faults.append(refusal(error))
        return None
    if held_bytes(image) > limits.held_bytes:
        source.faults.append(FaultFound(Fault.UNDECODED, "can only be decoded as a whole, and is too large for that"))
        return None
    size = int(image.tag_v2[256]), int(image.tag_v2[257])  # type: ignore[attr-defined]  # as stored
    samples = whole_picture(as_stored, "1" if bilevel else "L" if image.mode in ("1", "L") else "RGB", size, limits,
                            deadline, faults)
    if bilevel and source.white_is_zero:    # Pillow gives white as 1, whichever way it is stored
        bands = samples.bands
        samples.bands = lambda: (1 - band for band in bands())
    return samples
