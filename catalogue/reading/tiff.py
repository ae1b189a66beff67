"""A TIFF as a Source: which of its images is the picture, how it is stored, and its rows."""

import hashlib
from collections.abc import Iterator
from typing import Any, BinaryIO

import numpy as np

from .image import COMPRESSIONS, PHOTOMETRICS, Image, check, image_of
from .limits import Deadline, Limits
from .model import Fault, FaultFound, Picture
from .profile import describe
from .raster import Raster, Rows
from .source import Samples, Source, Statements
from .structure import Ifd, Structure, walk

ALPHA = {1: "associated", 2: "unassociated"}
COLOUR_SAMPLES = {"grey": 1, "palette": 1, "mask": 1, "CMYK": 4}
TEXT_TAGS = {
    270: "description", 271: "make", 272: "model", 305: "software", 306: "modified", 315: "creator", 269: "title",
    33432: "rights",
}


def open_tiff(file: BinaryIO, size: int, limits: Limits, deadline: Deadline) -> Source:
    """Describe an open TIFF; its samples come when asked for. Faults are in the Source, none is raised."""
    found = walk(file.fileno(), size, limits)
    source = Source("BigTIFF" if found.big else "TIFF", faults=found.faults)
    images = [(ifd, image) for ifd in found.ifds if (image := image_of(found, ifd))]
    if not images:
        if not found.faults:
            source.faults.append(FaultFound(Fault.DAMAGED, "holds no image"))
        return source
    main = choose(images)
    ifd, image = main
    source.faults.extend(check(image, size, limits))
    source.icc = found.bytes_of(ifd, 34675)
    source.picture = _picture(found, image, source.icc, images)
    source.statements = _statements(found, ifd)
    source.white_is_zero = image.photometric == 0
    if image.photometric == 3:
        table = found.numbers(ifd, 320).astype(np.uint16)
        source.palette = table[: len(table) // 3 * 3].reshape(3, -1).T
    if not any(f.kind is Fault.DAMAGED and f.detail.startswith("claims") for f in source.faults):
        source.samples = _samples(found, image, file, limits, deadline, source)
    return source


def choose(images: list[tuple[Ifd, Image]]) -> tuple[Ifd, Image]:
    """The picture among a file's images: the first full one, unless it is a mere thumbnail of a later one.

    Layered files keep their composite first, so first wins; a first image of under a sixteenth of the largest one's
    pixels is an unmarked thumbnail.
    """
    full = [pair for pair in images if pair[1].kind in ("picture", "page")] or images
    main_chain = [pair for pair in full if pair[0].parent is None] or full
    first = main_chain[0]
    largest = max(main_chain, key=lambda pair: pair[1].width * pair[1].height)
    if first[1].width * first[1].height * 16 < largest[1].width * largest[1].height:
        return largest
    return first


def _picture(found: Structure, image: Image, icc: bytes, images: list[tuple[Ifd, Image]]) -> Picture:
    ifd = image.ifd
    photometric = PHOTOMETRICS.get(image.photometric, f"photometric {image.photometric}")
    extra = [int(v) for v in found.numbers(ifd, 338)]
    colours = COLOUR_SAMPLES.get(photometric, 3)
    alpha = ""
    if image.samples > colours:
        alpha = ALPHA.get(extra[0], "unspecified") if extra else "unspecified"
    orientation = found.number(ifd, 274, 1)
    orientation = orientation if 1 <= orientation <= 8 else 1
    width, height = (image.width, image.height) if orientation < 5 else (image.height, image.width)
    ppi = _ppi(found, ifd)
    ppi_x, ppi_y = ppi if orientation < 5 else ppi[::-1]
    about = describe(icc)
    return Picture(
        width, height, max(image.bits), image.sample_format, image.samples, photometric,
        COMPRESSIONS.get(image.compression, f"compression {image.compression}"),
        "tiles" if image.tiled else "strips", image.planar, alpha, orientation, ppi_x, ppi_y,
        about.name, hashlib.sha256(icc).hexdigest() if icc else "", about.white,
        37724 in ifd.tags,
        tuple(other.page(index) for index, (_, other) in enumerate(images)) if len(images) > 1 else (),
    )


def _ppi(found: Structure, ifd: Ifd) -> tuple[float | None, float | None]:
    unit = found.number(ifd, 296, 2)
    scale = {2: 1.0, 3: 2.54}.get(unit)
    values = []
    for code in (282, 283):
        stated = found.numbers(ifd, code)
        good = scale is not None and len(stated) and np.isfinite(stated[0]) and stated[0] > 0
        values.append(float(stated[0]) * scale if good and scale else None)
    return values[0], values[1]


def _statements(found: Structure, ifd: Ifd) -> Statements:
    tags = {name: text for code, name in TEXT_TAGS.items() if (text := found.text(ifd, code))}
    return Statements(tags, {}, found.bytes_of(ifd, 33723), found.bytes_of(ifd, 700))


def _samples(
    found: Structure, image: Image, file: BinaryIO, limits: Limits, deadline: Deadline, source: Source
) -> Samples | None:
    try:
        raster = Raster(found, image, file, limits, deadline)
    except Exception as error:  # the codec edge: tifffile's verdict on this directory
        source.faults.append(FaultFound(Fault.UNDECODED, " ".join(str(error).split())[:200] or type(error).__name__))
        return None

    def bands() -> Iterator[Rows]:
        return raster.bands()

    def settle() -> tuple[FaultFound, ...]:
        return raster.trouble.faults(image.segments)

    kind: np.dtype[Any] = raster.dtype
    return Samples(image.width, image.height, image.samples, kind, bands, settle)
